import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import lab.common.clock


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("accounts", "__first__"),
        ("checks", "0001_initial"),
        ("equipment", "0001_initial"),
        ("jobs", "0001_initial"),
        ("parts", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="ConditionsAssessment",
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
                        related_name="assessments",
                        to="jobs.measuringsession",
                    ),
                ),
                (
                    "outcome",
                    models.CharField(
                        choices=[
                            ("stand", "The results stand"),
                            ("not used", "The results are not used; measure anew"),
                        ],
                        max_length=10,
                    ),
                ),
                ("reason", models.TextField()),
                ("reference_degc", models.FloatField()),
                ("deviation_k", models.FloatField()),
                ("u_k", models.FloatField()),
                (
                    "basis",
                    models.TextField(
                        help_text="What the bound rests on, as it was shown."
                    ),
                ),
                (
                    "assessed_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "recorded_at",
                    models.DateTimeField(default=lab.common.clock.now, editable=False),
                ),
            ],
            options={
                "ordering": ["session", "-pk"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="AssessedCharacteristic",
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
                    "assessment",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="effects",
                        to="lapses.conditionsassessment",
                    ),
                ),
                (
                    "characteristic",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="parts.characteristic",
                    ),
                ),
                ("shift_um", models.FloatField()),
                ("expanded_u_um", models.FloatField()),
                ("tolerance_um", models.FloatField(null=True)),
            ],
            options={
                "ordering": ["assessment", "characteristic__position"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "constraints": [
                    models.UniqueConstraint(
                        fields=("assessment", "characteristic"),
                        name="assessed_characteristic_once",
                    )
                ],
                "indexes": [],
            },
        ),
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
                (
                    "cause",
                    models.CharField(
                        db_index=True,
                        help_text="The record behind it, such as check:17: one cause, many findings.",
                        max_length=80,
                    ),
                ),
                (
                    "procedure",
                    models.ForeignKey(
                        help_text="Whose next check bears on it.",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="checks.checkprocedure",
                    ),
                ),
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
        migrations.CreateModel(
            name="LaterFinding",
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
                    "device",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="later_findings",
                        to="equipment.device",
                    ),
                ),
                (
                    "system",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="later_findings",
                        to="checks.measuringsystem",
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("out of tolerance", "Found out of tolerance"),
                            ("moved", "Moved by more than was allowed for"),
                            ("damaged", "Found damaged"),
                            ("widened", "A window of suspicion moved back"),
                            ("other", "Other, as the reason says"),
                        ],
                        max_length=20,
                    ),
                ),
                ("since", models.DateTimeField()),
                ("until", models.DateTimeField()),
                ("reason", models.TextField()),
                (
                    "calibration",
                    models.OneToOneField(
                        help_text="The calibration that found it out.",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="later_finding",
                        to="equipment.calibration",
                    ),
                ),
                (
                    "recorded_by",
                    models.ForeignKey(
                        help_text="Empty where a calibration raised it.",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "recorded_at",
                    models.DateTimeField(default=lab.common.clock.now, editable=False),
                ),
            ],
            options={
                "ordering": ["-until", "-pk"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("device", None), ("system__isnull", False)),
                            models.Q(("device__isnull", False), ("system", None)),
                            _connector="OR",
                        ),
                        name="later_finding_about_one_thing",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("until__gte", models.F("since"))),
                        name="later_finding_times_in_order",
                    ),
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="SuspicionTask",
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
                    "artefact_check",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="suspicion_tasks",
                        to="checks.artefactcheck",
                    ),
                ),
                (
                    "session",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="suspicion_tasks",
                        to="jobs.measuringsession",
                    ),
                ),
                (
                    "shared",
                    models.CharField(
                        help_text="The devices that both used.", max_length=200
                    ),
                ),
                (
                    "raised_at",
                    models.DateTimeField(default=lab.common.clock.now, editable=False),
                ),
            ],
            options={
                "ordering": ["artefact_check", "session"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "constraints": [
                    models.UniqueConstraint(
                        fields=("artefact_check", "session"), name="suspicion_task_once"
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="TaskDecision",
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
                    "task",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="decision",
                        to="lapses.suspiciontask",
                    ),
                ),
                (
                    "outcome",
                    models.CharField(
                        choices=[
                            ("unaffected", "Not affected"),
                            ("affected", "Affected: the session becomes suspect"),
                        ],
                        max_length=20,
                    ),
                ),
                ("reason", models.TextField()),
                (
                    "decided_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "decided_at",
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
    ]
