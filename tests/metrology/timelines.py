"""Words for telling a laboratory's timeline in a few lines."""

from datetime import UTC, datetime, timedelta

from lab.metrology.bracketing import (
    Check,
    Procedure,
    Segment,
    Session,
    judge,
)

HOUR = timedelta(hours=1)
MINUTE = timedelta(minutes=1)
TICK = timedelta(microseconds=1)

BAR = Procedure("bar", valid_for=24 * HOUR, closing_within=24 * HOUR)
SPHERE = Procedure("sphere", valid_for=4 * HOUR, closing_within=24 * HOUR)
START_ONLY = Procedure(
    "bar", valid_for=24 * HOUR, closing_within=HOUR, closing_wanted=False
)


def at(clock: str, day: int = 1) -> datetime:
    """Return a time of a day in April 2025, in UTC."""
    hour, minute = clock.split(":")
    return datetime(2025, 4, day, int(hour), int(minute), tzinfo=UTC)


def check(key, clock, verdict="pass", *, day=1, minutes=10, **more) -> Check:
    start = at(clock, day)
    more.setdefault("system", "Heron")
    more.setdefault("procedure", "bar")
    return Check(
        key=key,
        start=start,
        end=start + minutes * MINUTE,
        passed=verdict == "pass",
        **more,
    )


def session(*spans, day=1, chain=(), uses=(), key="job 1") -> Session:
    """Make a session of spans such as "9:00-11:00"; "9:00-" still runs."""
    segments = []
    for span in spans:
        start, _, end = span.partition("-")
        segments.append(Segment(at(start, day), at(end, day) if end else None))
    return Session(key, "Heron", tuple(segments), tuple(chain), tuple(uses))


def told(
    measured,
    *,
    procedures=(BAR,),
    checks=(),
    breaks=(),
    calibrations=(),
    later=(),
    now=None,
):
    now = now or at("12:00", day=20)
    return judge(measured, procedures, checks, breaks, calibrations, later, now)


def causes(judgement) -> set[tuple[str, str, str]]:
    """Return what was found and what raised it."""
    return {
        (str(each.name), str(each.cause.kind), each.cause.key)
        for each in judgement.findings
    }
