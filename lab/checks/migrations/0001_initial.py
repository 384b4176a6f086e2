import datetime

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import lab.common.clock


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("accounts", "__first__"),
        ("common", "0001_initial"),
        ("equipment", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="MeasuringSystem",
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
                ("name", models.CharField(max_length=80, unique=True)),
                (
                    "tracker",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.device",
                    ),
                ),
                (
                    "scanner",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.device",
                    ),
                ),
                ("in_use", models.BooleanField(default=True)),
            ],
            options={
                "ordering": ["name"],
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="Break",
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
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="breaks",
                        to="checks.measuringsystem",
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("adjustment", "Adjustment"),
                            ("repair", "Repair"),
                            ("firmware", "Firmware"),
                            ("field calibration", "Field calibration"),
                            ("knock", "Knock or fall"),
                            ("transport", "Transport"),
                            ("move", "Move to another place"),
                        ],
                        max_length=20,
                    ),
                ),
                ("at", models.DateTimeField()),
                ("note", models.TextField()),
                (
                    "recorded_by",
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
                "ordering": ["-at", "-pk"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "indexes": [
                    models.Index(fields=["system", "at"], name="break_by_system")
                ],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="CheckProcedure",
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
                ("code", models.SlugField(max_length=40, unique=True)),
                ("title", models.CharField(max_length=120)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("length", "Length"),
                            ("sphere spacing", "Sphere spacing"),
                            ("probing size", "Probing size"),
                            ("probing form", "Probing form"),
                            ("flat form", "Flat form"),
                        ],
                        max_length=20,
                    ),
                ),
            ],
            options={
                "ordering": ["code"],
            },
        ),
        migrations.CreateModel(
            name="Need",
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
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="needs",
                        to="checks.measuringsystem",
                    ),
                ),
                (
                    "procedure",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="needs",
                        to="checks.checkprocedure",
                    ),
                ),
                ("since", models.DateTimeField(default=lab.common.clock.now)),
                ("until", models.DateTimeField(null=True)),
            ],
            options={
                "ordering": ["procedure", "system", "since"],
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("until", None)),
                        fields=("system", "procedure"),
                        name="need_without_end_once",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("until", None),
                            ("until__gte", models.F("since")),
                            _connector="OR",
                        ),
                        name="need_times_in_order",
                    ),
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="ProcedureRevision",
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
                    "procedure",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="revisions",
                        to="checks.checkprocedure",
                    ),
                ),
                ("number", models.PositiveSmallIntegerField()),
                (
                    "artefact",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.device",
                    ),
                ),
                (
                    "calibrated_label",
                    models.CharField(
                        help_text="Which calibrated value of the artefact is measured.",
                        max_length=80,
                    ),
                ),
                (
                    "positions",
                    models.TextField(help_text="One position a line, as prescribed."),
                ),
                (
                    "repeats",
                    models.PositiveSmallIntegerField(
                        default=1, help_text="How often each position is measured."
                    ),
                ),
                ("limit_constant_text", models.CharField(max_length=40)),
                ("limit_constant_unit", models.CharField(max_length=12)),
                (
                    "limit_constant_mm",
                    models.DecimalField(
                        decimal_places=9, editable=False, max_digits=20
                    ),
                ),
                ("limit_per_metre_text", models.CharField(blank=True, max_length=40)),
                ("limit_per_metre_unit", models.CharField(blank=True, max_length=12)),
                (
                    "limit_per_metre_mm",
                    models.DecimalField(
                        blank=True,
                        decimal_places=9,
                        editable=False,
                        max_digits=20,
                        null=True,
                    ),
                ),
                ("limit_cap_text", models.CharField(blank=True, max_length=40)),
                ("limit_cap_unit", models.CharField(blank=True, max_length=12)),
                (
                    "limit_cap_mm",
                    models.DecimalField(
                        blank=True,
                        decimal_places=9,
                        editable=False,
                        max_digits=20,
                        null=True,
                    ),
                ),
                (
                    "acceptance",
                    models.CharField(
                        choices=[("simple", "Simple"), ("guarded", "Guarded")],
                        default="simple",
                        max_length=10,
                    ),
                ),
                ("claimed_u_text", models.CharField(blank=True, max_length=40)),
                ("claimed_u_unit", models.CharField(blank=True, max_length=12)),
                (
                    "claimed_u_mm",
                    models.DecimalField(
                        blank=True,
                        decimal_places=9,
                        editable=False,
                        max_digits=20,
                        null=True,
                    ),
                ),
                ("temperature_u_text", models.CharField(max_length=40)),
                ("temperature_u_unit", models.CharField(max_length=12)),
                (
                    "temperature_u_k",
                    models.DecimalField(
                        decimal_places=9, editable=False, max_digits=20
                    ),
                ),
                (
                    "valid_for",
                    models.DurationField(default=datetime.timedelta(seconds=43200)),
                ),
                ("closing_wanted", models.BooleanField(default=True)),
                (
                    "closing_within",
                    models.DurationField(default=datetime.timedelta(days=1)),
                ),
                (
                    "watched",
                    models.TextField(
                        blank=True,
                        help_text="The rules of the chart that warn, one a line.",
                    ),
                ),
                (
                    "recorded_by",
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
                "ordering": ["procedure", "-number"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "constraints": [
                    models.UniqueConstraint(
                        fields=("procedure", "number"),
                        name="check_procedure_revision_once",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("valid_for__gt", datetime.timedelta(0)),
                            ("closing_within__gte", datetime.timedelta(0)),
                        ),
                        name="check_procedure_times_positive",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("repeats__gte", 1)),
                        name="check_procedure_repeats_positive",
                    ),
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="ArtefactCheck",
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
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="checks",
                        to="checks.measuringsystem",
                    ),
                ),
                (
                    "procedure",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="checks",
                        to="checks.procedurerevision",
                    ),
                ),
                (
                    "calibration",
                    models.ForeignKey(
                        help_text="The artefact's calibration that gave the reference value.",
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.calibration",
                    ),
                ),
                ("started_at", models.DateTimeField()),
                ("ended_at", models.DateTimeField()),
                ("artefact_temperature_text", models.CharField(max_length=40)),
                ("artefact_temperature_unit", models.CharField(max_length=12)),
                (
                    "artefact_temperature_degc",
                    models.DecimalField(
                        decimal_places=9, editable=False, max_digits=20
                    ),
                ),
                (
                    "thermometer",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.device",
                    ),
                ),
                (
                    "thermometer_calibration",
                    models.ForeignKey(
                        help_text="The thermometer's calibration that was current.",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.calibration",
                    ),
                ),
                (
                    "source",
                    models.ForeignKey(
                        help_text="The file that the readings were read from.",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="common.storedfile",
                    ),
                ),
                (
                    "source_note",
                    models.TextField(blank=True, help_text="What was read from it."),
                ),
                (
                    "verdict",
                    models.CharField(
                        choices=[("pass", "Passed"), ("fail", "Failed")], max_length=10
                    ),
                ),
                (
                    "worst_share",
                    models.FloatField(help_text="Largest |error| / limit."),
                ),
                ("reason", models.TextField(help_text="The verdict in a sentence.")),
                (
                    "measured_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "form_key",
                    models.CharField(
                        help_text="One form, one check: a second is dropped.",
                        max_length=36,
                        unique=True,
                    ),
                ),
                (
                    "recorded_at",
                    models.DateTimeField(default=lab.common.clock.now, editable=False),
                ),
            ],
            options={
                "ordering": ["-ended_at", "-pk"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "indexes": [
                    models.Index(fields=["system", "ended_at"], name="check_by_system"),
                    models.Index(
                        fields=["system", "started_at"], name="check_by_start"
                    ),
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("ended_at__gte", models.F("started_at"))),
                        name="artefact_check_times_in_order",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="CheckReading",
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
                        related_name="readings",
                        to="checks.artefactcheck",
                    ),
                ),
                ("position", models.CharField(max_length=80)),
                (
                    "repeat",
                    models.PositiveSmallIntegerField(
                        default=0,
                        help_text="Which time, from 1; 0 where it is measured once.",
                    ),
                ),
                ("measured_text", models.CharField(max_length=40)),
                ("measured_unit", models.CharField(max_length=12)),
                (
                    "measured_mm",
                    models.DecimalField(
                        decimal_places=9, editable=False, max_digits=20
                    ),
                ),
                ("reference_mm", models.FloatField()),
                ("error_mm", models.FloatField()),
                ("limit_mm", models.FloatField()),
                ("acceptance_limit_mm", models.FloatField()),
                ("u_test_mm", models.FloatField()),
                ("passed", models.BooleanField()),
            ],
            options={
                "ordering": ["artefact_check", "pk"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "constraints": [
                    models.UniqueConstraint(
                        fields=("artefact_check", "position", "repeat"),
                        name="check_reading_once_a_repeat",
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="CheckVoid",
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
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="void",
                        to="checks.artefactcheck",
                    ),
                ),
                (
                    "cause",
                    models.CharField(
                        choices=[
                            ("recording error", "Recording error"),
                            ("wrong artefact", "Wrong artefact or position"),
                            ("other", "Other, as the reason says"),
                        ],
                        max_length=20,
                    ),
                ),
                ("reason", models.TextField()),
                (
                    "voided_by",
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
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="LateConfirmation",
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
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="late_confirmation",
                        to="checks.artefactcheck",
                    ),
                ),
                ("reason", models.TextField()),
                (
                    "confirmed_by",
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
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="ChartWarning",
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
                        related_name="warnings",
                        to="checks.artefactcheck",
                    ),
                ),
                (
                    "rule",
                    models.CharField(
                        choices=[
                            (
                                "western electric 1",
                                "Western Electric rule 1: one value beyond 3 sigma",
                            ),
                            (
                                "western electric 2",
                                "Western Electric rule 2: two of three values beyond 2 sigma, one side",
                            ),
                            (
                                "western electric 3",
                                "Western Electric rule 3: four of five values beyond 1 sigma, one side",
                            ),
                            (
                                "western electric 4",
                                "Western Electric rule 4: eight values in a row on one side",
                            ),
                            ("nelson 1", "Nelson rule 1: one value beyond 3 sigma"),
                            (
                                "nelson 2",
                                "Nelson rule 2: nine values in a row on one side",
                            ),
                            (
                                "nelson 3",
                                "Nelson rule 3: six values in a row rising or falling",
                            ),
                            (
                                "nelson 4",
                                "Nelson rule 4: fourteen values in a row alternating",
                            ),
                            (
                                "nelson 5",
                                "Nelson rule 5: two of three values beyond 2 sigma, one side",
                            ),
                            (
                                "nelson 6",
                                "Nelson rule 6: four of five values beyond 1 sigma, one side",
                            ),
                            (
                                "nelson 7",
                                "Nelson rule 7: fifteen values in a row within 1 sigma",
                            ),
                            (
                                "nelson 8",
                                "Nelson rule 8: eight values in a row beyond 1 sigma, both sides",
                            ),
                            (
                                "ewma",
                                "Moving average (EWMA) beyond its limits: a slow drift",
                            ),
                            (
                                "moving range",
                                "Moving range beyond its limit: a jump between two checks",
                            ),
                        ],
                        max_length=24,
                    ),
                ),
                (
                    "words",
                    models.TextField(help_text="What the chart showed, in a sentence."),
                ),
                (
                    "recorded_at",
                    models.DateTimeField(default=lab.common.clock.now, editable=False),
                ),
            ],
            options={
                "ordering": ["-artefact_check__ended_at", "-pk"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "constraints": [
                    models.UniqueConstraint(
                        fields=("artefact_check", "rule"),
                        name="chart_warning_once_a_rule",
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="Acknowledgement",
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
                    "warning",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="acknowledgement",
                        to="checks.chartwarning",
                    ),
                ),
                ("note", models.TextField()),
                (
                    "acknowledged_by",
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
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.AddField(
            model_name="CheckProcedure",
            name="systems",
            field=models.ManyToManyField(
                help_text="Which systems need it, or needed it once.",
                related_name="procedures",
                through="checks.Need",
                to="checks.measuringsystem",
            ),
        ),
    ]
