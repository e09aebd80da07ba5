"""The records app."""

from django.apps import AppConfig


class RecordsConfig(AppConfig):
    """Persistence and the acts of people."""

    name = "markstead.records"
    label = "records"
    default_auto_field = "django.db.models.BigAutoField"
