"""Methods: what a revision holds, that it stays so, and which one is in force."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction

from lab.common import clock
from lab.common.audit import history_of
from lab.common.errors import NotAcceptable, NotAllowed, WrongState
from lab.common.frozen import FrozenRecordChange
from lab.laboratory import services
from lab.laboratory.models import (
    Method,
    MethodCapability,
    MethodRevision,
    MethodWithdrawal,
)
from lab.laboratory.scope import Capability
from lab.laboratory.selectors import revision_at
from lab.laboratory.standing import method_standings
from lab.metrology.units import Quantity

SECOND = timedelta(seconds=1)
#: The lab's midnight of the first of June: 03:00 in Tallinn's summer is UTC's 00:00.
JUNE = datetime(2031, 5, 31, 21, tzinfo=UTC)
MAY = datetime(2031, 5, 10, 12, tzinfo=UTC)
FIRST_OF_JUNE = date(2031, 6, 1)


def q(number: str, unit: str) -> Quantity:
    return Quantity(number, unit)


# --- Beginning a method ---------------------------------------------------------


def test_a_method_begins_without_a_revision(house: Any) -> None:
    assert history_of(house.method).get().verb == "method.started"
    assert revision_at(house.method) is None
    (standing,) = method_standings(clock.now())
    assert (standing.state, standing.words) == ("off", "no revision yet")


@pytest.mark.parametrize("code", ["MP-01", "mp-01", "MP 2", "MP/2", "n/a", "new", ""])
def test_a_code_that_is_taken_or_no_address_is_refused(
    code: str, house: Any, people: Any
) -> None:
    with pytest.raises(NotAcceptable) as refusal:
        services.start_method(code=code, title="Angles", acting_user=people.quality)
    assert refusal.value.field == "code"
    assert Method.objects.count() == 1


def test_a_title_changes_with_a_trace(house: Any, people: Any) -> None:
    services.change_method_title(
        method=house.method, title="Lengths", acting_user=people.quality
    )
    entry = history_of(house.method).first()
    assert entry is not None
    assert entry.values_text == (
        '{"after":{"title":"Lengths"},"before":{"title":"Lengths by tracked scanner"}}'
    )
    assert Method.objects.get().code == "MP-01"


def test_only_the_quality_manager_writes_methods(house: Any, people: Any) -> None:
    for person in (people.administrator, people.signatory, people.technician):
        with pytest.raises(NotAllowed):
            services.start_method(code="MP-02", title="Angles", acting_user=person)


# --- What a revision holds ------------------------------------------------------


def test_a_revision_holds_scope_claims_checks_and_limits(
    house: Any, people: Any, revise: Any
) -> None:
    with clock.set_to(MAY):
        record = revise("A", MAY.date(), minimum_targets=6, checks=["length"] * 2)
    record = MethodRevision.objects.get(pk=record.pk)
    lengths = record.capabilities.get(kind="length")
    assert lengths.covers(Decimal(10))
    assert lengths.covers(Decimal(3000))
    assert not lengths.covers(Decimal("3000.001"))
    assert lengths.cmc_mm(Decimal(500)) == Decimal("0.024")
    assert lengths.cmc_deg is None
    assert lengths.cmc_in_words == "18 µm + 12 µm/m · L"
    angles = record.capabilities.get(kind="angle")
    assert (angles.cmc_mm(Decimal(1)), angles.cmc_deg) == (None, Decimal("0.01"))
    assert [check.kind for check in record.checks_wanted.all()] == ["length"]
    assert record.minimum_targets == 6
    assert ("Temperature", "19 °C to 21 °C") in record.limits_in_words
    assert record.recorded_by == people.quality
    entry = history_of(record).get()
    assert (entry.verb, entry.reason) == ("method_revision.recorded", "Written anew.")
    assert '"length":"10 mm to 3 m, 18 µm + 12 µm/m · L"' in entry.values_text


@pytest.mark.parametrize(
    ("field", "changes"),
    [
        ("revision", {"revision": "tbd"}),
        ("reference_document", {"reference_document": "-"}),
        ("changes", {"changes": "n/a"}),
        ("valid_until", {"valid_until": date(2031, 5, 9)}),
        ("minimum_targets", {"minimum_targets": 2}),
        (None, {"capabilities": []}),
        ("kind", {"checks": ["colour"]}),
    ],
)
def test_a_revision_unfit_is_refused_whole(
    field: str | None, changes: dict[str, Any], revise: Any
) -> None:
    content = {"revision": "A", "valid_from": MAY.date()} | changes
    with clock.set_to(MAY), pytest.raises(NotAcceptable) as refusal:
        revise(**content)
    assert refusal.value.field == field
    assert not MethodRevision.objects.exists()
    assert not MethodCapability.objects.exists()


def test_a_kind_twice_in_scope_is_refused(revise: Any) -> None:
    one = Capability(
        kind="form",
        smallest=q("1", "mm"),
        largest=q("1", "m"),
        cmc_constant=q("9", "µm"),
    )
    with pytest.raises(NotAcceptable, match="Form stands in the scope twice"):
        revise("A", date(2031, 1, 1), capabilities=[one, one])


def test_a_mark_is_used_once(revise: Any) -> None:
    with clock.set_to(MAY):
        revise("A", MAY.date())
        with pytest.raises(NotAcceptable):
            revise("A", FIRST_OF_JUNE)


@pytest.mark.parametrize(
    ("field", "changes"),
    [
        ("largest", {"largest": q("10", "mm")}),
        ("largest", {"smallest": q("-1", "mm")}),
        ("cmc_constant", {"cmc_constant": None}),
        ("cmc_constant", {"cmc_constant": q("0", "µm")}),
        ("cmc_per_metre", {"cmc_per_metre": q("-1", "µm")}),
        ("cmc_constant", {"cmc_angle": q("1", "°")}),
        ("cmc_angle", {"kind": "angle", "cmc_constant": None}),
        ("cmc_angle", {"kind": "angle", "cmc_angle": q("1", "°")}),
        (None, {"kind": "colour"}),
    ],
)
def test_a_claim_that_is_none_is_refused(
    field: str | None, changes: dict[str, Any]
) -> None:
    content = {
        "kind": "length",
        "smallest": q("10", "mm"),
        "largest": q("3", "m"),
        "cmc_constant": q("18", "µm"),
    }
    with pytest.raises(NotAcceptable) as refusal:
        Capability(**content | changes)
    assert refusal.value.field == field


# --- Frozen ----------------------------------------------------------------------


def test_a_revision_and_its_parts_refuse_change(revise: Any) -> None:
    record = revise("A", date(2031, 1, 1))
    capability = record.capabilities.first()
    check = record.checks_wanted.first()
    for row in (record, capability, check):
        with pytest.raises(FrozenRecordChange):
            row.save()
        with pytest.raises(FrozenRecordChange):
            row.delete()
    with pytest.raises(FrozenRecordChange):
        MethodRevision.objects.update(minimum_targets=3)
    with pytest.raises(FrozenRecordChange):
        record.capabilities.all().delete()


@pytest.mark.parametrize(
    "table",
    ["methodrevision", "methodcapability", "methodcheck", "methodwithdrawal"],
)
def test_the_database_refuses_change_too(table: str, revise: Any, people: Any) -> None:
    record = revise("A", date(2031, 1, 1))
    services.withdraw_method_revision(
        revision=record, reason="Wrong.", acting_user=people.quality
    )
    for statement in (
        "UPDATE laboratory_{} SET id = id + 1",
        "DELETE FROM laboratory_{}",
    ):
        with (
            pytest.raises(DatabaseError, match="insert-only"),
            transaction.atomic(),
            connection.cursor() as cursor,
        ):
            cursor.execute(statement.format(table))


# --- Which revision is in force -----------------------------------------------------


def test_a_later_revision_takes_over_at_the_lab_s_own_midnight(
    house: Any, revise: Any
) -> None:
    with clock.set_to(MAY):
        first = revise("A", date(2030, 1, 1))
        second = revise("B", FIRST_OF_JUNE)
    assert revision_at(house.method, JUNE - SECOND) == first
    assert revision_at(house.method, JUNE) == second


def test_a_revision_ends_with_its_last_day(house: Any, revise: Any) -> None:
    with clock.set_to(MAY):
        only = revise("A", date(2030, 1, 1), valid_until=date(2031, 5, 31))
    assert revision_at(house.method, JUNE - SECOND) == only
    assert revision_at(house.method, JUNE) is None


def test_only_the_first_revision_may_begin_in_the_past(house: Any, revise: Any) -> None:
    with clock.set_to(MAY):
        first = revise("A", date(2030, 1, 1))
        with pytest.raises(NotAcceptable, match="has passed") as refusal:
            revise("B", date(2031, 5, 9))
        second = revise("B", date(2031, 5, 10))
    assert refusal.value.field == "valid_from"
    before = datetime(2030, 6, 1, tzinfo=UTC)
    assert revision_at(house.method, before) == first
    # It begins this morning on paper, and no earlier than it was recorded.
    assert revision_at(house.method, MAY - SECOND) == first
    assert revision_at(house.method, MAY) == second


def test_an_older_revision_does_not_come_back(
    house: Any, revise: Any, people: Any
) -> None:
    with clock.set_to(MAY):
        revise("A", date(2030, 1, 1))
        second = revise("B", date(2031, 5, 10))
    withdrawn = MAY + timedelta(hours=2)
    with clock.set_to(withdrawn):
        services.withdraw_method_revision(
            revision=second, reason="A wrong sign.", acting_user=people.quality
        )
    assert revision_at(house.method, withdrawn - SECOND) == second
    assert revision_at(house.method, withdrawn) is None
    with clock.set_to(withdrawn + SECOND):
        third = revise("C", date(2031, 5, 10))
    assert revision_at(house.method, withdrawn + SECOND) == third


def test_one_withdrawn_before_its_day_has_taken_no_place(
    house: Any, revise: Any, people: Any
) -> None:
    with clock.set_to(MAY):
        first = revise("A", date(2030, 1, 1))
        second = revise("B", FIRST_OF_JUNE)
        services.withdraw_method_revision(
            revision=second, reason="Not trained yet.", acting_user=people.quality
        )
    assert revision_at(house.method, JUNE) == first


def test_a_withdrawal_is_recorded_once_and_not_ahead(revise: Any, people: Any) -> None:
    with clock.set_to(MAY):
        record = revise("A", date(2030, 1, 1))
        how: dict[str, Any] = {"revision": record, "acting_user": people.quality}
        with pytest.raises(NotAcceptable, match="future"):
            services.withdraw_method_revision(
                reason="Wrong.", at=MAY + timedelta(minutes=6), **how
            )
        with pytest.raises(NotAcceptable):
            services.withdraw_method_revision(reason="-", **how)
        services.withdraw_method_revision(reason="Wrong.", **how)
        with pytest.raises(WrongState, match="withdrawn already"):
            services.withdraw_method_revision(reason="Wrong.", **how)
    assert MethodWithdrawal.objects.get().at == MAY
    assert history_of(record).first().reason == "Wrong."  # type: ignore[union-attr]


def test_how_revisions_stand_is_said_in_words(
    house: Any, revise: Any, people: Any, django_assert_num_queries: Any
) -> None:
    with clock.set_to(MAY):
        revise("A", date(2030, 1, 1))
        gone = revise("B", date(2031, 5, 10))
        services.withdraw_method_revision(
            revision=gone, reason="Wrong.", acting_user=people.quality
        )
        revise("C", date(2031, 5, 10))
        revise("D", FIRST_OF_JUNE)
    with django_assert_num_queries(3):
        (standing,) = method_standings(MAY)
    assert [(row.revision.revision, row.words) for row in standing.rows] == [
        ("D", "to come"),
        ("C", "in force"),
        ("B", "withdrawn"),
        ("A", "superseded or run out"),
    ]
    assert (standing.state, standing.words) == ("good", "in force, revision C")
