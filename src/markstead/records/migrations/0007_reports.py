"""What the educator writes for reports, samples of work, and the school years that learners were in before."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("records", "0006_passwords_made_here"),
    ]

    operations = [
        migrations.CreateModel(
            name="EarlierYear",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("year", models.IntegerField(null=True)),
                ("until", models.DateTimeField()),
                (
                    "person",
                    models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to="records.person"),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Narrative",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("course", models.CharField(max_length=60)),
                ("first", models.DateField()),
                ("last", models.DateField()),
                ("text", models.TextField()),
                ("saved", models.DateTimeField()),
                (
                    "learner",
                    models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to="records.person"),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        fields=("learner", "course", "first", "last"), name="one_narrative_a_span"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="Sample",
            fields=[
                ("id", models.CharField(max_length=20, primary_key=True, serialize=False)),
                ("copy", models.CharField(max_length=20, null=True)),
                ("entry", models.BigIntegerField(null=True)),
                ("day", models.DateField()),
                ("digest", models.CharField(max_length=64)),
                ("kind", models.CharField(max_length=40)),
                ("size", models.BigIntegerField()),
                ("width", models.IntegerField()),
                ("height", models.IntegerField()),
                ("pages", models.SmallIntegerField(default=1)),
                ("words", models.CharField(blank=True, max_length=400)),
                ("kept", models.DateTimeField()),
                ("kept_by", models.CharField(max_length=20)),
                (
                    "household",
                    models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to="records.household"),
                ),
                (
                    "learner",
                    models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to="records.person"),
                ),
            ],
            options={
                "indexes": [
                    models.Index(fields=["household", "learner", "day"], name="samples_of_a_learner"),
                    models.Index(fields=["digest"], name="samples_by_digest"),
                ],
            },
        ),
    ]
