"""What the laboratory's records say: who it is, what is in force, who may do what."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from django.db.models import F, Prefetch, Q, QuerySet

from lab.accounts.models import User
from lab.common import clock
from lab.common.errors import WrongState
from lab.laboratory.models import (
    DEPUTISED,
    Authorisation,
    DecisionRule,
    DecisionRuleRevision,
    Deputation,
    Laboratory,
    Method,
    MethodRevision,
    Room,
    Site,
)


def the_laboratory() -> Laboratory | None:
    """Return the one laboratory, or None before it is set up."""
    return Laboratory.objects.first()


def home_zone() -> ZoneInfo:
    """Return the zone by which days of validity begin and end.

    Raises
    ------
    WrongState
        If no laboratory is set up.
    """
    laboratory = the_laboratory()
    if laboratory is None:
        raise WrongState(
            "The laboratory is not set up yet. Record its identity and time zone first."
        )
    return laboratory.zone


def sites_with_rooms(*, in_use_only: bool = False) -> QuerySet[Site]:
    """Return the sites with their rooms, those in use first."""
    sites, rooms = Site.objects.all(), Room.objects.all()
    if in_use_only:
        sites, rooms = sites.filter(in_use=True), rooms.filter(in_use=True)
    ordered = Prefetch("rooms", rooms.order_by("-in_use", "name"))
    return sites.order_by("-in_use", "name").prefetch_related(ordered)


# --- Methods -----------------------------------------------------------------------


def in_force_from(revision: MethodRevision, *, first: bool, zone: ZoneInfo) -> datetime:
    """Return the instant at which a revision takes over from the one before.

    It is the start of its first day, or the recording of it if that came later; the
    first revision of a method may have been in force before the program knew it.
    """
    begins = datetime.combine(revision.valid_from, time.min, tzinfo=zone)
    return begins if first else max(begins, revision.recorded_at)


def revision_of(
    revisions: Iterable[MethodRevision], at: datetime, zone: ZoneInfo
) -> MethodRevision | None:
    """Return which of a method's revisions is in force at an instant, if one is.

    A later revision takes the place of an earlier one for good: when it is withdrawn
    or runs out, the earlier does not come back. One that was withdrawn before it came
    into force has taken no place.
    """
    latest: tuple[datetime, int, MethodRevision] | None = None
    for index, revision in enumerate(sorted(revisions, key=lambda one: one.pk)):
        begins = in_force_from(revision, first=index == 0, zone=zone)
        withdrawn = withdrawn_at(revision)
        if begins > at or (withdrawn is not None and withdrawn <= begins):
            continue
        if latest is None or (begins, revision.pk) > latest[:2]:
            latest = (begins, revision.pk, revision)
    if latest is None:
        return None
    revision = latest[2]
    withdrawn = withdrawn_at(revision)
    ended = withdrawn is not None and withdrawn <= at
    return None if ended or _day_is_past(revision.valid_until, at, zone) else revision


def revision_at(method: Method, at: datetime | None = None) -> MethodRevision | None:
    """Return the revision of a method in force at an instant (now), if one is."""
    rows = method.revisions.select_related("method", "withdrawal")
    return revision_of(rows, at or clock.now(), home_zone())


def withdrawn_at(revision: MethodRevision) -> datetime | None:
    withdrawal = getattr(revision, "withdrawal", None)
    return withdrawal.at if withdrawal is not None else None


def methods_with_revisions() -> QuerySet[Method]:
    """Return every method with its revisions and their withdrawals."""
    revisions = MethodRevision.objects.select_related("withdrawal", "method")
    return Method.objects.prefetch_related(
        Prefetch("revisions", revisions.order_by("-pk"))
    )


# --- Authorisations ----------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Grounds:
    """Why a person may do something: their authorisation, or one they stand in for."""

    authorisation: Authorisation
    deputation: Deputation | None = None


def is_authorised(person: User, method: Method, activity: str, at: datetime) -> bool:
    """Tell whether a person is authorised for an activity of a method at an instant.

    Windows are half-open: from the start of the first day (or the grant, if later) to
    the midnight that ends the last day, in the laboratory's zone. A revocation counts
    from its instant on.
    """
    return grounds_for(person, method, activity, at) is not None


def grounds_for(
    person: User, method: Method, activity: str, at: datetime
) -> Grounds | None:
    """Return what a person's authority at an instant rests on, for the evidence.

    Their own authorisation comes first. For review and authorising, that of somebody
    whom they stand in for counts too; a deputy's deputy counts for nothing.
    """
    zone = home_zone()
    rows = in_force(
        Authorisation.objects.filter(method=method, activity=activity), at, zone
    )
    own = rows.filter(person=person).first()
    if own is not None:
        return Grounds(own)
    if activity not in DEPUTISED:
        return None
    for deputation in deputations_in_force(at, zone).filter(deputy=person):
        lent = rows.filter(person=deputation.person).first()
        if lent is not None:
            return Grounds(lent, deputation)
    return None


def in_force(
    authorisations: QuerySet[Authorisation], at: datetime, zone: ZoneInfo
) -> QuerySet[Authorisation]:
    """Keep the authorisations that count at an instant, the longest-lived first."""
    return (
        authorisations.filter(_within(at, zone))
        .filter(Q(revocation=None) | Q(revocation__at__gt=at))
        .select_related("person", "method", "granted_by")
        .order_by(F("valid_until").desc(nulls_first=True), "pk")
    )


def deputations_in_force(at: datetime, zone: ZoneInfo) -> QuerySet[Deputation]:
    """Return who stands in for whom at an instant."""
    return (
        Deputation.objects.filter(_within(at, zone))
        .filter(Q(ending=None) | Q(ending__at__gt=at))
        .select_related("person", "deputy")
        .order_by("valid_until", "pk")
    )


def current_and_coming_deputations(
    at: datetime, zone: ZoneInfo
) -> QuerySet[Deputation]:
    """Return who stands in for whom now or later."""
    day = at.astimezone(zone).date()
    return (
        Deputation.objects.filter(valid_until__gte=day)
        .filter(Q(ending=None) | Q(ending__at__gt=at))
        .select_related("person", "deputy")
        .order_by("valid_from", "pk")
    )


def _within(at: datetime, zone: ZoneInfo) -> Q:
    """Return the condition for windows that hold an instant.

    Comparing local days is the same as comparing with the midnights between them.
    """
    day = at.astimezone(zone).date()
    ends = Q(valid_until=None) | Q(valid_until__gte=day)
    return ends & Q(valid_from__lte=day, recorded_at__lte=at)


def _day_is_past(last_day: date | None, at: datetime, zone: ZoneInfo) -> bool:
    return last_day is not None and at >= clock.end_of_day(last_day, zone)


# --- Decision rules ------------------------------------------------------------------


def rules_with_revisions() -> QuerySet[DecisionRule]:
    """Return every rule with its revisions, newest first, and their withdrawals."""
    revisions = DecisionRuleRevision.objects.select_related(
        "rule", "withdrawal", "recorded_by"
    )
    return DecisionRule.objects.prefetch_related(
        Prefetch("revisions", revisions.order_by("-number"))
    )


def offered_rules() -> list[DecisionRuleRevision]:
    """Return what may be agreed at contract review now: each rule's last revision."""
    newest = [next(iter(rule.revisions.all()), None) for rule in rules_with_revisions()]
    return [
        revision
        for revision in newest
        if revision is not None and getattr(revision, "withdrawal", None) is None
    ]
