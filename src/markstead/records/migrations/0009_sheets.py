"""Sheets that were printed, and their pages that wait to be confirmed."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    """Two tables."""

    dependencies = [
        ("records", "0008_going_out"),
    ]

    operations = [
        migrations.CreateModel(
            name="PaperSheet",
            fields=[
                ("id", models.CharField(max_length=16, primary_key=True, serialize=False)),
                ("kind", models.CharField(max_length=20)),
                ("learner", models.CharField(blank=True, max_length=20)),
                ("day", models.DateField()),
                ("layout", models.TextField()),
                ("content", models.CharField(max_length=64)),
                ("printed", models.DateTimeField()),
                ("head_seq", models.BigIntegerField()),
                ("planned", models.TextField(default="{}")),
                ("times", models.SmallIntegerField(default=0)),
                ("act", models.CharField(blank=True, max_length=40)),
                ("recorded", models.DateTimeField(default=None, null=True)),
                (
                    "household",
                    models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to="records.household"),
                ),
            ],
        ),
        migrations.CreateModel(
            name="PaperPage",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("page", models.SmallIntegerField()),
                ("boxes", models.TextField()),
                ("flat", models.BinaryField()),
                ("picture", models.CharField(max_length=80)),
                ("others", models.BooleanField(default=False)),
                ("name", models.CharField(max_length=200)),
                ("typed", models.BooleanField(default=False)),
                ("taken", models.DateTimeField()),
                ("by", models.CharField(max_length=20)),
                (
                    "sheet",
                    models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to="records.papersheet"),
                ),
            ],
        ),
        migrations.AddIndex(
            model_name="papersheet",
            index=models.Index(fields=["household", "day"], name="sheets_of_a_day"),
        ),
        migrations.AddConstraint(
            model_name="paperpage",
            constraint=models.UniqueConstraint(fields=("sheet", "page"), name="one_reading_a_page"),
        ),
    ]
