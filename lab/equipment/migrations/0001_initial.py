import django.core.validators
import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import lab.common.clock


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("accounts", "__first__"),
        ("common", "0001_initial"),
        ("laboratory", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="Device",
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
                ("tag", models.SlugField(max_length=30, unique=True)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("tracker", "Tracker"),
                            ("scanner", "Scanner"),
                            ("scale bar", "Scale bar"),
                            ("ball bar", "Ball bar"),
                            ("sphere", "Sphere"),
                            ("step artefact", "Step artefact"),
                            ("flat", "Flat artefact"),
                            ("contact thermometer", "Contact thermometer"),
                            ("logger", "Temperature and humidity logger"),
                            ("rotary table", "Rotary table"),
                        ],
                        max_length=30,
                    ),
                ),
                ("name", models.CharField(max_length=80)),
                ("maker", models.CharField(blank=True, max_length=80)),
                ("type_name", models.CharField(blank=True, max_length=80)),
                ("serial", models.CharField(max_length=60)),
                ("firmware", models.CharField(blank=True, max_length=60)),
                (
                    "room",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="devices",
                        to="laboratory.room",
                    ),
                ),
                ("expansion_text", models.CharField(blank=True, max_length=40)),
                ("expansion_unit", models.CharField(blank=True, max_length=12)),
                (
                    "expansion_per_k",
                    models.DecimalField(
                        blank=True,
                        decimal_places=15,
                        editable=False,
                        max_digits=20,
                        null=True,
                    ),
                ),
                ("expansion_u_text", models.CharField(blank=True, max_length=40)),
                ("expansion_u_unit", models.CharField(blank=True, max_length=12)),
                (
                    "expansion_u_per_k",
                    models.DecimalField(
                        blank=True,
                        decimal_places=15,
                        editable=False,
                        max_digits=20,
                        null=True,
                    ),
                ),
                (
                    "laser_class",
                    models.CharField(
                        blank=True,
                        help_text="To IEC 60825-1, from its label.",
                        max_length=10,
                    ),
                ),
                ("notes", models.TextField(blank=True)),
                (
                    "created_at",
                    models.DateTimeField(default=lab.common.clock.now, editable=False),
                ),
            ],
            options={
                "ordering": ["tag"],
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="DeviceStatus",
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
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="statuses",
                        to="equipment.device",
                    ),
                ),
                (
                    "status",
                    models.CharField(
                        choices=[
                            ("in service", "In service"),
                            ("restricted", "Restricted"),
                            ("out of service", "Out of service"),
                        ],
                        max_length=20,
                    ),
                ),
                ("reason", models.TextField()),
                (
                    "restriction",
                    models.TextField(
                        blank=True,
                        help_text="What it may not be used for, or up to which limit.",
                    ),
                ),
                ("at", models.DateTimeField(default=lab.common.clock.now)),
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
                "ordering": ["device", "-at", "-pk"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("status", "restricted"),
                            ("restriction", ""),
                            _connector="XOR",
                        ),
                        name="only_restricted_has_a_restriction",
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="Calibration",
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
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="calibrations",
                        to="equipment.device",
                    ),
                ),
                ("calibrated_on", models.DateField()),
                ("counts_from", models.DateField()),
                (
                    "due_on",
                    models.DateField(help_text="The last day on which it is current."),
                ),
                ("certificate_number", models.CharField(max_length=80)),
                ("provider", models.CharField(max_length=120)),
                (
                    "accreditation",
                    models.CharField(
                        blank=True,
                        help_text="The provider's, for this quantity.",
                        max_length=120,
                    ),
                ),
                (
                    "document",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="common.storedfile",
                    ),
                ),
                (
                    "adjusted",
                    models.BooleanField(
                        default=False,
                        help_text="Adjusted or repaired at this calibration.",
                    ),
                ),
                (
                    "requirement_met",
                    models.BooleanField(
                        help_text="As recorded: no result is seen to fail what the lab requires."
                    ),
                ),
                ("notes", models.TextField(blank=True)),
                (
                    "supersedes",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="superseded_by",
                        to="equipment.calibration",
                    ),
                ),
                (
                    "reason",
                    models.TextField(blank=True, help_text="Why it is recorded anew."),
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
                "ordering": ["device", "-counts_from", "-pk"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "indexes": [
                    models.Index(
                        fields=["device", "counts_from"], name="calibration_by_day"
                    ),
                    models.Index(fields=["due_on"], name="calibration_by_due"),
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("counts_from__gte", models.F("calibrated_on")),
                            ("due_on__gte", models.F("counts_from")),
                        ),
                        name="calibration_days_in_order",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("supersedes", None)),
                        fields=("device", "certificate_number"),
                        name="calibration_one_original",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="CalibratedValue",
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
                    "calibration",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="values",
                        to="equipment.calibration",
                    ),
                ),
                (
                    "label",
                    models.CharField(help_text="Length A–B, for one.", max_length=80),
                ),
                (
                    "measurand",
                    models.CharField(
                        choices=[
                            ("length", "Length or distance"),
                            ("diameter", "Diameter"),
                            ("form", "Form"),
                            ("flatness", "Flatness"),
                        ],
                        default="length",
                        max_length=10,
                    ),
                ),
                (
                    "moment",
                    models.CharField(
                        choices=[("as found", "As found"), ("as left", "As left")],
                        default="as left",
                        max_length=10,
                    ),
                ),
                ("value_text", models.CharField(max_length=40)),
                ("value_unit", models.CharField(max_length=12)),
                (
                    "value_mm",
                    models.DecimalField(
                        decimal_places=9, editable=False, max_digits=20
                    ),
                ),
                ("expanded_u_text", models.CharField(max_length=40)),
                ("expanded_u_unit", models.CharField(max_length=12)),
                (
                    "expanded_u_mm",
                    models.DecimalField(
                        decimal_places=9, editable=False, max_digits=20
                    ),
                ),
                ("coverage_factor_text", models.CharField(default="2", max_length=10)),
                ("temperature_text", models.CharField(max_length=40)),
                ("temperature_unit", models.CharField(max_length=12)),
                (
                    "temperature_degc",
                    models.DecimalField(
                        decimal_places=9, editable=False, max_digits=20
                    ),
                ),
            ],
            options={
                "ordering": ["calibration", "pk"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "constraints": [
                    models.UniqueConstraint(
                        fields=("calibration", "label", "moment"),
                        name="calibrated_value_once",
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="SensorCorrection",
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
                    "calibration",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="corrections",
                        to="equipment.calibration",
                    ),
                ),
                (
                    "moment",
                    models.CharField(
                        choices=[("as found", "As found"), ("as left", "As left")],
                        default="as left",
                        max_length=10,
                    ),
                ),
                ("reading_text", models.CharField(max_length=40)),
                ("reading_unit", models.CharField(max_length=12)),
                (
                    "reading_degc",
                    models.DecimalField(
                        decimal_places=9, editable=False, max_digits=20
                    ),
                ),
                ("correction_text", models.CharField(max_length=40)),
                ("correction_unit", models.CharField(max_length=12)),
                (
                    "correction_k",
                    models.DecimalField(
                        decimal_places=9, editable=False, max_digits=20
                    ),
                ),
                ("expanded_u_text", models.CharField(max_length=40)),
                ("expanded_u_unit", models.CharField(max_length=12)),
                (
                    "expanded_u_k",
                    models.DecimalField(
                        decimal_places=9, editable=False, max_digits=20
                    ),
                ),
                ("coverage_factor_text", models.CharField(default="2", max_length=10)),
            ],
            options={
                "ordering": ["calibration", "moment", "reading_degc"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "constraints": [
                    models.UniqueConstraint(
                        fields=("calibration", "moment", "reading_degc"),
                        name="sensor_correction_once",
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="CertificateFile",
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
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="certificate_files",
                        to="equipment.device",
                    ),
                ),
                (
                    "file",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="common.storedfile",
                    ),
                ),
                (
                    "brought_by",
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
                "ordering": ["device", "-pk"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="Requirement",
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
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="requirements",
                        to="equipment.device",
                    ),
                ),
                (
                    "statement",
                    models.TextField(
                        help_text="The requirement in words, and its source."
                    ),
                ),
                ("label", models.CharField(blank=True, max_length=80)),
                ("reference_text", models.CharField(blank=True, max_length=40)),
                ("reference_unit", models.CharField(blank=True, max_length=12)),
                (
                    "reference_mm",
                    models.DecimalField(
                        blank=True,
                        decimal_places=9,
                        editable=False,
                        max_digits=20,
                        null=True,
                    ),
                ),
                ("limit_text", models.CharField(blank=True, max_length=40)),
                ("limit_unit", models.CharField(blank=True, max_length=12)),
                (
                    "limit_mm",
                    models.DecimalField(
                        blank=True,
                        decimal_places=9,
                        editable=False,
                        max_digits=20,
                        null=True,
                    ),
                ),
                ("largest_u_text", models.CharField(blank=True, max_length=40)),
                ("largest_u_unit", models.CharField(blank=True, max_length=12)),
                (
                    "largest_u_mm",
                    models.DecimalField(
                        blank=True,
                        decimal_places=9,
                        editable=False,
                        max_digits=20,
                        null=True,
                    ),
                ),
                (
                    "largest_correction_text",
                    models.CharField(blank=True, max_length=40),
                ),
                (
                    "largest_correction_unit",
                    models.CharField(blank=True, max_length=12),
                ),
                (
                    "largest_correction_k",
                    models.DecimalField(
                        blank=True,
                        decimal_places=9,
                        editable=False,
                        max_digits=20,
                        null=True,
                    ),
                ),
                (
                    "largest_correction_u_text",
                    models.CharField(blank=True, max_length=40),
                ),
                (
                    "largest_correction_u_unit",
                    models.CharField(blank=True, max_length=12),
                ),
                (
                    "largest_correction_u_k",
                    models.DecimalField(
                        blank=True,
                        decimal_places=9,
                        editable=False,
                        max_digits=20,
                        null=True,
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
                "ordering": ["device", "-pk"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="CalibrationAcceptance",
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
                    "calibration",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="acceptance",
                        to="equipment.calibration",
                    ),
                ),
                ("accepted", models.BooleanField()),
                (
                    "requirement",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.requirement",
                    ),
                ),
                (
                    "findings",
                    models.TextField(
                        help_text="Each comparison that was made, in words."
                    ),
                ),
                (
                    "words",
                    models.TextField(help_text="The decision, in the person's words."),
                ),
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
                "ordering": ["calibration"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="Attachment",
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
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="attachments",
                        to="equipment.device",
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[("photo", "Photo"), ("document", "Document")],
                        max_length=10,
                    ),
                ),
                (
                    "file",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="common.storedfile",
                    ),
                ),
                ("title", models.CharField(max_length=120)),
                (
                    "added_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "added_at",
                    models.DateTimeField(default=lab.common.clock.now, editable=False),
                ),
                ("removed_at", models.DateTimeField(null=True)),
            ],
            options={
                "ordering": ["device", "pk"],
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("removed_at", None)),
                        fields=("device", "file"),
                        name="device_file_once",
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="Provider",
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
                ("accreditation", models.CharField(blank=True, max_length=120)),
                (
                    "lead_days",
                    models.PositiveSmallIntegerField(
                        help_text="Days from sending a device until it is back, as a rule."
                    ),
                ),
                ("notes", models.TextField(blank=True)),
            ],
            options={
                "ordering": ["name"],
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="Dispatch",
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
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="dispatches",
                        to="equipment.device",
                    ),
                ),
                (
                    "provider",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="dispatches",
                        to="equipment.provider",
                    ),
                ),
                ("sent_on", models.DateField()),
                ("expected_back", models.DateField()),
                (
                    "carrier",
                    models.CharField(help_text="Who carries it.", max_length=120),
                ),
                ("purpose", models.TextField()),
                (
                    "sent_by",
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
                "ordering": ["device", "-sent_on", "-pk"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("expected_back__gte", models.F("sent_on"))),
                        name="dispatch_days_in_order",
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="DispatchReturn",
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
                    "dispatch",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="came_back",
                        to="equipment.dispatch",
                    ),
                ),
                ("returned_on", models.DateField()),
                ("condition", models.TextField(help_text="As it was unpacked.")),
                (
                    "received_by",
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
                "ordering": ["dispatch"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="StandIn",
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
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="stand_ins",
                        to="equipment.device",
                    ),
                ),
                (
                    "stand_in",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.device",
                    ),
                ),
                (
                    "difference",
                    models.CharField(
                        blank=True,
                        help_text="What it can't do, or does otherwise.",
                        max_length=200,
                    ),
                ),
            ],
            options={
                "ordering": ["device", "stand_in__tag"],
                "constraints": [
                    models.UniqueConstraint(
                        fields=("device", "stand_in"), name="stand_in_once"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("device", models.F("stand_in")), _negated=True
                        ),
                        name="stand_in_is_another",
                    ),
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="MaintenanceTask",
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
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="maintenance_tasks",
                        to="equipment.device",
                    ),
                ),
                ("title", models.CharField(max_length=80)),
                ("instructions", models.TextField(blank=True)),
                (
                    "every_days",
                    models.PositiveSmallIntegerField(
                        validators=[
                            django.core.validators.MinValueValidator(1),
                            django.core.validators.MaxValueValidator(3660),
                        ]
                    ),
                ),
                ("first_due_on", models.DateField()),
                ("is_ended", models.BooleanField(default=False)),
                (
                    "created_at",
                    models.DateTimeField(default=lab.common.clock.now, editable=False),
                ),
            ],
            options={
                "ordering": ["device", "title", "pk"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("every_days__gte", 1), ("every_days__lte", 3660)
                        ),
                        name="maintenance_comes_round",
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="DeviceEvent",
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
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="events",
                        to="equipment.device",
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("maintenance", "Maintenance"),
                            ("adjustment", "Adjustment"),
                            ("repair", "Repair"),
                            ("modification", "Modification"),
                            ("firmware", "Firmware or software changed"),
                            ("damage", "Knock, fall or damage"),
                            ("malfunction", "Malfunction"),
                            ("move", "Moved to another room"),
                            ("transport", "Transport"),
                        ],
                        max_length=20,
                    ),
                ),
                ("at", models.DateTimeField()),
                ("note", models.TextField()),
                (
                    "task",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="done",
                        to="equipment.maintenancetask",
                    ),
                ),
                ("firmware_before", models.CharField(blank=True, max_length=60)),
                ("firmware_after", models.CharField(blank=True, max_length=60)),
                (
                    "room_before",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="laboratory.room",
                    ),
                ),
                (
                    "room_after",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="laboratory.room",
                    ),
                ),
                (
                    "may_measure_differently",
                    models.BooleanField(
                        help_text="Whether it breaks the chain of checks of systems with the device."
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
                "ordering": ["device", "-at", "-pk"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "indexes": [
                    models.Index(fields=["device", "at"], name="device_event_by_time")
                ],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="IntervalRule",
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
                    "family",
                    models.CharField(
                        choices=[
                            ("tracker", "Tracker"),
                            ("scanner", "Scanner"),
                            ("scale bar", "Scale bar"),
                            ("ball bar", "Ball bar"),
                            ("sphere", "Sphere"),
                            ("step artefact", "Step artefact"),
                            ("flat", "Flat artefact"),
                            ("contact thermometer", "Contact thermometer"),
                            ("logger", "Temperature and humidity logger"),
                            ("rotary table", "Rotary table"),
                        ],
                        max_length=30,
                    ),
                ),
                (
                    "method",
                    models.CharField(
                        choices=[
                            ("fixed", "Fixed interval"),
                            ("staircase", "Staircase, by the last results"),
                            ("drift", "By the drift of the calibrated value"),
                        ],
                        max_length=10,
                    ),
                ),
                (
                    "months",
                    models.PositiveSmallIntegerField(
                        validators=[
                            django.core.validators.MinValueValidator(1),
                            django.core.validators.MaxValueValidator(120),
                        ]
                    ),
                ),
                ("shortest_months", models.PositiveSmallIntegerField(default=3)),
                ("longest_months", models.PositiveSmallIntegerField(default=36)),
                ("extend_up_to_percent", models.PositiveSmallIntegerField(default=50)),
                ("reduce_above_percent", models.PositiveSmallIntegerField(default=100)),
                ("in_a_row", models.PositiveSmallIntegerField(default=2)),
                ("reason", models.TextField()),
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
                "ordering": ["family", "-pk"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("shortest_months__gte", 1),
                            ("months__gte", models.F("shortest_months")),
                            ("longest_months__gte", models.F("months")),
                        ),
                        name="interval_months_in_order",
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="CalendarFeed",
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
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="calendar_feeds",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("digest", models.CharField(max_length=64, unique=True)),
                (
                    "made_at",
                    models.DateTimeField(default=lab.common.clock.now, editable=False),
                ),
                ("revoked_at", models.DateTimeField(null=True)),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("revoked_at", None)),
                        fields=("person",),
                        name="one_open_feed_a_person",
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="DigestChoice",
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
                    "person",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="due_digest_choice",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("is_wanted", models.BooleanField()),
            ],
            options={
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="DueDigest",
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
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="due_digests",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("week", models.DateField(help_text="Its Monday.")),
                (
                    "wanted_at",
                    models.DateTimeField(default=lab.common.clock.now, editable=False),
                ),
                ("claimed_at", models.DateTimeField(null=True)),
                ("sent_at", models.DateTimeField(null=True)),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        fields=("person", "week"), name="one_digest_a_week"
                    )
                ],
                "indexes": [],
            },
        ),
    ]
