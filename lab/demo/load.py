"""Fills an empty database with the invented lab and twelve months of its history.

Everything goes through the services, as of its own time: the demo's clock stands
where the event happened. The dice are seeded, so that every demo lives the same year,
counted back from the day on which it was first loaded.
"""

from __future__ import annotations

from datetime import timedelta
from random import Random
from typing import Final

from django.core.management.base import OutputWrapper

from lab.common import audit, clock
from lab.common.work.running import work_off
from lab.demo.calibrations import plan_dispatch
from lab.demo.cases import plan_cases
from lab.demo.customers import open_accounts
from lab.demo.laboratory import ZONE, set_up
from lab.demo.people import hire
from lab.demo.readings import fill_readings
from lab.demo.register import fill_register
from lab.demo.spheres import plan_spheres
from lab.demo.spring import Spring, tuesday_in_april
from lab.demo.upkeep import plan_upkeep
from lab.demo.world import World, moment
from lab.demo.year import plan_year

SEED: Final = 1912
YEAR: Final = timedelta(days=365)


def load(stdout: OutputWrapper) -> None:
    """Make everything; the caller's transaction keeps all of it or nothing."""
    # The last day lived is one before today: nothing that happened lies ahead.
    last_day = clock.today(ZONE) - timedelta(days=1)
    while last_day.weekday() > 4:
        last_day -= timedelta(days=1)
    first_day = last_day - YEAR
    with clock.set_to(moment(first_day, 7, 0)):
        staff = hire()
        house = set_up(staff, first_day)
        register = fill_register(staff, house, first_day)
        accounts = open_accounts(staff)
        work_off()
    dice = Random(SEED)  # noqa: S311 - the same year in every demo, no secrets
    world = World(staff, house, register, accounts, first_day, last_day, dice)
    fill_readings(world)
    plan_year(world)
    spring = Spring(world, tuesday_in_april(first_day, last_day))
    spring.plan()
    plan_cases(world, spring)
    plan_dispatch(world)
    plan_upkeep(world)
    plan_spheres(world)
    world.live()
    audit.seal_all()
    stdout.write(f"A year of {house.site.name} was lived, up to {last_day}.")
