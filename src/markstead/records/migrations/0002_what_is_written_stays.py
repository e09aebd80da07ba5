"""Let the database itself refuse to change or remove entries and documents."""

from django.db import migrations

from markstead.records import triggers


class Migration(migrations.Migration):
    """Triggers, in the words of each database."""

    dependencies = [("records", "0001_first_tables")]

    operations = [
        migrations.RunPython(
            lambda apps, editor: triggers.create(editor.connection),
            lambda apps, editor: triggers.drop(editor.connection),
        )
    ]
