import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import lab.common.clock


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("accounts", "__first__"),
        ("jobs", "0001_initial"),
        ("parts", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="Result",
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
                        related_name="results",
                        to="jobs.job",
                    ),
                ),
                (
                    "item",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="results",
                        to="jobs.jobitem",
                    ),
                ),
                (
                    "characteristic",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="results",
                        to="parts.characteristic",
                    ),
                ),
                (
                    "session",
                    models.ForeignKey(
                        help_text="Empty only for a result of an outside provider.",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="results",
                        to="jobs.measuringsession",
                    ),
                ),
                ("unit", models.CharField(max_length=12)),
                ("value_text", models.CharField(max_length=40)),
                ("expanded_u_text", models.CharField(max_length=40)),
                ("coverage_factor_text", models.CharField(max_length=10)),
                (
                    "uncertainty_basis",
                    models.CharField(
                        help_text="What the uncertainty rests on.", max_length=300
                    ),
                ),
                (
                    "temperature_state",
                    models.CharField(
                        choices=[
                            ("at 20 °C", "Brought to 20 °C by the evaluation software"),
                            ("as measured", "As measured, at the part's temperature"),
                            (
                                "corrected here",
                                "As measured, and brought to 20 °C here",
                            ),
                        ],
                        max_length=20,
                    ),
                ),
                ("part_temperature_text", models.CharField(blank=True, max_length=40)),
                ("number_of_points", models.PositiveIntegerField(null=True)),
                ("filter_text", models.CharField(blank=True, max_length=120)),
                ("association", models.CharField(blank=True, max_length=120)),
                ("software", models.CharField(max_length=120)),
                (
                    "provider",
                    models.CharField(
                        blank=True,
                        help_text="The outside provider, if one measured.",
                        max_length=120,
                    ),
                ),
                (
                    "supersedes",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="superseded_by",
                        to="inspections.result",
                    ),
                ),
                (
                    "reason",
                    models.TextField(
                        blank=True, help_text="Why an earlier value changed."
                    ),
                ),
                (
                    "evaluated_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "entered_by",
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
                "ordering": ["job", "item", "characteristic__position", "pk"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("supersedes", None)),
                        fields=("item", "characteristic"),
                        name="result_one_original",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("session", None), _negated=True),
                            models.Q(("provider", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="result_of_session_or_provider",
                    ),
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="Decision",
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
                    "result",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="decisions",
                        to="inspections.result",
                    ),
                ),
                (
                    "agreement",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="decisions",
                        to="jobs.agreement",
                    ),
                ),
                (
                    "verdict",
                    models.CharField(
                        blank=True,
                        help_text="Empty where no statement was agreed.",
                        max_length=60,
                    ),
                ),
                ("printed_value", models.CharField(max_length=40)),
                ("printed_u", models.CharField(max_length=40)),
                ("printed_unit", models.CharField(max_length=12)),
                (
                    "details_text",
                    models.TextField(
                        help_text="Canonical JSON: limits, risk, sentence."
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
                    models.UniqueConstraint(
                        fields=("result", "agreement"),
                        name="decision_once_an_agreement",
                    )
                ],
                "indexes": [],
            },
        ),
    ]
