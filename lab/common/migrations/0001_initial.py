import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import lab.common.clock


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("accounts", "__first__"),
    ]

    operations = [
        migrations.CreateModel(
            name="StoredFile",
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
                ("sha256", models.CharField(max_length=64, unique=True)),
                ("size", models.PositiveBigIntegerField()),
                (
                    "content_type",
                    models.CharField(
                        help_text="As sniffed from the bytes, from our own list.",
                        max_length=80,
                    ),
                ),
                ("original_name", models.CharField(max_length=200)),
                (
                    "recorded_at",
                    models.DateTimeField(default=lab.common.clock.now, editable=False),
                ),
            ],
            options={
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="StoredPhoto",
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
                    "file",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="photo",
                        to="common.storedfile",
                    ),
                ),
                ("width", models.PositiveIntegerField()),
                ("height", models.PositiveIntegerField()),
            ],
            options={
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="DemoMarker",
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
                    "only",
                    models.PositiveSmallIntegerField(
                        default=1, editable=False, unique=True
                    ),
                ),
                ("anchor", models.DateField()),
                (
                    "recorded_at",
                    models.DateTimeField(default=lab.common.clock.now, editable=False),
                ),
            ],
            options={
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("only", 1)), name="demo_marker_one_row"
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="WorkItem",
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
                ("kind", models.CharField(max_length=80)),
                ("object_id", models.BigIntegerField(default=0)),
                ("period", models.CharField(blank=True, max_length=40)),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("wanted", "wanted"),
                            ("running", "running"),
                            ("done", "done"),
                            ("failed", "failed"),
                        ],
                        default="wanted",
                        max_length=10,
                    ),
                ),
                ("wanted_at", models.DateTimeField(default=lab.common.clock.now)),
                ("not_before", models.DateTimeField(default=lab.common.clock.now)),
                ("attempts", models.PositiveSmallIntegerField(default=0)),
                ("token", models.CharField(blank=True, max_length=32)),
                ("lease_until", models.DateTimeField(null=True)),
                ("finished_at", models.DateTimeField(null=True)),
                ("error", models.TextField(blank=True)),
            ],
            options={
                "indexes": [
                    models.Index(fields=["state", "not_before"], name="work_by_state")
                ],
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("period", ""), ("state", "wanted")),
                        fields=("kind", "object_id"),
                        name="work_wanted_once",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("period", ""), _negated=True),
                        fields=("kind", "period"),
                        name="work_period_once",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="WorkerHeartbeat",
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
                ("name", models.CharField(max_length=120, unique=True)),
                ("started_at", models.DateTimeField()),
                ("at", models.DateTimeField()),
            ],
            options={
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="AuditEntry",
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
                    "recorded_at",
                    models.DateTimeField(default=lab.common.clock.now, editable=False),
                ),
                ("verb", models.CharField(max_length=80)),
                (
                    "actor",
                    models.ForeignKey(
                        help_text="Empty where the program itself acted.",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("actor_name", models.CharField(max_length=200)),
                ("subject_type", models.CharField(max_length=80)),
                ("subject_id", models.CharField(max_length=40)),
                ("subject_name", models.CharField(max_length=200)),
                ("reason", models.TextField(blank=True)),
                (
                    "values_text",
                    models.TextField(help_text="Canonical JSON: before and after."),
                ),
            ],
            options={
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "indexes": [
                    models.Index(
                        fields=["subject_type", "subject_id", "id"],
                        name="audit_by_subject",
                    ),
                    models.Index(fields=["recorded_at", "id"], name="audit_by_time"),
                ],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="AuditSeal",
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
                ("position", models.PositiveBigIntegerField(unique=True)),
                (
                    "entry",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="seal",
                        to="common.auditentry",
                    ),
                ),
                ("digest", models.CharField(max_length=64)),
                (
                    "sealed_at",
                    models.DateTimeField(default=lab.common.clock.now, editable=False),
                ),
            ],
            options={
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="NumberSeries",
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
                ("series", models.CharField(max_length=40)),
                ("year", models.PositiveSmallIntegerField()),
                ("last", models.PositiveIntegerField(default=0)),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        fields=("series", "year"), name="number_series_once_a_year"
                    )
                ],
                "indexes": [],
            },
        ),
    ]
