"""Twelve months of the invented lab: ordinary jobs, and those of every state today."""

from __future__ import annotations

from datetime import date, timedelta
from functools import partial

from lab.demo.daily import renew_calibrations
from lab.demo.jobs import JobLife, plan_job, soon_after
from lab.demo.world import World

#: How many jobs are booked over the year besides those under way today.
ORDINARY_JOBS = 40
#: How far those under way today have come: state and working days since booking.
UNDER_WAY = (
    ("booked", 2),
    ("booked", 1),
    ("received", 3),
    ("received", 4),
    ("paused", 4),
    ("measured", 5),
    ("evaluated", 5),
    ("in review", 6),
    ("issued", 6),
)


def plan_year(world: World) -> None:
    """Plan every ordinary job, the daily rounds and what is under way today."""
    span = (world.last_day - world.first_day).days - 25
    for number in range(ORDINARY_JOBS):
        booked = world.first_day + timedelta(days=3 + number * span // ORDINARY_JOBS)
        life = ordinary_job(world, number, world.workday(booked, 1))
        if number % 13 == 6:
            world.plan(world.workday(booked, 1), 10, 5, life.book)
            world.plan(world.workday(booked, 2), 16, 0, life.cancel)
        else:
            plan_job(life, world.workday(booked, 1))
    for number, (state, days) in enumerate(UNDER_WAY):
        booked = world.workday(world.last_day, -days)
        life = ordinary_job(world, ORDINARY_JOBS + number, booked)
        plan_job(life, booked, until=state, hour=9 if number % 2 else 12)
    _plan_rounds(world)


def ordinary_job(world: World, number: int, booked: date) -> JobLife:
    """Return a job like many: one of the customers, one of their parts, some items."""
    account = world.accounts[number % len(world.accounts)]
    revision = account.revisions[number % len(account.revisions)]
    house = world.house
    rules = (house.guarded, house.simple, house.proven, None)
    count, first = 1 + number % 3, 700 + 10 * number
    return JobLife(
        world=world,
        account=account,
        revision=revision,
        serials=tuple(f"{revision.part.number}-{first + i}" for i in range(count)),
        system=number % 2,
        rule=rules[number % len(rules)],
        order=f"PO {4100 + 7 * number}",
        wanted_on=soon_after(booked),
    )


def _plan_rounds(world: World) -> None:
    day = world.first_day
    while day <= world.last_day:
        if day.weekday() == 0:
            world.plan(day, 7, 30, partial(renew_calibrations, world, day))
        day += timedelta(days=1)
