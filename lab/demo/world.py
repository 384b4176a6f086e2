"""What the demo's year is lived in: people, rooms, devices, customers, and dice."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from random import Random
from zoneinfo import ZoneInfo

from lab.common import audit, clock
from lab.common.work.running import work_off
from lab.demo.customers import Account
from lab.demo.laboratory import IDENTITY, ZONE, House
from lab.demo.people import Staff
from lab.demo.register import Register

Event = Callable[[], object]


@dataclass(slots=True)
class World:
    """The invented lab on a day, and what is still to happen in it."""

    staff: Staff
    house: House
    register: Register
    accounts: tuple[Account, ...]
    first_day: date
    last_day: date
    dice: Random
    to_come: list[tuple[datetime, int, Event]] = field(default_factory=list)

    @property
    def house_title(self) -> str:
        """Return the title that the lab gives its documents."""
        return IDENTITY.document_title

    def plan(self, day: date, hour: int, minute: int, event: Event) -> None:
        """Let something happen at a time of day, by the lab's clock."""
        self.to_come.append((moment(day, hour, minute), len(self.to_come), event))

    def live(self) -> None:
        """Let everything happen in its order, each at its own time."""
        for at, _, event in sorted(self.to_come, key=lambda one: one[:2]):
            with clock.set_to(at):
                event()
                work_off()
                audit.seal_all()

    def workday(self, day: date, days: int) -> date:
        """Return the working day so many working days after another."""
        step = 1 if days >= 0 else -1
        for _ in range(abs(days)):
            day += timedelta(days=step)
            while day.weekday() > 4:
                day += timedelta(days=step)
        return day


def moment(day: date, hour: int, minute: int) -> datetime:
    return datetime.combine(day, time(hour, minute), tzinfo=ZoneInfo(ZONE))
