import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import lab.common.clock


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("accounts", "__first__"),
        ("equipment", "0001_initial"),
        ("laboratory", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="Excursion",
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
                    "room",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="excursions",
                        to="laboratory.room",
                    ),
                ),
                (
                    "sensor",
                    models.ForeignKey(
                        help_text="Empty for the spread, which is between sensors.",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.device",
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("temperature", "Temperature"),
                            ("rate", "Rate of change"),
                            ("humidity", "Relative humidity"),
                            ("spread", "Spread in the room"),
                            ("gap", "Readings missing"),
                        ],
                        max_length=12,
                    ),
                ),
                (
                    "side",
                    models.CharField(
                        blank=True,
                        choices=[("above", "above"), ("below", "below"), ("", "")],
                        max_length=5,
                    ),
                ),
                ("start", models.DateTimeField()),
                ("end", models.DateTimeField()),
                ("is_open", models.BooleanField(default=False)),
                ("worst", models.FloatField(null=True)),
                ("worst_at", models.DateTimeField(null=True)),
                (
                    "limit",
                    models.CharField(help_text="The limit, in words.", max_length=80),
                ),
                ("in_force", models.BooleanField(default=True)),
                (
                    "found_at",
                    models.DateTimeField(default=lab.common.clock.now, editable=False),
                ),
            ],
            options={
                "ordering": ["-start", "-pk"],
                "indexes": [
                    models.Index(fields=["room", "end"], name="excursion_by_room")
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("end__gte", models.F("start"))),
                        name="excursion_times_in_order",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="ExcursionNote",
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
                    "excursion",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="notes",
                        to="environment.excursion",
                    ),
                ),
                ("note", models.TextField()),
                ("seen_end", models.DateTimeField()),
                (
                    "noted_by",
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
                "ordering": ["excursion", "pk"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="NewReadings",
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
                    "sensor",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.device",
                    ),
                ),
                ("first_at", models.DateTimeField()),
                ("last_at", models.DateTimeField()),
            ],
            options={
                "indexes": [],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="ReadingHour",
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
                    "sensor",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.device",
                    ),
                ),
                (
                    "quantity",
                    models.CharField(
                        choices=[
                            ("temperature", "Temperature"),
                            ("humidity", "Relative humidity"),
                        ],
                        max_length=12,
                    ),
                ),
                (
                    "hour",
                    models.IntegerField(
                        help_text="Whole hours since 1970-01-01 00:00 UTC."
                    ),
                ),
                ("count", models.PositiveIntegerField()),
                ("lowest", models.FloatField()),
                ("highest", models.FloatField()),
                ("mean", models.FloatField()),
                ("block", models.BinaryField()),
                ("envelope", models.BinaryField(default=b"")),
            ],
            options={
                "ordering": ["sensor", "quantity", "hour"],
                "constraints": [
                    models.UniqueConstraint(
                        fields=("sensor", "quantity", "hour"), name="reading_hour_once"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("count__gt", 0)),
                        name="reading_hour_not_empty",
                    ),
                ],
                "indexes": [],
            },
        ),
        migrations.CreateModel(
            name="SensorPlacement",
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
                    "sensor",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="placements",
                        to="equipment.device",
                    ),
                ),
                (
                    "room",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="placements",
                        to="laboratory.room",
                    ),
                ),
                ("since", models.DateTimeField()),
                (
                    "position",
                    models.CharField(
                        blank=True,
                        help_text="On the north wall, 1.5 m up, for one.",
                        max_length=120,
                    ),
                ),
                (
                    "recorded_by",
                    models.ForeignKey(
                        null=True,
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
                "ordering": ["sensor", "since", "pk"],
                "abstract": False,
                "base_manager_name": "objects",
                "default_manager_name": "objects",
                "indexes": [
                    models.Index(
                        fields=["sensor", "since"], name="placement_by_sensor"
                    ),
                    models.Index(fields=["room", "since"], name="placement_by_room"),
                ],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="SpotReading",
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
                    "room",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="spot_readings",
                        to="laboratory.room",
                    ),
                ),
                (
                    "sensor",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="equipment.device",
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
                ("humidity_text", models.CharField(blank=True, max_length=40)),
                ("humidity_unit", models.CharField(blank=True, max_length=12)),
                (
                    "humidity_percent",
                    models.DecimalField(
                        blank=True,
                        decimal_places=9,
                        editable=False,
                        max_digits=20,
                        null=True,
                    ),
                ),
                (
                    "supersedes",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="superseded_by",
                        to="environment.spotreading",
                    ),
                ),
                (
                    "reason",
                    models.TextField(
                        blank=True, help_text="Why an earlier one is corrected."
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
                "indexes": [
                    models.Index(fields=["room", "at"], name="spot_reading_by_room")
                ],
                "constraints": [],
            },
        ),
    ]
