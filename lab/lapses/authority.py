"""Whether those who measured were authorised to, as facts for the lapse rules.

Who is not authorised can't start a session. It is found all the same where a start
was corrected to a time before the authorisation, or where it ended or was revoked
while the person went on measuring (ISO/IEC 17025:2017, 6.2.5 and 6.2.6).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, time, tzinfo

from lab.jobs.models import Agreement, MeasuringSession, SessionEvent
from lab.jobs.selectors import STARTING
from lab.laboratory.models import Activity, Authorisation
from lab.laboratory.selectors import home_zone
from lab.lapses.keys import session_key
from lab.metrology import bracketing
from lab.metrology.bracketing import FindingName

Window = tuple[datetime, datetime | None]


@dataclass(frozen=True, slots=True)
class Stint:
    """One stretch of a session, who measured it, and by which method."""

    session: int
    start: datetime
    end: datetime | None
    person: int
    method: int


def authority_of(
    sessions: Sequence[MeasuringSession],
) -> dict[int, list[bracketing.LaterFinding]]:
    """Return, by session, each stretch that somebody measured without authority."""
    stints = _stints(sessions)
    windows = _windows(stints)
    found: dict[int, list[bracketing.LaterFinding]] = {}
    for stint in stints:
        key = f"person:{stint.person}:method:{stint.method}"
        for start, end in _gaps(stint, windows.get((stint.person, stint.method), ())):
            found.setdefault(stint.session, []).append(
                bracketing.LaterFinding(
                    key,
                    session_key(stint.session),
                    start,
                    end,
                    FindingName.AUTHORISATION,
                )
            )
    return found


def _stints(sessions: Sequence[MeasuringSession]) -> list[Stint]:
    jobs = {session.pk: session.job_id for session in sessions}
    methods = _methods(set(jobs.values()))
    people = _who_said(jobs)
    rows = SessionEvent.objects.filter(session__in=list(jobs), superseded_by=None)
    stints: list[Stint] = []
    begun: SessionEvent | None = None
    for event in rows.order_by("session", "at", "pk"):
        if begun is not None and begun.session_id == event.session_id:
            stints += _stint(begun, event.at, methods[jobs[event.session_id]], people)
        elif begun is not None:
            stints += _stint(begun, None, methods[jobs[begun.session_id]], people)
        begun = event if event.kind in STARTING else None
    if begun is not None:
        stints += _stint(begun, None, methods[jobs[begun.session_id]], people)
    return stints


def _stint(
    begun: SessionEvent,
    end: datetime | None,
    agreed: Sequence[tuple[datetime, int]],
    people: dict[int, int],
) -> list[Stint]:
    """Return the stretch that an event began; none where no method is agreed."""
    if not agreed:
        return []
    then = [method for recorded_at, method in agreed if recorded_at <= begun.at]
    method = then[-1] if then else agreed[0][1]
    person = people.get(begun.pk, begun.said_by_id)
    return [Stint(begun.session_id, begun.at, end, person, method)]


def _methods(jobs: set[int]) -> dict[int, list[tuple[datetime, int]]]:
    """Return which method was agreed for each job from when on."""
    found: dict[int, list[tuple[datetime, int]]] = {job: [] for job in jobs}
    rows = Agreement.objects.filter(job__in=jobs).order_by("job", "number")
    for job, at, method in rows.values_list("job", "recorded_at", "method__method"):
        found[job].append((at, method))
    return found


def _who_said(sessions: Iterable[int]) -> dict[int, int]:
    """Return who measured after each corrected event: whose word the first was.

    A correction is often another person's; it doesn't make them the one who measured.
    """
    rows = SessionEvent.objects.filter(
        session__in=list(sessions), supersedes__isnull=False
    )
    said: dict[int, int] = {}
    corrected = rows.order_by("pk").values_list(
        "pk", "supersedes", "supersedes__said_by"
    )
    for pk, earlier, person in corrected:
        said[pk] = said.get(earlier or 0, person)
    return said


def _windows(stints: Iterable[Stint]) -> dict[tuple[int, int], list[Window]]:
    """Return when each person was authorised to measure by each method."""
    zone = home_zone()
    rows = Authorisation.objects.filter(
        person__in={stint.person for stint in stints},
        method__in={stint.method for stint in stints},
        activity=Activity.MEASURE,
    )
    found: dict[tuple[int, int], list[Window]] = {}
    for row in rows.select_related("revocation"):
        found.setdefault((row.person_id, row.method_id), []).append(_window(row, zone))
    return found


def _window(row: Authorisation, zone: tzinfo) -> Window:
    first = datetime.combine(row.valid_from, time.min, tzinfo=zone)
    ends = []
    if row.valid_until is not None:
        ends.append(bracketing.end_of_local_day(row.valid_until, zone))
    if hasattr(row, "revocation"):
        ends.append(row.revocation.at)
    return max(first, row.recorded_at), min(ends) if ends else None


def _gaps(stint: Stint, windows: Iterable[Window]) -> list[Window]:
    """Return the parts of a stretch that no window covers."""
    gaps: list[Window] = []
    covered: datetime | None = stint.start
    for start, end in sorted(windows, key=lambda window: window[0]):
        if covered is None or (stint.end is not None and covered > stint.end):
            break
        if start > covered and (stint.end is None or covered < stint.end):
            until = start if stint.end is None else min(start, stint.end)
            gaps.append((covered, until))
        covered = None if end is None else max(covered, end)
    if covered is not None and (stint.end is None or covered < stint.end):
        gaps.append((covered, stint.end))
    return gaps
