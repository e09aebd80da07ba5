"""Addresses at which a calendar program reads what is coming."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    """One table."""

    dependencies = [
        ("records", "0007_reports"),
    ]

    operations = [
        migrations.CreateModel(
            name="Feed",
            fields=[
                ("id", models.CharField(max_length=60, primary_key=True, serialize=False)),
                ("name", models.CharField(max_length=60)),
                ("names", models.CharField(max_length=10)),
                ("parts", models.CharField(max_length=60)),
                ("learner", models.CharField(blank=True, max_length=20)),
                ("made", models.DateTimeField()),
                ("made_by", models.CharField(max_length=20)),
                ("last_read", models.DateTimeField(default=None, null=True)),
                (
                    "household",
                    models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to="records.household"),
                ),
            ],
        ),
    ]
