"""The register: devices, status, calibrations that count from a day to a day."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from django.urls import reverse

from lab.common import clock
from lab.common.errors import NotAcceptable, WrongState
from lab.common.models import AuditEntry, WorkItem
from lab.equipment.entries import CalibratedEntry
from lab.equipment.models import Calibration, Device
from lab.equipment.selectors import (
    calibration_spans,
    current_calibration,
    due_until,
    is_in_service,
    reference_value,
    standings,
)
from lab.equipment.services import (
    accept_calibration,
    add_device,
    change_device,
    record_calibration,
    set_status,
)
from lab.laboratory.models import Laboratory
from lab.metrology.units import Quantity

pytestmark = pytest.mark.django_db
ZONE = ZoneInfo("Europe/London")
LENGTH_AB = CalibratedEntry(
    label="Length A–B",
    value=Quantity("1000.0123", "mm"),
    expanded_u=Quantity("2.4", "µm"),
)


@pytest.fixture(autouse=True)
def laboratory() -> Laboratory:
    return Laboratory.objects.create(
        name="Saltmarsh Dimensional",
        address="1 Sluice Road",
        email="desk@saltmarsh.example",
        phone="0100 200300",
        time_zone="Europe/London",
    )


@pytest.fixture
def bar(people) -> Device:
    return add_device(
        tag="SB-1",
        kind="scale bar",
        name="Carbon-fibre bar",
        serial="CF-0071",
        expansion=Quantity("0.2", "µm/(m·K)"),
        expansion_u=Quantity("0.1", "µm/(m·K)"),
        acting_user=people.technician,
    )


def calibrate(bar: Device, people, first: date, last: date, **other) -> Calibration:
    made = record_calibration(
        device=bar,
        acting_user=people.technician,
        **{
            "calibrated_on": first,
            "counts_from": first,
            "due_on": last,
            "certificate_number": f"K-{first:%y%m%d}",
            "provider": "Coastal Standards Laboratory",
            "requirement_met": True,
            "values": (LENGTH_AB,),
        }
        | other,
    )
    if made.requirement_met:
        accept_calibration(
            calibration=made, words="As required.", acting_user=people.quality
        )
    return made


def test_a_device_is_added_by_its_tag_once(people, bar) -> None:
    with pytest.raises(NotAcceptable, match="is taken"):
        add_device(
            tag="sb-1",
            kind="tracker",
            name="Tracker",
            serial="1",
            acting_user=people.technician,
        )
    entry = AuditEntry.objects.get(verb="device.added")
    assert entry.actor == people.technician


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"tag": "SB 2"}, "letters, digits"),
        ({"kind": "kettle"}, "no kind of device"),
        ({"serial": "n/a"}, "only holds the place"),
        ({"expansion": None}, "needs its coefficient"),
        ({"expansion_u": Quantity("-1", "1/K")}, "below zero"),
    ],
)
def test_a_device_without_sense_is_refused(people, change: dict, message: str) -> None:
    sensible = {
        "tag": "SB-2",
        "kind": "scale bar",
        "name": "Steel bar",
        "serial": "ST-4",
        "expansion": Quantity("11.5", "µm/(m·K)"),
        "expansion_u": Quantity("0.5", "µm/(m·K)"),
    }
    with pytest.raises(NotAcceptable, match=message):
        add_device(**(sensible | change), acting_user=people.technician)
    assert not Device.objects.exists()


def test_a_change_keeps_what_was(people, bar) -> None:
    same = {
        "name": bar.name,
        "expansion": bar.expansion,
        "expansion_u": bar.expansion_u,
    }
    change_device(device=bar, serial="CF-0072", **same, acting_user=people.technician)
    entry = AuditEntry.objects.get(verb="device.changed")
    assert '"before":{"serial":"CF-0071"}' in entry.values_text
    change_device(device=bar, serial="CF-0072", **same, acting_user=people.technician)
    assert AuditEntry.objects.filter(verb="device.changed").count() == 1


def test_a_due_day_includes_the_whole_local_day(people, bar) -> None:
    with clock.set_to(datetime(2026, 3, 1, 9, tzinfo=UTC)):
        made = calibrate(bar, people, date(2025, 7, 14), date(2026, 7, 14))
    last_instant = datetime(2026, 7, 14, 23, 59, 59, tzinfo=ZONE)
    assert current_calibration(bar, last_instant) == made
    assert current_calibration(bar, last_instant + timedelta(seconds=1)) is None
    (span,) = calibration_spans([bar])
    assert span.end == datetime(2026, 7, 14, 23, tzinfo=UTC)
    assert span.start == datetime(2025, 7, 13, 23, tzinfo=UTC)


def test_new_values_count_from_their_day_and_end_the_old(people, bar) -> None:
    with clock.set_to(datetime(2026, 6, 10, 9, tzinfo=UTC)):
        old = calibrate(bar, people, date(2025, 7, 14), date(2026, 7, 14))
        new = calibrate(
            bar,
            people,
            date(2026, 6, 1),
            date(2027, 6, 1),
            counts_from=date(2026, 6, 8),
        )
    assert current_calibration(bar, datetime(2026, 6, 7, 12, tzinfo=UTC)) == old
    assert current_calibration(bar, datetime(2026, 6, 8, 12, tzinfo=UTC)) == new
    first, second = calibration_spans([bar])
    assert first.end == second.start == datetime(2026, 6, 7, 23, tzinfo=UTC)


def test_a_requirement_not_met_ends_the_one_before_and_gives_nothing(
    people, bar
) -> None:
    with clock.set_to(datetime(2026, 6, 10, 9, tzinfo=UTC)):
        calibrate(bar, people, date(2025, 7, 14), date(2026, 7, 14))
        calibrate(
            bar, people, date(2026, 6, 1), date(2027, 6, 1), requirement_met=False
        )
    assert current_calibration(bar, datetime(2026, 6, 2, tzinfo=UTC)) is None
    assert len(calibration_spans([bar])) == 1


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"calibrated_on": date(2027, 1, 1)}, "in the future"),
        ({"counts_from": date(2026, 1, 1)}, "before the day of calibration"),
        ({"due_on": date(2026, 2, 1)}, "before the first"),
        ({"values": ()}, "at least one value"),
        ({"provider": "tbd"}, "only holds the place"),
        (
            {"values": (replace(LENGTH_AB, coverage_factor_text="two"),)},
            "factor from 1",
        ),
        (
            {"values": (replace(LENGTH_AB, expanded_u=Quantity("0", "mm")),)},
            "above zero",
        ),
    ],
)
def test_a_calibration_without_sense_is_refused(
    people, bar, change: dict, message: str
) -> None:
    with (
        clock.set_to(datetime(2026, 3, 17, 9, tzinfo=UTC)),
        pytest.raises(NotAcceptable, match=message),
    ):
        calibrate(bar, people, date(2026, 3, 2), date(2027, 3, 2), **change)
    assert not Calibration.objects.exists()
    assert not WorkItem.objects.filter(kind="lapses.judge_device").exists()


def test_a_certificate_is_recorded_once_and_corrected_by_a_new_row(people, bar) -> None:
    days = (date(2026, 1, 5), date(2027, 1, 5))
    old = calibrate(bar, people, *days)
    with pytest.raises(WrongState, match="already"):
        calibrate(bar, people, *days)
    slip = replace(LENGTH_AB, value=Quantity("1000.0132", "mm"))
    new = calibrate(
        bar, people, *days, values=(slip,), supersedes=old, reason="A slip."
    )
    assert current_calibration(bar, datetime(2026, 5, 1, tzinfo=UTC)) == new
    value = reference_value(new, "Length A–B")
    assert str(value.value) == "1000.0132 mm"
    assert WorkItem.objects.get(kind="lapses.judge_device").object_id == bar.pk


def test_the_values_as_left_are_the_reference(people, bar) -> None:
    found = replace(LENGTH_AB, moment="as found", value=Quantity("1000.0200", "mm"))
    made = calibrate(
        bar, people, date(2026, 1, 5), date(2027, 1, 5), values=(found, LENGTH_AB)
    )
    assert reference_value(made, "Length A–B").moment == "as left"
    assert reference_value(made, "Length A–C") is None


def test_a_device_goes_out_of_service_with_a_reason(people, bar) -> None:
    assert is_in_service(bar)
    with pytest.raises(NotAcceptable):
        set_status(
            device=bar, status="out of service", reason="", acting_user=people.quality
        )
    set_status(
        device=bar,
        status="out of service",
        reason="Dropped in the Long Room.",
        acting_user=people.quality,
    )
    assert not is_in_service(bar)
    assert standings(Device.objects.all())[0].word == "Out of service"
    assert due_until(date(2030, 1, 1)) == []


@pytest.mark.parametrize(
    ("today", "word", "shape"),
    [
        (date(2026, 3, 1), "Calibrated", "state-good"),
        (date(2026, 6, 20), "Calibrated", "state-wait"),
        (date(2026, 7, 15), "Calibration overdue", "state-bad"),
    ],
)
def test_how_a_device_stands_is_said_by_word_and_shape(
    people, bar, today: date, word: str, shape: str
) -> None:
    calibrate(bar, people, date(2025, 7, 14), date(2026, 7, 14))
    noon = datetime.combine(today, datetime.min.time(), tzinfo=UTC)
    with clock.set_to(noon + timedelta(hours=12)):
        (standing,) = standings(Device.objects.all())
        assert (standing.word, standing.shape) == (word, shape)


def test_the_list_asks_a_fixed_number_of_times(
    people, sign_in, bar, django_assert_max_num_queries
) -> None:
    for number in range(20):
        add_device(
            tag=f"LG-{number}",
            kind="logger",
            name="Logger",
            serial=str(number + 100),
            acting_user=people.technician,
        )
    client = sign_in(Client(), people.technician)
    with django_assert_max_num_queries(12):
        client.get(reverse("equipment:list"))


def posted_calibration(**changes: str) -> dict[str, str]:
    return {
        "calibrated_on": "2026-01-05",
        "counts_from": "2026-01-05",
        "due_on": "2027-01-05",
        "certificate_number": "K-26",
        "provider": "Coastal Standards Laboratory",
        "requirement_met": "on",
        "values-TOTAL_FORMS": "1",
        "values-INITIAL_FORMS": "0",
        "values-0-label": "Length A–B",
        "values-0-measurand": "length",
        "values-0-moment": "as left",
        "values-0-value_text": "1000.0123",
        "values-0-value_unit": "mm",
        "values-0-expanded_u_text": "2.4",
        "values-0-expanded_u_unit": "µm",
        "values-0-coverage_factor_text": "2",
        "values-0-temperature_text": "20",
        "values-0-temperature_unit": "°C",
    } | changes


def test_a_calibration_is_recorded_through_the_page(people, sign_in, bar) -> None:
    client = sign_in(Client(), people.technician)
    page = reverse("equipment:calibrate", args=[bar.tag])
    assert client.get(page).status_code == 200
    assert client.post(page, posted_calibration()).status_code == 302
    made = Calibration.objects.get()
    shown = client.get(reverse("equipment:calibration", args=[made.pk]))
    assert "1000.0123 mm" in shown.content.decode()
    assert client.post(page, posted_calibration()).status_code == 400
    assert Calibration.objects.count() == 1


@pytest.mark.parametrize(
    ("field", "typed"),
    [
        ("values-0-value_text", "NaN"),
        ("values-0-expanded_u_text", ""),
        ("values-0-value_unit", "kg"),
        ("due_on", "soon"),
        ("counts_from", "2025-01-01"),
    ],
)
def test_nonsense_on_the_page_keeps_nothing(
    people, sign_in, bar, field: str, typed: str
) -> None:
    client = sign_in(Client(), people.technician)
    target = reverse("equipment:calibrate", args=[bar.tag])
    assert client.post(target, posted_calibration(**{field: typed})).status_code == 400
    assert not Calibration.objects.exists()


def test_who_may_what(people, sign_in, bar) -> None:
    reader = sign_in(Client(), people.coordinator)
    assert reader.get(reverse("equipment:detail", args=["SB-1"])).status_code == 200
    for verb in ("change", "status", "calibrate"):
        target = reverse(f"equipment:{verb}", args=["SB-1"])
        assert reader.get(target).status_code == 403
    client = sign_in(Client(), people.client)
    assert client.get(reverse("equipment:list")).status_code == 403
    assert sign_in(Client(), people.technician).get("/devices/x/").status_code == 404
