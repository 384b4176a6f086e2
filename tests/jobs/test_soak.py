"""Items on their way to the room's temperature: foreseen as a range, met by reading."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse

from lab.common import clock
from lab.common.errors import NotAcceptable, NotAllowed
from lab.common.models import AuditEntry
from lab.jobs.models import ItemBody
from lab.jobs.panels import soak as soak_panel
from lab.jobs.readiness import readiness
from lab.jobs.services import BodyEntry, record_item_body, record_part_temperature
from lab.jobs.soak import standing_of, tightest_of
from lab.metrology.units import Quantity
from tests.chain import at, book, read_room
from tests.jobs.conftest import NOON

pytestmark = pytest.mark.django_db
WALLS = BodyEntry(Quantity("20", "kg"), "steel", wall=Quantity("12", "mm"))


@pytest.fixture(autouse=True)
def _noon():
    with clock.set_to(NOON):
        yield


@pytest.fixture
def warm_item(lab, ready_job, people):
    """An item that came in at 30 °C two hours ago, in a room with a fresh reading."""
    read_room(lab, at(11, 45))
    item = ready_job.items.order_by("position").first()
    record_item_body(item=item, body=WALLS, acting_user=people.coordinator)
    touch(lab, item, at(11, 50), "30.0")
    return item


def touch(lab, item, moment, degc: str, place: str = "") -> None:
    record_part_temperature(
        item=item,
        at=moment,
        temperature=Quantity(degc, "°C"),
        thermometer=lab.thermometer,
        place=place,
        acting_user=lab.people.technician,
    )


def gate_of(lab, job, moment=NOON):
    gates = readiness(job, person=lab.people.technician, system=lab.system, at=moment)
    return next(gate for gate in gates if gate.name == "Part at temperature")


def test_the_tightest_is_the_length_with_least_room_for_its_size(
    lab, ready_job
) -> None:
    found = tightest_of(ready_job)
    assert found is not None
    sized = [
        one
        for one in lab.characteristics.values()
        if not one.non_negative and not one.is_angle
    ]

    def share(one) -> float:
        width = float(one.tolerance.upper - one.tolerance.lower)
        return width / abs(float(one.nominal.value))

    assert found.characteristic == min(sized, key=share)
    # Half of a tenth of the tolerance is the standard uncertainty that is allowed.
    tolerance = found.characteristic.tolerance
    width = float(tolerance.upper - tolerance.lower)
    assert found.need.allowed_u_mm == pytest.approx(width / 20)


def test_a_warm_item_has_a_range_of_times_and_no_open_gate(
    lab, ready_job, warm_item
) -> None:
    standing = standing_of(warm_item, NOON)
    assert standing.predicted is not None, standing.refusal
    assert standing.start_at == at(11, 50)
    assert NOON < standing.ready_from < standing.ready_until
    assert "K would be" in standing.what_it_means
    assert not standing.is_fit
    assert not gate_of(lab, ready_job).met


def test_a_prediction_that_has_come_true_meets_no_gate_without_a_reading(
    lab, ready_job, warm_item
) -> None:
    later = standing_of(warm_item, NOON).ready_until + timedelta(hours=1)
    with clock.set_to(later):
        read_room(lab, later - timedelta(minutes=5))
        assert not gate_of(lab, ready_job, later).met
        for item in ready_job.items.all():
            places = standing_of(item, later).wanted
            for number in range(places):
                touch(lab, item, later, "20.2", f"face {number}")
        gate = gate_of(lab, ready_job, later)
        assert gate.met, gate.reason
        assert "stay after correction" in gate.reason


def test_a_large_part_wants_several_places(lab, ready_job) -> None:
    item = ready_job.items.order_by("position").first()
    assert standing_of(item, NOON).wanted == 3  # a metre long
    touch(lab, item, NOON, "20.1", "left end")
    standing = standing_of(item, NOON)
    assert not standing.is_fit
    assert "1 of 3" in standing.what_is_missing


def test_readings_refine_the_time_constant(lab, ready_job, warm_item) -> None:
    by_handbook = standing_of(warm_item, NOON).constant
    tau_s, start = 2.0 * 3600, at(11, 50)
    for step in range(1, 8):
        moment = start + timedelta(minutes=30 * step)
        with clock.set_to(moment):
            elapsed = (moment - start).total_seconds()
            degc = 20.4 + 9.6 * 2.718281828 ** (-elapsed / tau_s)
            touch(lab, warm_item, moment, f"{degc:.2f}")
    now = start + timedelta(hours=4)
    with clock.set_to(now):
        read_room(lab, now, temperature=Quantity("20.4", "°C"))
        refined = standing_of(warm_item, now).constant
    assert "surface readings" in refined.origin
    spread = refined.longest_s / refined.shortest_s
    assert spread < by_handbook.longest_s / by_handbook.shortest_s
    assert refined.shortest_s < tau_s < refined.longest_s


@pytest.mark.parametrize(
    ("body", "match"),
    [
        (BodyEntry(Quantity("20", "kg"), "steel"), "surface or the thickness"),
        (
            BodyEntry(Quantity("20", "kg"), "cheese", wall=Quantity("12", "mm")),
            "no material",
        ),
        (
            BodyEntry(Quantity("20", "kg"), "steel", surface=Quantity("1", "cm²")),
            "check the units",
        ),
    ],
)
def test_no_body_is_like_that(ready_job, people, body, match) -> None:
    with pytest.raises(NotAcceptable, match=match):
        record_item_body(
            item=ready_job.items.first(), body=body, acting_user=people.coordinator
        )


def test_the_same_body_twice_is_kept_once(ready_job, people) -> None:
    item = ready_job.items.first()
    for _ in range(2):
        record_item_body(item=item, body=WALLS, acting_user=people.coordinator)
    assert ItemBody.objects.filter(item=item).count() == 1
    assert AuditEntry.objects.filter(verb="item.body_recorded").count() == 1
    with pytest.raises(NotAllowed):
        record_item_body(item=item, body=WALLS, acting_user=people.client)


def test_without_mass_and_walls_the_panel_says_why_there_is_no_time(
    lab, ready_job, people
) -> None:
    read_room(lab, at(11, 45))
    item = ready_job.items.first()
    touch(lab, item, NOON, "26.0")
    assert "not recorded" in standing_of(item, NOON).refusal
    panel = soak_panel(people.technician, ready_job)
    assert panel is not None
    assert panel.context["shown"][0].picture is None


def test_the_receipt_takes_what_the_soak_is_predicted_from(lab, people, sign_in):
    job = book(lab)
    item = job.items.first()
    client = sign_in(Client(), people.coordinator)
    address = reverse("jobs:receive", args=[item.pk])
    assert b"Wall thickness" in client.get(address).content
    typed = {
        "at": "2026-03-17T11:00",
        "condition": "Clean, no damage seen.",
        "place": "Soaking bench",
        "temperature_text": "28",
        "temperature_unit": "°C",
        "mass_text": "20",
        "mass_unit": "kg",
        "wall_text": "12",
        "wall_unit": "mm",
    }
    refused = client.post(address, typed)
    assert refused.status_code == 400
    assert b"without the material" in refused.content
    taken = client.post(address, typed | {"stuff": "steel"})
    assert taken.status_code == 302
    assert item.bodies.get().wall == Quantity("12", "mm")


def test_the_body_of_an_item_can_be_given_later(lab, ready_job, people, sign_in):
    item = ready_job.items.first()
    client = sign_in(Client(), people.technician)
    address = reverse("jobs:body", args=[item.pk])
    empty = client.post(address, {})
    assert empty.status_code == 400
    typed = {
        "mass_text": "20",
        "mass_unit": "kg",
        "stuff": "steel",
        "surface_text": "0.8",
        "surface_unit": "m²",
    }
    assert client.post(address, typed).status_code == 302
    assert client.post(address, typed).status_code == 302
    assert item.bodies.count() == 1
    both = typed | {"wall_text": "12", "wall_unit": "mm"}
    assert b"not both" in client.post(address, both).content
    page = client.get(reverse("board:job", args=[ready_job.number]))
    assert b"Temperature of the items" in page.content
