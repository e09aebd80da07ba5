"""When a password was made by the house and not chosen by its owner."""

from django.db import migrations, models


class Migration(migrations.Migration):
    """One column."""

    dependencies = [
        ("records", "0005_pins"),
    ]

    operations = [
        migrations.AddField(
            model_name="person",
            name="password_made",
            field=models.DateTimeField(null=True),
        ),
    ]
