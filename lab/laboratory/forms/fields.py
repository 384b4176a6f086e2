"""Fields that several of the laboratory's forms have."""

from __future__ import annotations

from typing import Any

from django import forms

from lab.laboratory.zones import zone_names


class ZoneField(forms.ChoiceField):
    """A time zone, by its region and city."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(choices=_zones_by_region, **kwargs)


def _zones_by_region() -> list[tuple[str, Any]]:
    regions: dict[str, list[tuple[str, str]]] = {}
    for name in zone_names():
        region, _, city = name.partition("/")
        label = city.replace("_", " ") or name
        regions.setdefault(region, []).append((name, label))
    return [("", "Choose…"), *regions.items()]
