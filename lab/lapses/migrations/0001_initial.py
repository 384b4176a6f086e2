import django.db.models.deletion
from django.db import migrations, models

import lab.common.clock


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("checks", "0001_initial"),
        ("jobs", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="Judgement",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True,
                        primary_key=True,
                        serialize=False,
                        verbose_name="ID",
                    ),
                ),
                (
                    "session",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="judgement",
                        to="jobs.measuringsession",
                    ),
                ),
                ("state", models.CharField(max_length=30)),
                ("word", models.CharField(max_length=40)),
                ("judged_at", models.DateTimeField()),
                ("judge_again_at", models.DateTimeField(db_index=True, null=True)),
            ],
            options={
                "ordering": ["session"],
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="Bookmark",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True,
                        primary_key=True,
                        serialize=False,
                        verbose_name="ID",
                    ),
                ),
                (
                    "system",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="bookmark",
                        to="checks.measuringsystem",
                    ),
                ),
                ("last_check", models.BigIntegerField(default=0)),
                ("last_void", models.BigIntegerField(default=0)),
                ("last_confirmation", models.BigIntegerField(default=0)),
                ("last_break", models.BigIntegerField(default=0)),
            ],
            options={
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="Finding",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True,
                        primary_key=True,
                        serialize=False,
                        verbose_name="ID",
                    ),
                ),
                (
                    "session",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="findings",
                        to="jobs.measuringsession",
                    ),
                ),
                ("name", models.CharField(max_length=40)),
                ("cause_key", models.CharField(max_length=160)),
                ("reason", models.TextField()),
                ("window_from", models.DateTimeField(null=True)),
                ("window_until", models.DateTimeField(null=True)),
                (
                    "hold",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="finding",
                        to="jobs.hold",
                    ),
                ),
                (
                    "found_at",
                    models.DateTimeField(default=lab.common.clock.now, editable=False),
                ),
            ],
            options={
                "ordering": ["session", "pk"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "constraints": [
                    models.UniqueConstraint(
                        fields=("session", "cause_key"), name="finding_once_a_cause"
                    )
                ],
                "indexes": [],
            },
        ),
    ]
