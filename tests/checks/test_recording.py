"""Recording a check: what it comes to, what is kept, what is refused."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from lab.checks.models import ArtefactCheck, CheckReading
from lab.checks.services import add_procedure, add_system, record_check
from lab.checks.services import checks as recording
from lab.common import clock
from lab.common.errors import NotAcceptable, NotAllowed, WrongState
from lab.common.frozen import FrozenRecordChange
from lab.common.models import AuditEntry, WorkItem
from lab.equipment.entries import CalibratedEntry
from lab.laboratory.models import Laboratory
from lab.metrology.units import Quantity
from tests.checks.conftest import (
    A_TO_B,
    ACROSS,
    ALONG,
    FAILING,
    at,
    calibrate,
    check_values,
    make_device,
    revise,
)

pytestmark = pytest.mark.django_db


def test_a_check_is_compared_with_the_bar_at_its_temperature(check) -> None:
    """By hand, for the bar of 1000.0123 mm with U = 2 µm (k = 2).

    At 22.0 °C it is 1000.0123 · (1 + 11.5e-6 · 2) = 1000.0353003 mm long. The limit is
    20 µm + 20 µm/m · 1.0000123 m = 40.000246 µm. The test's u is made of 1 µm
    (calibration), 1000 mm · 11.5e-6 · 0.1 K = 1.15 µm (temperature) and
    1000 mm · 0.6e-6 · 2 K = 1.2 µm (expansion): √3.7625 µm = 1.9397 µm.
    """
    made = check()
    along, across = made.readings.all()
    assert (along.position, across.position) == (ALONG, ACROSS)
    assert str(along.measured) == "1000.0473 mm"
    assert along.reference_mm == pytest.approx(1000.0353003, abs=1e-7)
    assert along.error_mm == pytest.approx(0.0119997, abs=1e-7)
    assert across.error_mm == pytest.approx(-0.0023003, abs=1e-7)
    assert along.limit_mm == pytest.approx(0.040000246, abs=1e-9)
    assert along.acceptance_limit_mm == along.limit_mm
    assert along.u_test_mm == pytest.approx(0.0019397, abs=1e-7)
    assert (made.verdict, along.passed, across.passed) == ("pass", True, True)
    assert made.worst_share == pytest.approx(0.29999, abs=1e-4)
    assert "length at Along the room with 30 %" in made.reason


def test_one_position_beyond_the_limit_fails_the_check(check) -> None:
    """1000.0800 mm errs by 44.7 µm where 40 µm are allowed; the other one is good."""
    made = check(readings=FAILING)
    assert made.verdict == ArtefactCheck.Verdict.FAIL
    assert [reading.passed for reading in made.readings.all()] == [False, True]
    assert made.worst_share == pytest.approx(0.0446997 / 0.040000246, rel=1e-5)
    assert made.reason.startswith("1 of 2 positions fail")


def test_guarded_acceptance_leaves_less_than_the_limit(
    people, system, revision, bar, check
) -> None:
    """38 µm pass at 40 µm; guarded, 40.0 - 1.6449 · 1.9397 = 36.81 µm are accepted."""
    readings = {
        ALONG: Quantity("1000.0733", "mm"),
        ACROSS: Quantity("1000.0353", "mm"),
    }
    assert check(readings=readings).passed
    with clock.set_to(at(8, 30)):
        guarded = revise(people, revision.procedure, bar, acceptance="guarded")
    made = check(
        procedure=guarded,
        readings=readings,
        form_key="form-2",
        started_at=at(9),
        ended_at=at(9, 10),
    )
    assert not made.passed
    reading = made.readings.get(position=ALONG)
    assert reading.acceptance_limit_mm == pytest.approx(0.0368097, abs=2e-7)


def test_a_cap_ends_the_growth_of_the_limit(people, revision, bar, check) -> None:
    with clock.set_to(at(7)):
        capped = revise(
            people, revision.procedure, bar, limit_cap=Quantity("0.03", "mm")
        )
    made = check(procedure=capped)
    assert {reading.limit_mm for reading in made.readings.all()} == {0.03}


def test_readings_may_be_typed_in_another_unit(check) -> None:
    """1000.0473 mm / 25.4 = 39.371940944… in; six decimals are a hundredth of a µm."""
    made = check(
        readings={
            ALONG: Quantity("39.3719409", "in"),
            ACROSS: Quantity("1000033.0", "µm"),
        }
    )
    along = made.readings.get(position=ALONG)
    assert str(along.measured) == "39.3719409 in"
    assert along.error_mm == pytest.approx(0.0119986, abs=1e-7)


def test_a_form_is_compared_with_nothing(people, system, thermometer, check) -> None:
    """A sphere of form 0.6 µm, U = 0.2 µm: u = √(0.3² + 0.1²) = 0.3162 µm.

    The limit is taken at length zero: 20 µm; 12 µm are 60 % of it.
    """
    with clock.set_to(at(7)):
        sphere = make_device(
            people,
            "SP-1",
            "sphere",
            expansion=Quantity("5.5", "µm/(m·K)"),
            expansion_u=Quantity("0.6", "µm/(m·K)"),
        )
        form = CalibratedEntry(
            label="Form",
            value=Quantity("0.6", "µm"),
            expanded_u=Quantity("0.2", "µm"),
        )
        calibrate(people, sphere, certificate_number="HC-SP-1", values=[form])
        procedure = add_procedure(
            code="CP-02",
            title="Form of the sphere",
            kind="probing form",
            systems=[system],
            acting_user=people.quality,
        )
        by_form = revise(
            people, procedure, sphere, calibrated_label="Form", positions=["Near"]
        )
    made = check(procedure=by_form, readings={"Near": Quantity("12.0", "µm")})
    (reading,) = made.readings.all()
    assert (reading.reference_mm, reading.limit_mm) == (0.0, 0.02)
    assert reading.error_mm == pytest.approx(0.012)
    assert reading.u_test_mm == pytest.approx(0.00031623, abs=1e-8)
    assert made.worst_share == pytest.approx(0.6)


def test_what_is_recorded_leaves_a_trace_and_wakes_the_lapse_rules(
    people, system, check
) -> None:
    made = check()
    entry = AuditEntry.objects.get(verb="check.recorded")
    assert (entry.actor, entry.subject_id) == (people.technician, str(made.pk))
    assert '"Along the room":"1000.0473 mm"' in entry.values_text
    assert WorkItem.objects.filter(
        kind="lapses.judge_system", object_id=system.pk
    ).exists()
    assert made.calibration.certificate_number == "HC-SB-1-2601"
    for record in (made, made.readings.all()[0]):
        with pytest.raises(FrozenRecordChange):
            record.save()


# --- Once -----------------------------------------------------------------------------


def test_the_same_form_makes_one_check(check) -> None:
    made = check()
    assert check(readings=FAILING).pk == made.pk
    assert ArtefactCheck.objects.count() == 1
    assert AuditEntry.objects.filter(verb="check.recorded").count() == 1


def test_a_second_click_counts_for_nothing_even_after_a_revision(
    people, revision, bar, check
) -> None:
    made = check()
    with clock.set_to(at(8, 5)):
        revise(people, revision.procedure, bar)
    assert check(now=at(8, 6)).pk == made.pk


def test_of_two_that_come_at_once_the_first_is_kept(check, monkeypatch) -> None:
    """The second looks for the check of its form just before the first inserts it."""
    made = check()
    look_up, answers = recording._made_by, iter([None])
    monkeypatch.setattr(
        recording, "_made_by", lambda *at: next(answers, made) and look_up(*at)
    )
    assert check().pk == made.pk
    assert CheckReading.objects.count() == 2


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_two_at_once_on_a_server_make_one_check(
    on_postgres, in_threads, people, system, revision, thermometer
) -> None:
    values = check_values(people, system, revision, thermometer)
    made: list[ArtefactCheck] = []

    def click() -> None:
        with clock.set_to(at(8)):
            made.append(record_check(**values))

    assert in_threads([click, click, click]) == []
    assert len({check.pk for check in made}) == 1
    assert ArtefactCheck.objects.count() == 1


def test_a_form_of_another_system_makes_no_check_here(people, check) -> None:
    check()
    with clock.set_to(at(8)):
        other = add_system(
            name="Long Room system",
            tracker=make_device(people, "TR-2", "tracker"),
            scanner=make_device(people, "SC-2", "scanner"),
            acting_user=people.quality,
        )
    with pytest.raises(WrongState, match="another system"):
        check(system=other)
    for key in ("", "x" * 37):
        with pytest.raises(NotAcceptable, match="no key of its own"):
            check(form_key=key)


# --- Refusals -------------------------------------------------------------------------


def both(along: str, across: str = "1000.03") -> dict[str, Quantity]:
    return {ALONG: Quantity(along, "mm"), ACROSS: Quantity(across, "mm")}


@pytest.mark.parametrize(
    ("change", "message", "field"),
    [
        ({"readings": {ALONG: Quantity("1000", "mm")}}, "Not measured", "readings"),
        (
            {"readings": both("1000") | {"Upright": Quantity("1000", "mm")}},
            "knows no position Upright",
            "readings",
        ),
        ({"readings": both("-1000")}, "more than zero", "readings"),
        ({"ended_at": at(7, 30)}, "ends before it starts", "ended_at"),
        ({"ended_at": at(8, 6)}, "future", "ended_at"),
        ({"started_at": at(8, 6), "ended_at": at(8, 7)}, "future", "started_at"),
        (
            {"artefact_temperature": Quantity("293", "°C")},
            "between -60 and 150",
            "artefact_temperature",
        ),
        (
            {"started_at": at(8, days=-365), "ended_at": at(9, days=-365)},
            "no current calibration",
            "started_at",
        ),
    ],
)
def test_what_can_not_be_is_refused(
    check, change: dict[str, Any], message: str, field: str
) -> None:
    with pytest.raises(NotAcceptable, match=message) as refusal:
        check(now=at(8), **change)
    assert refusal.value.field == field
    assert not ArtefactCheck.objects.exists()


def test_the_air_s_logger_is_no_thermometer_of_the_bar(people, check) -> None:
    with clock.set_to(at(7)):
        logger = make_device(people, "LG-1", "logger")
    with pytest.raises(NotAcceptable, match="no contact thermometer") as refusal:
        check(thermometer=logger)
    assert refusal.value.field == "thermometer"


def test_the_day_of_the_due_date_counts_to_its_local_midnight(check) -> None:
    """Due 2027-01-15: at 23:50 in London it is current, ten minutes later no more."""
    last = at(0) + (date(2027, 1, 15) - date(2026, 3, 17))
    evening = last + timedelta(hours=23, minutes=50)
    assert check(started_at=evening, ended_at=evening)
    night = last + timedelta(days=1)
    with pytest.raises(NotAcceptable, match="no current calibration"):
        check(started_at=night, ended_at=night, form_key="form-2")


def test_a_bar_that_missed_its_requirement_checks_nothing(people, bar, check) -> None:
    with clock.set_to(at(7)):
        calibrate(
            people,
            bar,
            calibrated_on=date(2026, 3, 10),
            counts_from=date(2026, 3, 17),
            certificate_number="HC-SB-1-2603",
            requirement_met=False,
        )
    with pytest.raises(NotAcceptable, match="no current calibration"):
        check()


def test_a_value_that_the_newest_certificate_lacks_is_no_reference(
    people, bar, check
) -> None:
    other = CalibratedEntry(
        label="Length B–C", value=Quantity("500", "mm"), expanded_u=Quantity("2", "µm")
    )
    with clock.set_to(at(7)):
        calibrate(
            people,
            bar,
            calibrated_on=date(2026, 3, 10),
            counts_from=date(2026, 3, 17),
            certificate_number="HC-SB-1-2603",
            values=[other],
        )
    with pytest.raises(NotAcceptable, match="states no “Length A–B”"):
        check()


def test_a_value_is_taken_at_the_temperature_that_its_certificate_states(
    people, bar, check
) -> None:
    """Certified at 22 °C and measured at 22 °C: nothing is brought anywhere."""
    warm = CalibratedEntry(
        label=A_TO_B,
        value=Quantity("1000.0353", "mm"),
        expanded_u=Quantity("2", "µm"),
        temperature=Quantity("22", "°C"),
    )
    with clock.set_to(at(7)):
        calibrate(
            people,
            bar,
            calibrated_on=date(2026, 3, 10),
            counts_from=date(2026, 3, 17),
            certificate_number="HC-SB-1-2603",
            values=[warm],
        )
    along, across = check().readings.order_by("pk")
    assert along.reference_mm == pytest.approx(1000.0353, abs=1e-9)
    assert along.error_mm * 1000 == pytest.approx(12.0, abs=1e-6)
    assert across.error_mm * 1000 == pytest.approx(-2.3, abs=1e-6)


def test_a_thermometer_without_current_calibration_reads_nothing(
    people, thermometer, check
) -> None:
    with clock.set_to(at(7)):
        made = make_device(people, "CT-2", "contact thermometer")
    with pytest.raises(NotAcceptable, match="CT-2 had no current") as refusal:
        check(thermometer=made)
    assert refusal.value.field == "thermometer"
    calibration = check().thermometer_calibration
    assert calibration == thermometer.calibrations.get()


def test_only_the_newest_revision_is_measured_by(people, revision, bar, check) -> None:
    with clock.set_to(at(7)):
        revise(people, revision.procedure, bar)
    with pytest.raises(WrongState, match="revised meanwhile: CP-01 revision 2"):
        check()


def test_a_procedure_of_another_system_is_refused(people, revision, check) -> None:
    with clock.set_to(at(7)):
        other = add_system(
            name="Long Room system",
            tracker=make_device(people, "TR-2", "tracker"),
            scanner=make_device(people, "SC-2", "scanner"),
            acting_user=people.quality,
        )
    with pytest.raises(WrongState, match="no procedure of Long Room system"):
        check(system=other)


def test_who_may_record(people, check) -> None:
    for person in (people.coordinator, people.administrator, people.client):
        with pytest.raises(NotAllowed):
            check(acting_user=person)
    assert check(acting_user=people.signatory).measured_by == people.signatory


def test_the_laboratory_s_zone_decides_the_day(check) -> None:
    """On 16 January at 00:30 in Auckland it is still the 15th in London."""
    Laboratory.objects.update(time_zone="Pacific/Auckland")
    evening = at(0) + (date(2027, 1, 15) - date(2026, 3, 17)) + timedelta(hours=11)
    with pytest.raises(NotAcceptable, match="no current calibration"):
        check(started_at=evening, ended_at=evening)
