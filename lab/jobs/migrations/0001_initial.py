import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import lab.common.clock


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("accounts", "__first__"),
        ("checks", "0001_initial"),
        ("customers", "0001_initial"),
        ("equipment", "0001_initial"),
        ("laboratory", "0001_initial"),
        ("parts", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="Job",
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
                ("number", models.CharField(max_length=40, unique=True)),
                (
                    "customer",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="jobs",
                        to="customers.customer",
                    ),
                ),
                (
                    "contact",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="jobs",
                        to="customers.contact",
                    ),
                ),
                (
                    "order_number",
                    models.CharField(help_text="The customer's.", max_length=60),
                ),
                (
                    "part_revision",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="jobs",
                        to="parts.partrevision",
                    ),
                ),
                (
                    "room",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="jobs",
                        to="laboratory.room",
                    ),
                ),
                (
                    "unit",
                    models.CharField(
                        choices=[("mm", "mm"), ("in", "in")], default="mm", max_length=2
                    ),
                ),
                ("wanted_on", models.DateField(null=True)),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("booked", "Booked"),
                            ("received", "Received"),
                            ("measuring", "Measuring"),
                            ("evaluated", "Evaluated"),
                            ("in review", "In review"),
                            ("returned", "Returned"),
                            ("cancelled", "Cancelled"),
                        ],
                        default="booked",
                        max_length=12,
                    ),
                ),
                (
                    "booked_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "created_at",
                    models.DateTimeField(default=lab.common.clock.now, editable=False),
                ),
            ],
            options={
                "ordering": ["-pk"],
                "indexes": [
                    models.Index(fields=["state", "wanted_on"], name="job_by_state")
                ],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="Agreement",
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
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="agreements",
                        to="jobs.job",
                    ),
                ),
                ("number", models.PositiveSmallIntegerField()),
                ("asked", models.TextField(help_text="What the customer asks for.")),
                (
                    "part_revision",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="parts.partrevision",
                    ),
                ),
                (
                    "method",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="agreements",
                        to="laboratory.methodrevision",
                    ),
                ),
                (
                    "rule",
                    models.ForeignKey(
                        help_text="Empty where no statement of conformity is wanted.",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="agreements",
                        to="laboratory.decisionrulerevision",
                    ),
                ),
                (
                    "burden",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("conformity", "We show that the item conforms"),
                            ("nonconformity", "We show that it does not conform"),
                        ],
                        max_length=20,
                    ),
                ),
                (
                    "sampling",
                    models.TextField(
                        blank=True,
                        help_text="Sampling plan and method, where the lab samples.",
                    ),
                ),
                (
                    "agreed_with",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="customers.contact",
                    ),
                ),
                ("agreed_on", models.DateField()),
                (
                    "reviewed_by",
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
                "ordering": ["job", "-number"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "constraints": [
                    models.UniqueConstraint(
                        fields=("job", "number"), name="agreement_number_once_a_job"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("burden", ""),
                            models.Q(("rule", None), _negated=True),
                            _connector="OR",
                        ),
                        name="agreement_burden_of_rule",
                    ),
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="JobItem",
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
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="items",
                        to="jobs.job",
                    ),
                ),
                ("position", models.PositiveSmallIntegerField()),
                ("serial", models.CharField(max_length=60)),
            ],
            options={
                "ordering": ["job", "position"],
                "constraints": [
                    models.UniqueConstraint(
                        fields=("job", "serial"), name="item_serial_once_a_job"
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="ItemReceipt",
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
                    "item",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="receipt",
                        to="jobs.jobitem",
                    ),
                ),
                ("at", models.DateTimeField()),
                ("condition", models.CharField(max_length=200)),
                ("damaged", models.BooleanField(default=False)),
                ("temperature_text", models.CharField(blank=True, max_length=40)),
                ("temperature_unit", models.CharField(blank=True, max_length=12)),
                (
                    "temperature_degc",
                    models.DecimalField(
                        blank=True,
                        decimal_places=9,
                        editable=False,
                        max_digits=20,
                        null=True,
                    ),
                ),
                ("place", models.CharField(max_length=80)),
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
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="ItemBody",
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
                    "item",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="bodies",
                        to="jobs.jobitem",
                    ),
                ),
                ("mass_text", models.CharField(max_length=40)),
                ("mass_unit", models.CharField(max_length=12)),
                (
                    "mass_kg",
                    models.DecimalField(
                        decimal_places=9, editable=False, max_digits=20
                    ),
                ),
                ("stuff", models.CharField(max_length=40)),
                ("surface_text", models.CharField(blank=True, max_length=40)),
                ("surface_unit", models.CharField(blank=True, max_length=12)),
                (
                    "surface_m2",
                    models.DecimalField(
                        blank=True,
                        decimal_places=9,
                        editable=False,
                        max_digits=20,
                        null=True,
                    ),
                ),
                ("wall_text", models.CharField(blank=True, max_length=40)),
                ("wall_unit", models.CharField(blank=True, max_length=12)),
                (
                    "wall_mm",
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
                "ordering": ["item", "-pk"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("surface_text", ""), ("wall_text", ""), _connector="XOR"
                        ),
                        name="item_body_surface_or_wall",
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="ItemReturn",
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
                    "item",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="returning",
                        to="jobs.jobitem",
                    ),
                ),
                ("at", models.DateTimeField()),
                ("condition", models.CharField(max_length=200)),
                ("handed_to", models.CharField(max_length=120)),
                (
                    "returned_by",
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
            name="MeasuringSession",
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
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="sessions",
                        to="jobs.job",
                    ),
                ),
                (
                    "system",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="sessions",
                        to="checks.measuringsystem",
                    ),
                ),
                (
                    "room",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="sessions",
                        to="laboratory.room",
                    ),
                ),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("running", "Running"),
                            ("paused", "Paused"),
                            ("ended", "Ended"),
                        ],
                        default="running",
                        max_length=10,
                    ),
                ),
                (
                    "started_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="sessions",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "first_at",
                    models.DateTimeField(help_text="Start of the first segment."),
                ),
                (
                    "last_at",
                    models.DateTimeField(
                        help_text="The newest event said to have happened."
                    ),
                ),
                (
                    "items",
                    models.ManyToManyField(related_name="sessions", to="jobs.jobitem"),
                ),
            ],
            options={
                "ordering": ["-first_at", "-pk"],
                "indexes": [
                    models.Index(
                        fields=["system", "first_at"], name="session_by_system"
                    ),
                    models.Index(fields=["state"], name="session_by_state"),
                ],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="SessionEvent",
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
                        related_name="events",
                        to="jobs.measuringsession",
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("start", "Start"),
                            ("pause", "Pause"),
                            ("resume", "Resume"),
                            ("end", "End"),
                        ],
                        max_length=10,
                    ),
                ),
                ("at", models.DateTimeField()),
                ("reason", models.TextField(blank=True)),
                (
                    "supersedes",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="superseded_by",
                        to="jobs.sessionevent",
                    ),
                ),
                (
                    "said_by",
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
                "ordering": ["session", "at", "pk"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="PartTemperature",
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
                    "item",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="temperatures",
                        to="jobs.jobitem",
                    ),
                ),
                (
                    "session",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="part_temperatures",
                        to="jobs.measuringsession",
                    ),
                ),
                ("at", models.DateTimeField()),
                ("temperature_text", models.CharField(max_length=40)),
                ("temperature_unit", models.CharField(max_length=12)),
                (
                    "temperature_degc",
                    models.DecimalField(
                        decimal_places=9, editable=False, max_digits=20
                    ),
                ),
                (
                    "place",
                    models.CharField(
                        blank=True, help_text="Where on the item.", max_length=80
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
                    "supersedes",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="superseded_by",
                        to="jobs.parttemperature",
                    ),
                ),
                ("reason", models.TextField(blank=True)),
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
                "ordering": ["item", "-at", "-pk"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="Hold",
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
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="holds",
                        to="jobs.job",
                    ),
                ),
                (
                    "session",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="holds",
                        to="jobs.measuringsession",
                    ),
                ),
                (
                    "cause_key",
                    models.CharField(
                        help_text="What raised it, such as suspect:check:17:session:4.",
                        max_length=160,
                    ),
                ),
                ("title", models.CharField(max_length=80)),
                ("reason", models.TextField()),
                (
                    "raised_by",
                    models.ForeignKey(
                        help_text="Empty where a finding raised it.",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "raised_at",
                    models.DateTimeField(default=lab.common.clock.now, editable=False),
                ),
            ],
            options={
                "ordering": ["job", "-pk"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "constraints": [
                    models.UniqueConstraint(
                        fields=("job", "cause_key"), name="hold_once_a_cause"
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="HoldClearance",
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
                    "hold",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="clearance",
                        to="jobs.hold",
                    ),
                ),
                ("reason", models.TextField()),
                (
                    "cleared_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "cleared_at",
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
            name="ScaleTest",
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
                        related_name="scale_tests",
                        to="jobs.measuringsession",
                    ),
                ),
                ("at", models.DateTimeField()),
                (
                    "thermometer",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.device",
                    ),
                ),
                ("scale_error", models.FloatField()),
                ("u_scale", models.FloatField()),
                ("is_significant", models.BooleanField()),
                (
                    "is_consistent",
                    models.BooleanField(help_text="Empty for a single bar.", null=True),
                ),
                ("longest_bar_mm", models.FloatField()),
                (
                    "words",
                    models.TextField(
                        help_text="The outcome in sentences, as it was shown."
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
                "ordering": ["-at", "-pk"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="ScaleTestBar",
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
                    "test",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="bars",
                        to="jobs.scaletest",
                    ),
                ),
                (
                    "calibrated_value",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.calibratedvalue",
                    ),
                ),
                ("reading_text", models.CharField(max_length=40)),
                ("reading_unit", models.CharField(max_length=12)),
                (
                    "reading_mm",
                    models.DecimalField(
                        decimal_places=9, editable=False, max_digits=20
                    ),
                ),
                ("reading_u_text", models.CharField(max_length=40)),
                ("reading_u_unit", models.CharField(max_length=12)),
                (
                    "reading_u_mm",
                    models.DecimalField(
                        decimal_places=9, editable=False, max_digits=20
                    ),
                ),
                ("temperature_text", models.CharField(max_length=40)),
                ("temperature_unit", models.CharField(max_length=12)),
                (
                    "temperature_degc",
                    models.DecimalField(
                        decimal_places=9, editable=False, max_digits=20
                    ),
                ),
                (
                    "scale_error",
                    models.FloatField(help_text="Of this bar alone: m − 1."),
                ),
                ("weight", models.FloatField()),
            ],
            options={
                "ordering": ["test", "pk"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "constraints": [
                    models.UniqueConstraint(
                        fields=("test", "calibrated_value"), name="scale_test_bar_once"
                    )
                ],
                "indexes": [],
            },
        ),
    ]
