"""The sunny week in July: the rooflight shows in one room and not in the other."""

from __future__ import annotations

from datetime import date
from random import Random
from zoneinfo import ZoneInfo

import pytest

from lab.common import clock
from lab.common.work.running import work_off
from lab.demo.laboratory import ZONE, set_up
from lab.demo.people import hire
from lab.demo.readings import fill_readings
from lab.demo.register import fill_register
from lab.demo.world import World, moment
from lab.environment.models import Excursion, ReadingImport
from lab.environment.selectors import readings, sensors_in

FIRST, LAST = date(2026, 7, 9), date(2026, 7, 21)


@pytest.mark.django_db
def test_the_rooflight_in_july() -> None:
    with clock.set_to(moment(FIRST, 6, 0)):
        staff = hire()
        house = set_up(staff, FIRST)
        register = fill_register(staff, house, FIRST)
        work_off()
    dice = Random(1)
    world = World(staff, house, register, (), FIRST, LAST, dice)
    with clock.set_to(moment(LAST, 23, 50)):
        fill_readings(world)

    rates = Excursion.objects.filter(kind=Excursion.Kind.RATE)
    assert not rates.filter(room=house.net_loft).exists()
    starts = [
        one.start.astimezone(ZoneInfo(ZONE))
        for one in rates.filter(room=house.long_room)
    ]
    afternoons = {start.date() for start in starts if 15 <= start.hour < 18}
    assert len(afternoons) >= 4
    assert {start.date() for start in starts} == afternoons
    stays = sensors_in(house.long_room, moment(FIRST, 8, 0), moment(LAST, 8, 0))
    assert [stay.sensor.tag for stay in stays] == ["LG-1", "LG-2", "LG-3"]

    # The week that came as a file is there but for the rows that were spoilt.
    (taken,) = ReadingImport.objects.all()
    assert taken.state == "done"
    assert set(taken.report.counts) == {"repeated", "blank", "ragged"}
    logger = register.loggers["LG-6"]
    window = moment(FIRST, 7, 0), moment(LAST, 23, 50)
    of_file, _ = readings(logger, "temperature", *window)
    of_other, _ = readings(register.loggers["LG-5"], "temperature", *window)
    assert 0 < len(of_other) - len(of_file) <= 3
