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
                (
                    "reason",
                    models.TextField(help_text="Why, and with a restriction, which."),
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
                "indexes": [],
                "constraints": [],
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
                        help_text="The results meet what the lab requires of this device."
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
    ]
