"""Every page of the laboratory that writes: where, for whom, what it takes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import pytest
from django.urls import reverse

from lab.common import clock
from lab.laboratory.models import Authorisation, Deputation, MethodRevision

BOTH, QUALITY = {"quality", "administrator"}, {"quality"}
NOON_DAY = "2026-03-17"

LIMITS = {
    "temperature_lowest_text": "19.5",
    "temperature_lowest_unit": "°C",
    "temperature_highest_text": "20.5",
    "temperature_highest_unit": "°C",
    "rate_text": "0.3",
    "rate_unit": "K/h",
    "rate_window_minutes": "60",
    "spread_text": "",
    "spread_unit": "K",
    "humidity_lowest_text": "",
    "humidity_lowest_unit": "%",
    "humidity_highest_text": "65",
    "humidity_highest_unit": "%",
}
SITE = {
    "name": "Quayside",
    "address": "Quay 4\nPort Ennis",
    "time_zone": "Atlantic/Azores",
    "kind": "temporary",
}
SCOPE = {
    "scope-length-smallest_text": "5",
    "scope-length-smallest_unit": "mm",
    "scope-length-largest_text": "2.5",
    "scope-length-largest_unit": "m",
    "scope-length-cmc_constant_text": "15",
    "scope-length-cmc_constant_unit": "µm",
    "scope-length-cmc_per_metre_text": "10",
    "scope-length-cmc_per_metre_unit": "µm",
}
REVISION = (
    LIMITS
    | SCOPE
    | {
        "revision": "B",
        "valid_from": NOON_DAY,
        "valid_until": "",
        "reference_document": "SD-P-01",
        "changes": "Tighter limits.",
        "minimum_targets": "6",
        "checks": ["length", "flat form"],
    }
)


@dataclass
class Page:
    """A page that writes: where, for whom, what it takes, what it refuses."""

    name: str
    args: list[Any]
    roles: set[str]
    good: dict[str, Any]
    verb: str
    bad: dict[str, dict[str, Any]] = field(default_factory=dict)
    shown_by_get: bool = True

    @property
    def url(self) -> str:
        return reverse(f"laboratory:{self.name}", args=self.args)


def place_pages(house: Any) -> list[Page]:
    identity = {
        "name": "Saltmarsh Dimensional",
        "address": "The Net House\nPort Ennis",
        "email": "desk@saltmarsh.example",
        "phone": "+00 5550 1234",
        "time_zone": "Europe/Tallinn",
        "accreditation": "",
        "paper": "letter",
        "document_title": "test_report",
    }
    return [
        Page(
            "identity",
            [],
            BOTH,
            identity,
            "laboratory.changed",
            {"name": {"name": "tbd"}, "time_zone": {"time_zone": "Port/Ennis"}},
        ),
        Page("add-site", [], BOTH, SITE, "site.added", {"address": {"address": "n/a"}}),
        Page(
            "change-site",
            [house.site.pk],
            BOTH,
            SITE | {"name": "Old Quay", "in_use": "on"},
            "site.changed",
            {"name": {"name": ""}, "in_use": {"in_use": ""}},
        ),
        Page(
            "add-room",
            [house.site.pk],
            BOTH,
            LIMITS | {"name": "Long Room"},
            "room.added",
            {
                "temperature_lowest": {"temperature_lowest_text": "nan"},
                "temperature_highest": {"temperature_highest_text": "19"},
                "rate": {"rate_unit": "mm"},
                "rate_window_minutes": {"rate_window_minutes": "0"},
                "spread": {"spread_text": "-1"},
                "humidity_highest": {"humidity_highest_text": "1e3"},
            },
        ),
        Page(
            "change-room",
            [house.room.pk],
            BOTH,
            LIMITS | {"name": "Net Loft", "in_use": "on", "reason": "New chiller."},
            "room.changed",
            {"rate": {"rate_text": "inf"}, "name": {"name": "-"}},
        ),
        Page(
            "change-numbers",
            ["job"],
            BOTH,
            {"pattern": "SD-{year}-{number:04d}"},
            "number_format.changed",
            {"pattern": {"pattern": "SD-{number}"}},
        ),
    ]


def method_pages(house: Any, revision: MethodRevision) -> list[Page]:
    code = house.method.code
    return [
        Page(
            "start-method",
            [],
            QUALITY,
            {"code": "MP-02", "title": "Angles by tracked scanner"},
            "method.started",
            {"code": {"code": "mp-01"}, "title": {"title": "tbd"}},
        ),
        Page(
            "change-title",
            [code],
            QUALITY,
            {"title": "Lengths"},
            "method.retitled",
            {"title": {"title": "?"}},
        ),
        Page(
            "revise-method",
            [code],
            QUALITY,
            REVISION,
            "method_revision.recorded",
            {
                "valid_from": {"valid_from": "2026-03-16"},
                "valid_until": {"valid_until": "2026-03-16"},
                "minimum_targets": {"minimum_targets": "2"},
                "checks": {"checks": ["colour"]},
                "reference_document": {"reference_document": "n/a"},
                "temperature_highest": {"temperature_highest_unit": "K/h"},
            },
        ),
        Page(
            "withdraw-revision",
            [revision.pk],
            QUALITY,
            {"reason": "A wrong sign."},
            "method_revision.withdrawn",
            {"reason": {"reason": "-"}},
        ),
    ]


def authority_pages(
    house: Any, people: Any, granted: Authorisation, deputation: Deputation
) -> list[Page]:
    grant = {
        "person": people.technician2.pk,
        "method": house.method.pk,
        "activity": "measure",
        "valid_from": NOON_DAY,
        "valid_until": "2026-12-31",
        "evidence": "Witnessed on two jobs.",
    }
    deputy = {
        "person": people.signatory.pk,
        "deputy": people.technician3.pk,
        "valid_from": NOON_DAY,
        "valid_until": "2026-03-27",
        "reason": "On leave.",
    }
    return [
        Page(
            "grant",
            [],
            QUALITY,
            grant,
            "authorisation.granted",
            {
                "person": {"person": people.client.pk},
                "valid_from": {"valid_from": "2026-03-16"},
                "valid_until": {"valid_until": "31/12/2026"},
                "evidence": {"evidence": "tbd"},
                "activity": {"activity": "sing"},
            },
        ),
        Page(
            "revoke",
            [granted.pk],
            QUALITY,
            {"reason": "Two jobs measured wrongly."},
            "authorisation.revoked",
            {"reason": {"reason": ""}},
        ),
        Page(
            "name-deputy",
            [],
            QUALITY,
            deputy,
            "deputation.named",
            {
                "deputy": {"deputy": people.signatory.pk},
                "valid_until": {"valid_until": ""},
            },
        ),
        Page(
            "end-deputation",
            [deputation.pk],
            QUALITY,
            {},
            "deputation.ended",
            shown_by_get=False,
        ),
    ]


def rule_pages(house: Any) -> list[Page]:
    pk = house.rule.rule.pk
    ruling = {
        "kind": "guarded",
        "guard_factor": "0.83",
        "probability_percent": "",
        "risk": "About one bad part of twenty at the limit.",
    }
    bad = {
        "guard_factor": {"guard_factor": "nan"},
        "probability_percent": {"probability_percent": "95"},
        "kind": {"kind": "lenient"},
        "risk": {"risk": "tbd"},
    }
    return [
        Page(
            "offer-rule",
            [],
            QUALITY,
            ruling | {"name": "Eighty-three"},
            "decision_rule.offered",
            bad | {"name": {"name": "Guarded"}},
        ),
        Page(
            "revise-rule",
            [pk],
            QUALITY,
            ruling | {"reason": "Customers asked."},
            "decision_rule.revised",
            bad | {"reason": {"reason": "-"}},
        ),
        Page(
            "withdraw-rule",
            [pk],
            QUALITY,
            {"reason": "Nobody agrees to it."},
            "decision_rule.withdrawn",
            {"reason": {"reason": "n/a"}},
        ),
    ]


@pytest.fixture
def pages(house: Any, people: Any, revise: Any, grant: Any, noon: Any) -> Any:
    """Return every page that writes, at noon of an ordinary day."""
    with clock.set_to(noon):
        revision = revise("A", noon.date())
        granted = grant(people.technician, "measure")
        deputation = Deputation.objects.create(
            person=people.signatory,
            deputy=people.technician,
            valid_from=noon.date(),
            valid_until=noon.date(),
            reason="On leave.",
            granted_by=people.quality,
        )
        yield [
            *place_pages(house),
            *method_pages(house, revision),
            *authority_pages(house, people, granted, deputation),
            *rule_pages(house),
        ]


@pytest.fixture
def page(pages: list[Page]) -> Callable[[str], Page]:
    by_name = {one.name: one for one in pages}
    return by_name.__getitem__
