"""Measuring systems and check procedures: what may stand in them."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from lab.checks.models import CheckProcedure, MeasuringSystem, ProcedureRevision
from lab.checks.services import (
    add_procedure,
    add_system,
    change_procedure,
    change_system,
)
from lab.common import clock
from lab.common.errors import NotAcceptable, NotAllowed
from lab.common.models import AuditEntry, WorkItem
from lab.metrology.units import Quantity
from tests.checks.conftest import at, make_device, revise

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def morning() -> Any:
    with clock.set_to(at(7)):
        yield


# --- Systems ------------------------------------------------------------------------


def test_a_system_is_a_tracker_and_a_scanner(people, system) -> None:
    entry = AuditEntry.objects.get(verb="system.added")
    assert entry.actor == people.quality
    assert '"tracker":"TR-1"' in entry.values_text
    assert (system.tracker.tag, system.scanner.tag) == ("TR-1", "SC-1")


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"name": "net loft SYSTEM"}, "name"),
        ({"name": "tbd"}, "name"),
        ({"tracker": "SC-2"}, "tracker"),
        ({"scanner": "TR-2"}, "scanner"),
        ({"tracker": "TR-1", "scanner": "SC-1"}, "scanner"),
    ],
)
def test_a_system_without_sense_is_refused(
    people, system, change: dict[str, str], field: str
) -> None:
    devices = {
        "TR-1": system.tracker,
        "SC-1": system.scanner,
        "TR-2": make_device(people, "TR-2", "tracker"),
        "SC-2": make_device(people, "SC-2", "scanner"),
    }
    values = {"name": "Long Room system", "tracker": "TR-2", "scanner": "SC-2"}
    values |= change
    with pytest.raises(NotAcceptable) as refusal:
        add_system(
            name=values["name"],
            tracker=devices[values["tracker"]],
            scanner=devices[values["scanner"]],
            acting_user=people.quality,
        )
    assert refusal.value.field == field
    assert MeasuringSystem.objects.count() == 1


def test_a_system_goes_out_of_use_with_a_trace(people, system) -> None:
    change_system(
        system=system, name="Old system", in_use=False, acting_user=people.quality
    )
    system.refresh_from_db()
    assert (system.name, system.in_use) == ("Old system", False)
    entry = AuditEntry.objects.get(verb="system.changed")
    assert '"before":{"in_use":true,"name":"Net Loft system"}' in entry.values_text
    change_system(
        system=system, name="Old system", in_use=False, acting_user=people.quality
    )
    assert AuditEntry.objects.filter(verb="system.changed").count() == 1
    with pytest.raises(NotAllowed):
        change_system(
            system=system, name="Mine", in_use=True, acting_user=people.technician
        )


# --- Procedures ---------------------------------------------------------------------


def test_a_revision_follows_on_the_one_before(people, revision, bar) -> None:
    second = revise(people, revision.procedure, bar, limit_constant=Quantity("8", "µm"))
    assert (revision.number, second.number) == (1, 2)
    assert second.position_names == ["Along the room", "Across the room"]
    assert second.limit_words == "8 µm + 20 µm per metre"
    entry = AuditEntry.objects.filter(verb="procedure.revised").order_by("-pk")[0]
    assert '"before":{"revision":1}' in entry.values_text
    assert '"limit_constant":"8 µm"' in entry.values_text


@pytest.mark.parametrize(
    ("change", "message", "field"),
    [
        ({"positions": [" ", ""]}, "at least one", "positions"),
        ({"positions": ["Along\nalong"]}, "one name", "positions"),
        ({"positions": ["x y " * 30]}, "80 letters", "positions"),
        ({"calibrated_label": "Length X"}, "Known are: Length A", "calibrated_label"),
        ({"calibrated_label": ""}, "empty", "calibrated_label"),
        ({"limit_constant": Quantity("0", "µm"), "limit_per_metre": None}, "0", None),
        ({"limit_cap": Quantity("10", "µm")}, "below the constant", None),
        ({"limit_per_metre": Quantity("-1", "µm")}, "mm_per_mm", None),
        ({"acceptance": "generous"}, "no rule", "acceptance"),
        ({"temperature_u": Quantity("-1", "K")}, "below zero", "temperature_u"),
        ({"valid_for": timedelta(0)}, "never valid", "valid_for"),
        ({"closing_within": timedelta(-1)}, "below zero", "closing_within"),
    ],
)
def test_a_revision_without_sense_is_refused(
    people, revision, bar, change: dict[str, Any], message: str, field: str | None
) -> None:
    with pytest.raises(NotAcceptable, match=message) as refusal:
        revise(people, revision.procedure, bar, **change)
    assert refusal.value.field == (field or "limit_constant")
    assert ProcedureRevision.objects.count() == 1


def test_an_artefact_has_to_fit_what_is_measured(people, system, bar) -> None:
    procedure = add_procedure(
        code="CP-02",
        title="Form of the sphere",
        kind="probing form",
        systems=[system],
        acting_user=people.quality,
    )
    with pytest.raises(NotAcceptable, match="SB-1 is a scale bar") as refusal:
        revise(people, procedure, bar)
    assert refusal.value.field == "artefact"


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"code": "CP 1"}, "code"),
        ({"code": "cp-01"}, "code"),
        ({"title": "?"}, "title"),
        ({"kind": "colour"}, "kind"),
        ({"systems": []}, "systems"),
    ],
)
def test_a_procedure_without_sense_is_refused(
    people, system, revision, change: dict[str, Any], field: str
) -> None:
    values: dict[str, Any] = {
        "code": "CP-02",
        "title": "Length of the steel bar",
        "kind": "length",
        "systems": [system],
    }
    with pytest.raises(NotAcceptable) as refusal:
        add_procedure(**values | change, acting_user=people.quality)
    assert refusal.value.field == field
    assert CheckProcedure.objects.count() == 1


def test_a_procedure_is_asked_of_another_system_too(people, system, revision) -> None:
    other = add_system(
        name="Long Room system",
        tracker=make_device(people, "TR-2", "tracker"),
        scanner=make_device(people, "SC-2", "scanner"),
        acting_user=people.quality,
    )
    values = {
        "procedure": revision.procedure,
        "title": "Length of the steel bar",
        "systems": [system, other],
        "acting_user": people.quality,
    }
    change_procedure(**values)
    assert set(revision.procedure.systems.all()) == {system, other}
    wanted = WorkItem.objects.filter(kind="lapses.judge_system")
    assert other.pk in wanted.values_list("object_id", flat=True)
    change_procedure(**values)
    assert AuditEntry.objects.filter(verb="procedure.changed").count() == 1
    with pytest.raises(NotAcceptable, match="which systems"):
        change_procedure(**values | {"systems": []})


def test_only_the_quality_manager_revises(people, system, revision, bar) -> None:
    for person in (people.technician, people.signatory, people.administrator):
        with pytest.raises(NotAllowed):
            revise(people, revision.procedure, bar, acting_user=person)
        with pytest.raises(NotAllowed):
            add_procedure(
                code="CP-02",
                title="Mine",
                kind="length",
                systems=[system],
                acting_user=person,
            )
