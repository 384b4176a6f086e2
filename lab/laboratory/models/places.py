"""Where the laboratory works: sites and their rooms."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from django.db import models

from lab.laboratory.models.climate import ClimateLimits


class Site(models.Model):
    """A place of work: the lab's own, or one at a customer's for a time."""

    class Kind(models.TextChoices):
        PERMANENT = "permanent", "Permanent"
        TEMPORARY = "temporary", "Temporary"

    name = models.CharField(max_length=80, unique=True)
    address = models.TextField(help_text="One line each, as printed.")
    time_zone = models.CharField(max_length=64)
    kind = models.CharField(max_length=10, choices=Kind.choices, default=Kind.PERMANENT)
    in_use = models.BooleanField(default=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    @property
    def address_lines(self) -> list[str]:
        return self.address.splitlines()

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.time_zone)


class Room(ClimateLimits):
    """A room of a site, with the limits inside which it may be measured in."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="rooms")
    name = models.CharField(max_length=80)
    in_use = models.BooleanField(default=True)

    class Meta:
        ordering = ["site", "name"]
        constraints = [
            models.UniqueConstraint(
                fields=["site", "name"], name="room_name_once_a_site"
            )
        ]

    def __str__(self) -> str:
        return f"{self.name}, {self.site}"
