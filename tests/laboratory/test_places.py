"""Sites and rooms: limits that mean something, changes that leave a trace."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from lab.common.audit import history_of
from lab.common.errors import NotAcceptable, WrongState
from lab.common.models import AuditEntry
from lab.laboratory import services
from lab.laboratory.climate import Limits
from lab.laboratory.models import Room, Site
from lab.laboratory.selectors import sites_with_rooms
from lab.metrology.units import Quantity

LOW, HIGH = Quantity("19", "°C"), Quantity("21.0", "°C")


def add_site(people: Any, **changes: Any) -> Site:
    content = {
        "name": "Quayside",
        "address": "Quay 4\nPort Ennis",
        "time_zone": "Atlantic/Azores",
        "kind": "temporary",
    }
    return services.add_site(acting_user=people.administrator, **content | changes)


def test_a_site_is_added_with_its_entry(house: Any, people: Any) -> None:
    site = add_site(people)
    assert (str(site.zone), site.kind, site.in_use) == (
        "Atlantic/Azores",
        "temporary",
        True,
    )
    assert history_of(site).get().verb == "site.added"


@pytest.mark.parametrize(
    ("field", "typed"),
    [
        ("name", "Port Ennis"),
        ("name", "n/a"),
        ("address", "tbd"),
        ("time_zone", "Mars/Olympus"),
        ("kind", "floating"),
    ],
)
def test_a_site_unfit_is_refused(
    field: str, typed: str, house: Any, people: Any
) -> None:
    with pytest.raises(NotAcceptable) as refusal:
        add_site(people, **{field: typed})
    assert refusal.value.field == field
    assert Site.objects.count() == 1


def test_a_site_with_rooms_in_use_stays_in_use(house: Any, people: Any) -> None:
    site, room = house.site, house.room
    same = {
        "name": site.name,
        "address": site.address,
        "time_zone": site.time_zone,
        "kind": site.kind,
        "acting_user": people.quality,
    }
    with pytest.raises(WrongState, match="Take them out of use first"):
        services.change_site(site=site, in_use=False, **same)
    limits = Limits.of(room)
    services.change_room(
        room=room,
        name=room.name,
        limits=limits,
        in_use=False,
        acting_user=people.quality,
    )
    services.change_site(site=site, in_use=False, **same)
    assert not Site.objects.get().in_use
    assert '"in_use":false' in history_of(site).first().values_text  # type: ignore[union-attr]
    with pytest.raises(WrongState, match="out of use"):
        services.add_room(
            site=site, name="Cellar", limits=limits, acting_user=people.quality
        )
    with pytest.raises(WrongState, match="out of use"):
        services.change_room(
            room=room,
            name=room.name,
            limits=limits,
            in_use=True,
            acting_user=people.quality,
        )


def test_a_room_keeps_its_limits_as_typed(house: Any) -> None:
    room = Room.objects.get()
    assert room.limits_in_words == [
        ("Temperature", "19 °C to 21 °C"),
        ("Rate of change", "at most 0.5 K/h, over 60 min"),
        ("Relative humidity", "at most 60 %"),
        ("Readings missing", "after 15 min"),
    ]
    assert room.temperature_lowest.value == 19


def test_a_changed_limit_keeps_the_old_one(house: Any, people: Any) -> None:
    room = house.room
    tighter = replace(
        Limits.of(room),
        temperature_highest=Quantity("69", "°F"),
        spread=Quantity("0.4", "K"),
    )
    services.change_room(
        room=room,
        name=room.name,
        limits=tighter,
        in_use=True,
        reason="The curtain came.",
        acting_user=people.quality,
    )
    room.refresh_from_db()
    assert str(room.temperature_highest) == "69 °F"
    assert room.temperature_highest.value < 21
    entry = history_of(room).first()
    assert entry is not None
    assert entry.reason == "The curtain came."
    assert entry.values_text == (
        '{"after":{"spread":"0.4 K","temperature_highest":"69 °F"},'
        '"before":{"spread":null,"temperature_highest":"21 °C"}}'
    )


def test_a_room_left_as_it_was_leaves_no_entry(house: Any, people: Any) -> None:
    before = AuditEntry.objects.count()
    services.change_room(
        room=house.room,
        name=house.room.name,
        limits=Limits.of(house.room),
        in_use=True,
        acting_user=people.quality,
    )
    assert AuditEntry.objects.count() == before


def test_a_second_room_of_the_name_is_refused(house: Any, people: Any) -> None:
    with pytest.raises(NotAcceptable):
        services.add_room(
            site=house.site,
            name=house.room.name,
            limits=Limits.of(house.room),
            acting_user=people.quality,
        )
    elsewhere = add_site(people)
    services.add_room(
        site=elsewhere,
        name=house.room.name,
        limits=Limits.of(house.room),
        acting_user=people.quality,
    )
    assert Room.objects.count() == 2


@pytest.mark.parametrize(
    ("field", "changes"),
    [
        ("temperature_highest", {"temperature_highest": LOW}),
        ("temperature_highest", {"temperature_highest": Quantity("64", "°F")}),
        ("rate", {"rate": Quantity("0", "K/h")}),
        ("spread", {"spread": Quantity("-0.1", "K")}),
        ("humidity_highest", {"humidity_highest": Quantity("101", "%")}),
        (
            "humidity_highest",
            {
                "humidity_lowest": Quantity("60", "%"),
                "humidity_highest": Quantity("40", "%"),
            },
        ),
        ("rate_window_minutes", {"rate_window_minutes": 4}),
        ("rate_window_minutes", {"rate_window_minutes": 1441}),
        ("longest_gap_minutes", {"longest_gap_minutes": 0}),
        ("longest_gap_minutes", {"longest_gap_minutes": 1441}),
    ],
)
def test_limits_that_let_nothing_pass_are_refused(
    field: str, changes: dict[str, Any]
) -> None:
    with pytest.raises(NotAcceptable) as refusal:
        Limits(**{"temperature_lowest": LOW, "temperature_highest": HIGH} | changes)
    assert refusal.value.field == field


def test_the_window_s_ends_are_inside() -> None:
    for minutes in (5, 1440):
        assert Limits(LOW, HIGH, rate_window_minutes=minutes).rate_window_minutes


def test_sites_come_with_rooms_in_two_queries(
    house: Any, people: Any, django_assert_num_queries: Any
) -> None:
    for name in ("A", "B", "C"):
        add_site(people, name=name)
    with django_assert_num_queries(2):
        rooms = {site.name: list(site.rooms.all()) for site in sites_with_rooms()}
    assert rooms["Port Ennis"] == [house.room]
    assert len(rooms) == 4
