"""Who is authorised for what, seen whole: people, methods and activities."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from lab.accounts.models import User
from lab.accounts.permissions import STAFF
from lab.laboratory.models import (
    DEPUTISED,
    Activity,
    Authorisation,
    Deputation,
    Method,
)
from lab.laboratory.selectors import deputations_in_force

#: How long before its last day an authorisation is shown as ending.
NOTICE = timedelta(days=30)


@dataclass(frozen=True, slots=True)
class Cell:
    """One person, method and activity: a word and a shape, and what stands behind."""

    activity: Activity
    state: str
    words: str
    authorisation: Authorisation | None = None
    deputation: Deputation | None = None

    @property
    def is_gap(self) -> bool:
        """Tell whether nothing authorises the person now."""
        return self.state in ("off", "bad")


@dataclass(frozen=True, slots=True)
class PersonRow:
    """What one person may do by a method."""

    person: User
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class MethodTable:
    """Everyone's authority for one method, and what nobody is authorised for."""

    method: Method
    rows: tuple[PersonRow, ...]

    @property
    def gaps(self) -> list[str]:
        """Return the activities for which there is nobody now."""
        return [
            activity.label.lower()
            for index, activity in enumerate(Activity)
            if all(row.cells[index].is_gap for row in self.rows)
        ]


Key = tuple[int, int, str]


def authority(at: datetime, zone: ZoneInfo, *methods: Method) -> list[MethodTable]:
    """Return the table of every method (or of those given) at an instant.

    Shown are the laboratory's active people; three queries however many there are.
    """
    wanted = list(methods) or list(Method.objects.all())
    people = list(
        User.objects.filter(is_active=True, role__in=STAFF).order_by("name", "pk")
    )
    rows: dict[Key, list[Authorisation]] = defaultdict(list)
    for row in Authorisation.objects.filter(method__in=wanted).select_related(
        "revocation"
    ):
        rows[row.person_id, row.method_id, row.activity].append(row)
    standing_in: dict[int, list[Deputation]] = defaultdict(list)
    for deputation in deputations_in_force(at, zone):
        standing_in[deputation.deputy_id].append(deputation)
    day = at.astimezone(zone).date()

    def cell(person: User, method: Method, activity: Activity) -> Cell:
        own = own_cell(rows[person.pk, method.pk, activity], activity, at, day)
        if not own.is_gap or activity not in DEPUTISED:
            return own
        for deputation in standing_in[person.pk]:
            lent = rows[deputation.person_id, method.pk, activity]
            if any(counts(one, at, day) for one in lent):
                return deputy_cell(deputation, activity)
        return own

    return [
        MethodTable(
            method,
            tuple(
                PersonRow(person, tuple(cell(person, method, act) for act in Activity))
                for person in people
            ),
        )
        for method in wanted
    ]


def own_cell(
    rows: Iterable[Authorisation], activity: Activity, at: datetime, day: date
) -> Cell:
    """Say what a person's own authorisations for one thing come to."""
    kept = [row for row in rows if not revoked(row, at)]
    counting = [row for row in kept if counts(row, at, day)]
    if counting:
        longest = max(counting, key=lambda row: (row.valid_until or date.max, row.pk))
        return Cell(activity, *_until(longest.valid_until, day), longest)
    coming = [row for row in kept if row.valid_from > day]
    if coming:
        next_one = min(coming, key=lambda row: row.valid_from)
        return Cell(activity, "off", f"from {next_one.valid_from}", next_one)
    past = [row for row in kept if row.valid_until and row.valid_until < day]
    if past:
        last = max(past, key=lambda row: (row.valid_until or day, row.pk))
        return Cell(activity, "bad", f"ended {last.valid_until}", last)
    return Cell(activity, "off", "not authorised")


def deputy_cell(deputation: Deputation, activity: Activity) -> Cell:
    words = f"for {deputation.person} until {deputation.valid_until}"
    return Cell(activity, "wait", words, deputation=deputation)


def counts(row: Authorisation, at: datetime, day: date) -> bool:
    """Tell whether an authorisation counts now; as ``selectors.in_force`` does."""
    within = row.valid_from <= day <= (row.valid_until or date.max)
    return within and row.recorded_at <= at and not revoked(row, at)


def revoked(row: Authorisation, at: datetime) -> bool:
    revocation = getattr(row, "revocation", None)
    return revocation is not None and revocation.at <= at


def _until(last_day: date | None, day: date) -> tuple[str, str]:
    if last_day is None:
        return "good", "no end set"
    if last_day - day <= NOTICE:
        return "wait", f"ends {last_day}"
    return "good", f"until {last_day}"
