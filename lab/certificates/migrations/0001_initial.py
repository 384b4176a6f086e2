import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import lab.common.clock


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("accounts", "__first__"),
        ("common", "0001_initial"),
        ("inspections", "0001_initial"),
        ("jobs", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="Draft",
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
                        related_name="drafts",
                        to="jobs.job",
                    ),
                ),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("draft", "Draft"),
                            ("in review", "In review"),
                            ("reviewed", "Reviewed"),
                            ("issued", "Issued"),
                            ("abandoned", "Abandoned"),
                        ],
                        default="draft",
                        max_length=12,
                    ),
                ),
                (
                    "title",
                    models.CharField(
                        choices=[
                            ("calibration_certificate", "Calibration certificate"),
                            ("test_report", "Test report"),
                            ("measurement_report", "Measurement report"),
                        ],
                        max_length=30,
                    ),
                ),
                (
                    "deviations",
                    models.TextField(
                        help_text="Additions to, departures from or omissions of the method; or “None.”"
                    ),
                ),
                (
                    "opinion",
                    models.TextField(
                        blank=True, help_text="Marked as such where printed."
                    ),
                ),
                (
                    "adjustment",
                    models.TextField(
                        blank=True,
                        help_text="What was adjusted or repaired between measurements; then the values before it are printed too.",
                    ),
                ),
                (
                    "change",
                    models.TextField(
                        blank=True,
                        help_text="What an amendment or replacement changes, and why.",
                    ),
                ),
                (
                    "prepared_by",
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
                (
                    "reviewed_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("reviewed_at", models.DateTimeField(null=True)),
                (
                    "reviewed_content_sha256",
                    models.CharField(
                        blank=True,
                        help_text="Hash of the content that the reviewer saw: no other is issued.",
                        max_length=64,
                    ),
                ),
                (
                    "items",
                    models.ManyToManyField(related_name="drafts", to="jobs.jobitem"),
                ),
            ],
            options={
                "ordering": ["-pk"],
            },
        ),
        migrations.CreateModel(
            name="DraftRemark",
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
                    "draft",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="remarks",
                        to="certificates.draft",
                    ),
                ),
                ("text", models.TextField()),
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
                "ordering": ["draft", "pk"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="Certificate",
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
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="certificates",
                        to="jobs.job",
                    ),
                ),
                (
                    "draft",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="certificate",
                        to="certificates.draft",
                    ),
                ),
                (
                    "amends",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="amendments",
                        to="certificates.certificate",
                    ),
                ),
                (
                    "replaces",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="replacement",
                        to="certificates.certificate",
                    ),
                ),
                (
                    "snapshot_text",
                    models.TextField(
                        help_text="Canonical JSON with its schema number."
                    ),
                ),
                ("snapshot_sha256", models.CharField(max_length=64)),
                ("authenticity_code", models.CharField(max_length=26, unique=True)),
                (
                    "issued_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "issued_at",
                    models.DateTimeField(default=lab.common.clock.now, editable=False),
                ),
            ],
            options={
                "ordering": ["-pk"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("amends", None), ("replaces", None), _connector="OR"
                        ),
                        name="certificate_amends_or_replaces",
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="CertificateItem",
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
                    "certificate",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="certified_items",
                        to="certificates.certificate",
                    ),
                ),
                (
                    "item",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="certified",
                        to="jobs.jobitem",
                    ),
                ),
            ],
            options={
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "constraints": [
                    models.UniqueConstraint(
                        fields=("certificate", "item"), name="certificate_item_once"
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="CertificateResult",
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
                    "certificate",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="certified_results",
                        to="certificates.certificate",
                    ),
                ),
                (
                    "result",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="certified",
                        to="inspections.result",
                    ),
                ),
                (
                    "decision",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="inspections.decision",
                    ),
                ),
            ],
            options={
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "constraints": [
                    models.UniqueConstraint(
                        fields=("certificate", "result"), name="certificate_result_once"
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="Document",
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
                    "certificate",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="document",
                        to="certificates.certificate",
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
                ("unsigned_sha256", models.CharField(max_length=64)),
                (
                    "rendered_at",
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
            name="Withdrawal",
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
                    "certificate",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="withdrawal",
                        to="certificates.certificate",
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
        migrations.CreateModel(
            name="Sending",
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
                    "certificate",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="sendings",
                        to="certificates.certificate",
                    ),
                ),
                ("sent_to", models.CharField(max_length=200)),
                ("how", models.CharField(max_length=80)),
                ("at", models.DateTimeField()),
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
                "ordering": ["certificate", "-at"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.AddField(
            model_name="Draft",
            name="amends",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="amending_drafts",
                to="certificates.certificate",
            ),
        ),
        migrations.AddField(
            model_name="Draft",
            name="replaces",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="replacing_drafts",
                to="certificates.certificate",
            ),
        ),
        migrations.AddConstraint(
            model_name="Draft",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("amends", None), ("replaces", None), _connector="OR"
                ),
                name="draft_amends_or_replaces",
            ),
        ),
    ]
