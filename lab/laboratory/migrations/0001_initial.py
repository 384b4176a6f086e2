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
    ]

    operations = [
        migrations.CreateModel(
            name="Method",
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
            ],
            options={
                "ordering": ["code"],
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="MethodRevision",
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
                ("temperature_lowest_text", models.CharField(max_length=40)),
                ("temperature_lowest_unit", models.CharField(max_length=12)),
                (
                    "temperature_lowest_degc",
                    models.DecimalField(
                        decimal_places=9, editable=False, max_digits=20
                    ),
                ),
                ("temperature_highest_text", models.CharField(max_length=40)),
                ("temperature_highest_unit", models.CharField(max_length=12)),
                (
                    "temperature_highest_degc",
                    models.DecimalField(
                        decimal_places=9, editable=False, max_digits=20
                    ),
                ),
                ("rate_text", models.CharField(blank=True, max_length=40)),
                ("rate_unit", models.CharField(blank=True, max_length=12)),
                (
                    "rate_k_per_h",
                    models.DecimalField(
                        blank=True,
                        decimal_places=9,
                        editable=False,
                        max_digits=20,
                        null=True,
                    ),
                ),
                ("rate_window_minutes", models.PositiveSmallIntegerField(default=60)),
                ("longest_gap_minutes", models.PositiveSmallIntegerField(default=15)),
                ("spread_text", models.CharField(blank=True, max_length=40)),
                ("spread_unit", models.CharField(blank=True, max_length=12)),
                (
                    "spread_k",
                    models.DecimalField(
                        blank=True,
                        decimal_places=9,
                        editable=False,
                        max_digits=20,
                        null=True,
                    ),
                ),
                ("humidity_lowest_text", models.CharField(blank=True, max_length=40)),
                ("humidity_lowest_unit", models.CharField(blank=True, max_length=12)),
                (
                    "humidity_lowest_percent",
                    models.DecimalField(
                        blank=True,
                        decimal_places=9,
                        editable=False,
                        max_digits=20,
                        null=True,
                    ),
                ),
                ("humidity_highest_text", models.CharField(blank=True, max_length=40)),
                ("humidity_highest_unit", models.CharField(blank=True, max_length=12)),
                (
                    "humidity_highest_percent",
                    models.DecimalField(
                        blank=True,
                        decimal_places=9,
                        editable=False,
                        max_digits=20,
                        null=True,
                    ),
                ),
                (
                    "method",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="revisions",
                        to="laboratory.method",
                    ),
                ),
                ("revision", models.CharField(max_length=20)),
                ("valid_from", models.DateField()),
                (
                    "valid_until",
                    models.DateField(
                        blank=True,
                        help_text="The last day; empty where no end is set.",
                        null=True,
                    ),
                ),
                ("reference_document", models.CharField(max_length=200)),
                ("changes", models.TextField(help_text="What changed, and why.")),
                (
                    "minimum_targets",
                    models.PositiveSmallIntegerField(
                        default=5,
                        validators=[django.core.validators.MinValueValidator(3)],
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
                "ordering": ["method", "-valid_from"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "constraints": [
                    models.UniqueConstraint(
                        fields=("method", "revision"), name="method_revision_once"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("valid_until", None),
                            ("valid_until__gte", models.F("valid_from")),
                            _connector="OR",
                        ),
                        name="method_revision_days_in_order",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("minimum_targets__gte", 3)),
                        name="method_revision_enough_targets",
                    ),
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="MethodCapability",
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
                    "revision",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="capabilities",
                        to="laboratory.methodrevision",
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("length", "Length or distance"),
                            ("diameter", "Diameter"),
                            ("angle", "Angle"),
                            ("form", "Form"),
                            ("orientation", "Orientation"),
                            ("position", "Position"),
                            ("profile", "Profile"),
                        ],
                        max_length=20,
                    ),
                ),
                ("smallest_text", models.CharField(max_length=40)),
                ("smallest_unit", models.CharField(max_length=12)),
                (
                    "smallest_mm",
                    models.DecimalField(
                        decimal_places=9, editable=False, max_digits=20
                    ),
                ),
                ("largest_text", models.CharField(max_length=40)),
                ("largest_unit", models.CharField(max_length=12)),
                (
                    "largest_mm",
                    models.DecimalField(
                        decimal_places=9, editable=False, max_digits=20
                    ),
                ),
                ("cmc_constant_text", models.CharField(blank=True, max_length=40)),
                ("cmc_constant_unit", models.CharField(blank=True, max_length=12)),
                (
                    "cmc_constant_mm",
                    models.DecimalField(
                        blank=True,
                        decimal_places=9,
                        editable=False,
                        max_digits=20,
                        null=True,
                    ),
                ),
                ("cmc_per_metre_text", models.CharField(blank=True, max_length=40)),
                ("cmc_per_metre_unit", models.CharField(blank=True, max_length=12)),
                (
                    "cmc_per_metre_mm",
                    models.DecimalField(
                        blank=True,
                        decimal_places=9,
                        editable=False,
                        max_digits=20,
                        null=True,
                    ),
                ),
                ("cmc_angle_text", models.CharField(blank=True, max_length=40)),
                ("cmc_angle_unit", models.CharField(blank=True, max_length=12)),
                (
                    "cmc_angle_deg",
                    models.DecimalField(
                        blank=True,
                        decimal_places=9,
                        editable=False,
                        max_digits=20,
                        null=True,
                    ),
                ),
            ],
            options={
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "constraints": [
                    models.UniqueConstraint(
                        fields=("revision", "kind"),
                        name="method_capability_once_a_kind",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("cmc_angle_deg__gt", 0),
                                ("cmc_constant_mm__isnull", True),
                                ("kind", "angle"),
                            ),
                            models.Q(
                                models.Q(("kind", "angle"), _negated=True),
                                ("cmc_angle_deg", None),
                                ("cmc_constant_mm__gt", 0),
                            ),
                            _connector="OR",
                        ),
                        name="method_capability_has_its_cmc",
                    ),
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="MethodCheck",
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
                    "revision",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="checks_wanted",
                        to="laboratory.methodrevision",
                    ),
                ),
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
                        max_length=40,
                    ),
                ),
            ],
            options={
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "constraints": [
                    models.UniqueConstraint(
                        fields=("revision", "kind"), name="method_check_once_a_kind"
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="MethodWithdrawal",
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
                    "revision",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="withdrawal",
                        to="laboratory.methodrevision",
                    ),
                ),
                ("at", models.DateTimeField(default=lab.common.clock.now)),
                ("reason", models.TextField()),
                (
                    "withdrawn_by",
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
            name="Authorisation",
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
                        related_name="authorisations",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "method",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="authorisations",
                        to="laboratory.method",
                    ),
                ),
                (
                    "activity",
                    models.CharField(
                        choices=[
                            ("measure", "Measure"),
                            ("evaluate", "Evaluate"),
                            ("review", "Review"),
                            ("authorise", "Authorise"),
                        ],
                        max_length=20,
                    ),
                ),
                ("valid_from", models.DateField()),
                (
                    "valid_until",
                    models.DateField(
                        blank=True,
                        help_text="The last day; empty where no end is set.",
                        null=True,
                    ),
                ),
                ("evidence", models.TextField(help_text="What shows the competence.")),
                (
                    "evidence_file",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="common.storedfile",
                    ),
                ),
                (
                    "granted_by",
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
                "indexes": [
                    models.Index(
                        fields=["person", "method", "activity", "valid_from"],
                        name="authorisation_of_person",
                    )
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("valid_until", None),
                            ("valid_until__gte", models.F("valid_from")),
                            _connector="OR",
                        ),
                        name="authorisation_days_in_order",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="AuthorisationRevocation",
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
                    "authorisation",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="revocation",
                        to="laboratory.authorisation",
                    ),
                ),
                ("at", models.DateTimeField(default=lab.common.clock.now)),
                ("reason", models.TextField()),
                (
                    "revoked_by",
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
            name="Deputation",
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
                        related_name="deputations",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "deputy",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="stands_in",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("valid_from", models.DateField()),
                ("valid_until", models.DateField(help_text="The last day.")),
                ("reason", models.TextField()),
                (
                    "granted_by",
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
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("valid_until__gte", models.F("valid_from"))
                        ),
                        name="deputation_days_in_order",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("person", models.F("deputy")), _negated=True
                        ),
                        name="deputation_of_two_people",
                    ),
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="DeputationEnd",
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
                    "deputation",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="ending",
                        to="laboratory.deputation",
                    ),
                ),
                ("at", models.DateTimeField(default=lab.common.clock.now)),
                (
                    "ended_by",
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
            name="Laboratory",
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
                ("name", models.CharField(max_length=120)),
                ("address", models.TextField(help_text="One line each, as printed.")),
                ("email", models.EmailField(max_length=200)),
                (
                    "country",
                    models.CharField(
                        blank=True, help_text="Two letters of ISO 3166-1.", max_length=2
                    ),
                ),
                ("phone", models.CharField(max_length=40)),
                (
                    "accreditation",
                    models.TextField(
                        blank=True,
                        help_text="What may be printed of an accreditation; empty for none.",
                    ),
                ),
                (
                    "paper",
                    models.CharField(
                        choices=[("a4", "A4"), ("letter", "Letter")],
                        default="a4",
                        max_length=10,
                    ),
                ),
                (
                    "document_title",
                    models.CharField(
                        choices=[
                            ("calibration_certificate", "Calibration certificate"),
                            ("test_report", "Test report"),
                            ("measurement_report", "Measurement report"),
                        ],
                        default="measurement_report",
                        max_length=30,
                    ),
                ),
                (
                    "time_zone",
                    models.CharField(
                        help_text="Days of validity begin and end by this zone.",
                        max_length=64,
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("only", 1)), name="laboratory_only_one"
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="NumberFormat",
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
                    "series",
                    models.CharField(
                        choices=[("job", "Jobs"), ("certificate", "Certificates")],
                        max_length=20,
                        unique=True,
                    ),
                ),
                ("pattern", models.CharField(max_length=60)),
            ],
            options={
                "ordering": ["series"],
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="Site",
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
                ("address", models.TextField(help_text="One line each, as printed.")),
                ("time_zone", models.CharField(max_length=64)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("permanent", "Permanent"),
                            ("temporary", "Temporary"),
                        ],
                        default="permanent",
                        max_length=10,
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
            name="Room",
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
                ("temperature_lowest_text", models.CharField(max_length=40)),
                ("temperature_lowest_unit", models.CharField(max_length=12)),
                (
                    "temperature_lowest_degc",
                    models.DecimalField(
                        decimal_places=9, editable=False, max_digits=20
                    ),
                ),
                ("temperature_highest_text", models.CharField(max_length=40)),
                ("temperature_highest_unit", models.CharField(max_length=12)),
                (
                    "temperature_highest_degc",
                    models.DecimalField(
                        decimal_places=9, editable=False, max_digits=20
                    ),
                ),
                ("rate_text", models.CharField(blank=True, max_length=40)),
                ("rate_unit", models.CharField(blank=True, max_length=12)),
                (
                    "rate_k_per_h",
                    models.DecimalField(
                        blank=True,
                        decimal_places=9,
                        editable=False,
                        max_digits=20,
                        null=True,
                    ),
                ),
                ("rate_window_minutes", models.PositiveSmallIntegerField(default=60)),
                ("longest_gap_minutes", models.PositiveSmallIntegerField(default=15)),
                ("spread_text", models.CharField(blank=True, max_length=40)),
                ("spread_unit", models.CharField(blank=True, max_length=12)),
                (
                    "spread_k",
                    models.DecimalField(
                        blank=True,
                        decimal_places=9,
                        editable=False,
                        max_digits=20,
                        null=True,
                    ),
                ),
                ("humidity_lowest_text", models.CharField(blank=True, max_length=40)),
                ("humidity_lowest_unit", models.CharField(blank=True, max_length=12)),
                (
                    "humidity_lowest_percent",
                    models.DecimalField(
                        blank=True,
                        decimal_places=9,
                        editable=False,
                        max_digits=20,
                        null=True,
                    ),
                ),
                ("humidity_highest_text", models.CharField(blank=True, max_length=40)),
                ("humidity_highest_unit", models.CharField(blank=True, max_length=12)),
                (
                    "humidity_highest_percent",
                    models.DecimalField(
                        blank=True,
                        decimal_places=9,
                        editable=False,
                        max_digits=20,
                        null=True,
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="rooms",
                        to="laboratory.site",
                    ),
                ),
                ("name", models.CharField(max_length=80)),
                ("in_use", models.BooleanField(default=True)),
            ],
            options={
                "ordering": ["site", "name"],
                "constraints": [
                    models.UniqueConstraint(
                        fields=("site", "name"), name="room_name_once_a_site"
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="DecisionRule",
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
            ],
            options={
                "ordering": ["name"],
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="DecisionRuleRevision",
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
                    "rule",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="revisions",
                        to="laboratory.decisionrule",
                    ),
                ),
                ("number", models.PositiveSmallIntegerField()),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("simple", "Simple acceptance"),
                            ("guarded", "Guarded acceptance, pass or fail"),
                            (
                                "guarded_conditional",
                                "Guarded acceptance with conditional verdicts",
                            ),
                            ("probability", "Stated probability of conformity"),
                            (
                                "iso_14253_1",
                                "ISO 14253-1: conformity proven, nonconformity proven, or neither",
                            ),
                        ],
                        max_length=30,
                    ),
                ),
                ("guard_factor_text", models.CharField(blank=True, max_length=10)),
                (
                    "probability_percent_text",
                    models.CharField(blank=True, max_length=10),
                ),
                (
                    "risk",
                    models.TextField(
                        help_text="The risk in plain words, as agreed and printed."
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
                "ordering": ["rule", "-number"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "constraints": [
                    models.UniqueConstraint(
                        fields=("rule", "number"), name="decision_rule_revision_once"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("guard_factor_text", ""),
                            ("probability_percent_text", ""),
                            _connector="OR",
                        ),
                        name="decision_rule_has_one_number",
                    ),
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="DecisionRuleWithdrawal",
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
                    "revision",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="withdrawal",
                        to="laboratory.decisionrulerevision",
                    ),
                ),
                ("reason", models.TextField()),
                (
                    "withdrawn_by",
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
    ]
