"""The web app."""

from django.apps import AppConfig


class WebConfig(AppConfig):
    """Screens."""

    name = "markstead.web"
    label = "web"
