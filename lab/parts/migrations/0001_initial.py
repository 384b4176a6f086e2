import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import lab.common.clock


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("accounts", "__first__"),
        ("common", "0001_initial"),
        ("customers", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="Part",
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
                    "customer",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="parts",
                        to="customers.customer",
                    ),
                ),
                (
                    "number",
                    models.CharField(
                        help_text="Drawing or part number.", max_length=60
                    ),
                ),
                ("name", models.CharField(max_length=120)),
                (
                    "created_at",
                    models.DateTimeField(default=lab.common.clock.now, editable=False),
                ),
            ],
            options={
                "ordering": ["customer", "number"],
                "constraints": [
                    models.UniqueConstraint(
                        fields=("customer", "number"),
                        name="part_number_once_a_customer",
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="PartRevision",
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
                    "part",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="revisions",
                        to="parts.part",
                    ),
                ),
                (
                    "revision",
                    models.CharField(help_text="As on the drawing.", max_length=20),
                ),
                (
                    "supersedes",
                    models.OneToOneField(
                        help_text="The recording of the same drawing revision that this one corrects.",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="superseded_by",
                        to="parts.partrevision",
                    ),
                ),
                ("material", models.CharField(max_length=80)),
                ("expansion_text", models.CharField(max_length=40)),
                ("expansion_unit", models.CharField(max_length=12)),
                (
                    "expansion_per_k",
                    models.DecimalField(
                        decimal_places=15, editable=False, max_digits=20
                    ),
                ),
                ("expansion_u_text", models.CharField(max_length=40)),
                ("expansion_u_unit", models.CharField(max_length=12)),
                (
                    "expansion_u_per_k",
                    models.DecimalField(
                        decimal_places=15, editable=False, max_digits=20
                    ),
                ),
                ("mass_text", models.CharField(blank=True, max_length=40)),
                ("mass_unit", models.CharField(blank=True, max_length=12)),
                (
                    "mass_kg",
                    models.DecimalField(
                        blank=True,
                        decimal_places=9,
                        editable=False,
                        max_digits=20,
                        null=True,
                    ),
                ),
                ("surface_finish", models.CharField(blank=True, max_length=80)),
                (
                    "drawing",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="common.storedfile",
                    ),
                ),
                (
                    "model",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="common.storedfile",
                    ),
                ),
                (
                    "changes",
                    models.TextField(blank=True, help_text="What changed, and why."),
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
                "ordering": ["part", "-pk"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("supersedes", None)),
                        fields=("part", "revision"),
                        name="part_revision_one_original",
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="Characteristic",
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
                        related_name="characteristics",
                        to="parts.partrevision",
                    ),
                ),
                (
                    "position",
                    models.PositiveSmallIntegerField(help_text="Order on the page."),
                ),
                (
                    "number",
                    models.CharField(help_text="As on the drawing.", max_length=20),
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
                ("description", models.CharField(max_length=120)),
                ("unit", models.CharField(max_length=12)),
                ("nominal_text", models.CharField(max_length=40)),
                ("lower_text", models.CharField(blank=True, max_length=40)),
                ("upper_text", models.CharField(blank=True, max_length=40)),
                (
                    "evaluation",
                    models.CharField(
                        blank=True,
                        help_text="Association, filter, datum system, as the drawing says.",
                        max_length=200,
                    ),
                ),
            ],
            options={
                "ordering": ["revision", "position"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "constraints": [
                    models.UniqueConstraint(
                        fields=("revision", "number"), name="characteristic_number_once"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("lower_text", ""), _negated=True),
                            models.Q(("upper_text", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="characteristic_has_a_limit",
                    ),
                ],
                "indexes": [],
            },
        ),
    ]
