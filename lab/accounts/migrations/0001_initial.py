import django.db.models.deletion
import django.db.models.functions.text
from django.conf import settings
from django.db import migrations, models

import lab.common.clock


class Migration(migrations.Migration):
    initial = True

    dependencies = []

    operations = [
        migrations.CreateModel(
            name="User",
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
                ("password", models.CharField(max_length=128, verbose_name="password")),
                (
                    "last_login",
                    models.DateTimeField(
                        blank=True, null=True, verbose_name="last login"
                    ),
                ),
                ("email", models.EmailField(max_length=200, unique=True)),
                ("name", models.CharField(max_length=120)),
                (
                    "role",
                    models.CharField(
                        choices=[
                            ("coordinator", "Coordinator"),
                            ("technician", "Technician"),
                            ("signatory", "Signatory"),
                            ("quality_manager", "Quality manager"),
                            ("administrator", "Administrator"),
                            ("client_contact", "Client contact"),
                        ],
                        max_length=20,
                    ),
                ),
                ("is_active", models.BooleanField(default=True)),
                (
                    "created_at",
                    models.DateTimeField(default=lab.common.clock.now, editable=False),
                ),
                (
                    "sessions_ended",
                    models.PositiveIntegerField(
                        default=0,
                        help_text="Counts up whenever all sessions are to end.",
                    ),
                ),
            ],
            options={
                "ordering": ["name"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("email", django.db.models.functions.text.Lower("email"))
                        ),
                        name="user_email_in_lower_case",
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="BackupCode",
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
                        related_name="backup_codes",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("digest", models.CharField(max_length=64, unique=True)),
                (
                    "made_at",
                    models.DateTimeField(default=lab.common.clock.now, editable=False),
                ),
                ("used_at", models.DateTimeField(null=True)),
            ],
            options={
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="PasswordLink",
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
                        related_name="password_links",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[("invitation", "invitation"), ("reset", "reset")],
                        max_length=12,
                    ),
                ),
                ("digest", models.CharField(blank=True, max_length=64)),
                (
                    "asked_at",
                    models.DateTimeField(default=lab.common.clock.now, editable=False),
                ),
                ("expires_at", models.DateTimeField()),
                ("used_at", models.DateTimeField(null=True)),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("digest", ""), _negated=True),
                        fields=("digest",),
                        name="password_link_digest_once",
                    )
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="PasswordRequest",
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
                ("email", models.CharField(max_length=200)),
                ("ip_address", models.GenericIPAddressField(null=True)),
                (
                    "asked_at",
                    models.DateTimeField(default=lab.common.clock.now, editable=False),
                ),
            ],
            options={
                "indexes": [
                    models.Index(fields=["asked_at"], name="password_request_by_time")
                ],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="Tablet",
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
                ("digest", models.CharField(max_length=64, unique=True)),
                (
                    "made_at",
                    models.DateTimeField(default=lab.common.clock.now, editable=False),
                ),
            ],
            options={
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="TabletPerson",
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
                    "tablet",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="people",
                        to="accounts.tablet",
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("last_at", models.DateTimeField()),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        fields=("tablet", "person"), name="tablet_person_once"
                    )
                ],
                "indexes": [],
            },
        ),
    ]
