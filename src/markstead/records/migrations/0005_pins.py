"""Tablets of the house, and the numbers by which learners enter on them."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    """Two tables."""

    dependencies = [
        ("records", "0004_plans"),
    ]

    operations = [
        migrations.CreateModel(
            name="Pin",
            fields=[
                (
                    "person",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE,
                        primary_key=True,
                        serialize=False,
                        to="records.person",
                    ),
                ),
                ("digest", models.CharField(max_length=200)),
                ("set_at", models.DateTimeField()),
                ("set_by", models.CharField(max_length=20)),
                ("tries", models.SmallIntegerField(default=0)),
                ("shut_until", models.DateTimeField(default=None, null=True)),
            ],
        ),
        migrations.CreateModel(
            name="Device",
            fields=[
                ("id", models.CharField(max_length=40, primary_key=True, serialize=False)),
                ("name", models.CharField(max_length=60)),
                ("opened", models.DateTimeField()),
                ("opened_by", models.CharField(max_length=20)),
                ("last_seen", models.DateTimeField()),
                ("idle_minutes", models.SmallIntegerField(default=3)),
                ("revoked", models.DateTimeField(default=None, null=True)),
                (
                    "household",
                    models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to="records.household"),
                ),
            ],
        ),
    ]
