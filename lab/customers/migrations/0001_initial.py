import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import lab.common.clock


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("accounts", "__first__"),
    ]

    operations = [
        migrations.CreateModel(
            name="Customer",
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
                ("address", models.TextField(help_text="One line each, as printed.")),
                ("phone", models.CharField(blank=True, max_length=40)),
                (
                    "notes",
                    models.TextField(
                        blank=True, help_text="For the lab only; never printed."
                    ),
                ),
                ("in_use", models.BooleanField(default=True)),
                (
                    "created_at",
                    models.DateTimeField(default=lab.common.clock.now, editable=False),
                ),
            ],
            options={
                "ordering": ["name"],
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="Contact",
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
                        related_name="contacts",
                        to="customers.customer",
                    ),
                ),
                ("name", models.CharField(max_length=120)),
                ("email", models.EmailField(max_length=200)),
                ("phone", models.CharField(blank=True, max_length=40)),
                (
                    "user",
                    models.OneToOneField(
                        help_text="The account by which this person signs in, if they have one.",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="contact",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("in_use", models.BooleanField(default=True)),
            ],
            options={
                "ordering": ["name"],
                "constraints": [
                    models.UniqueConstraint(
                        fields=("customer", "email"), name="contact_once_a_customer"
                    )
                ],
                "indexes": [],
            },
        ),
    ]
