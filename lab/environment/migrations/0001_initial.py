import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import lab.common.clock


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("accounts", "__first__"),
        ("common", "0001_initial"),
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
            name="ReadingSource",
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
                (
                    "layout_text",
                    models.TextField(blank=True, help_text="Canonical JSON."),
                ),
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
            name="ReadingImport",
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
                    "file",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="common.storedfile",
                    ),
                ),
                (
                    "source",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="imports",
                        to="environment.readingsource",
                    ),
                ),
                (
                    "name",
                    models.CharField(
                        help_text="What its sender called it.", max_length=200
                    ),
                ),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("looked at", "Waits for confirmation"),
                            ("wanted", "Waits for its turn"),
                            ("running", "Being read"),
                            ("done", "Imported"),
                            ("failed", "Failed"),
                            ("cancelled", "Cancelled"),
                        ],
                        default="looked at",
                        max_length=12,
                    ),
                ),
                (
                    "layout_text",
                    models.TextField(blank=True, help_text="As confirmed."),
                ),
                ("run", models.CharField(blank=True, max_length=32)),
                ("attempts", models.PositiveSmallIntegerField(default=0)),
                ("bytes_read", models.PositiveBigIntegerField(default=0)),
                ("rows_read", models.PositiveBigIntegerField(default=0)),
                ("added", models.PositiveBigIntegerField(default=0)),
                ("known", models.PositiveBigIntegerField(default=0)),
                ("left_out", models.PositiveBigIntegerField(default=0)),
                (
                    "report_text",
                    models.TextField(blank=True, help_text="Canonical JSON."),
                ),
                ("error", models.TextField(blank=True)),
                (
                    "uploaded_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "uploaded_at",
                    models.DateTimeField(default=lab.common.clock.now, editable=False),
                ),
                ("finished_at", models.DateTimeField(null=True)),
            ],
            options={
                "ordering": ["-uploaded_at", "-pk"],
                "indexes": [
                    models.Index(fields=["uploaded_at", "id"], name="import_by_time")
                ],
                "constraints": [],
            },
        ),
        migrations.CreateModel(
            name="StagedHour",
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
                    "reading_import",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="staged",
                        to="environment.readingimport",
                    ),
                ),
                (
                    "run",
                    models.CharField(
                        help_text="Rows of a run that was overtaken are never used.",
                        max_length=32,
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
                ("hour", models.IntegerField()),
                ("count", models.PositiveIntegerField()),
                ("lowest", models.FloatField()),
                ("highest", models.FloatField()),
                ("mean", models.FloatField()),
                ("block", models.BinaryField()),
                ("envelope", models.BinaryField(default=b"")),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        fields=("reading_import", "run", "sensor", "quantity", "hour"),
                        name="staged_hour_once",
                    )
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
        migrations.CreateModel(
            name="LoggerToken",
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
                        related_name="tokens",
                        to="equipment.device",
                    ),
                ),
                ("name", models.CharField(max_length=80)),
                (
                    "digest",
                    models.CharField(help_text="SHA-256.", max_length=64, unique=True),
                ),
                (
                    "created_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "created_at",
                    models.DateTimeField(default=lab.common.clock.now, editable=False),
                ),
                ("revoked_at", models.DateTimeField(null=True)),
                ("last_used_at", models.DateTimeField(null=True)),
                ("minute", models.BigIntegerField(default=0)),
                ("used", models.PositiveIntegerField(default=0)),
            ],
            options={
                "ordering": ["sensor", "-created_at"],
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("revoked_at", None)),
                        fields=("sensor", "name"),
                        name="logger_token_name_once",
                    )
                ],
                "indexes": [],
            },
        ),
    ]
