"""What bracketing is told: sessions, checks, breaks, calibrations, findings.

Times are aware datetimes of any zone at the edge; inside they are whole
microseconds of UTC, so that equal instants are equal and the night of a clock
change is an ordinary night. Intervals are half-open: an end belongs to what follows.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo

from lab.metrology.bracketing.results import FindingName
from lab.metrology.errors import MetrologyError, OutOfDomain, TooFew

__all__ = [
    "FOREVER",
    "LATE_AFTER",
    "Break",
    "Calibration",
    "Check",
    "LaterFinding",
    "NaiveTime",
    "Procedure",
    "Segment",
    "Session",
    "end_of_local_day",
    "from_microseconds",
    "microseconds",
]

LATE_AFTER = timedelta(minutes=30)
"""A check recorded later than this after it was measured is late."""

FOREVER = 1 << 60
"""An instant after every other: the end of what has not ended, in microseconds."""

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)


class NaiveTime(MetrologyError):
    """A time has no zone, so the instant that it means is not known."""


def microseconds(at: datetime) -> int:
    """Return an aware time as whole microseconds since 1970 in UTC.

    Parameters
    ----------
    at : datetime
        An aware time; its fold tells the two passes of a repeated hour apart.

    Returns
    -------
    int

    Raises
    ------
    NaiveTime
        If it has no zone.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> microseconds(datetime(1970, 1, 1, 0, 0, 1, tzinfo=UTC))
    1000000
    """
    if at.utcoffset() is None:
        raise NaiveTime(f"{at.isoformat()} has no zone; give an aware time.")
    return (at - _EPOCH) // _MICROSECOND


def from_microseconds(instant: int) -> datetime:
    """Return whole microseconds since 1970 as a time in UTC.

    Parameters
    ----------
    instant : int
        Microseconds since 1970 in UTC.

    Returns
    -------
    datetime

    Examples
    --------
    >>> from_microseconds(1_000_000).isoformat()
    '1970-01-01T00:00:01+00:00'
    """
    return _EPOCH + instant * _MICROSECOND


def end_of_local_day(day: date, zone: tzinfo) -> datetime:
    """Return the instant at which a due date is over where the lab is.

    A due date includes its whole local day, whose length is 23 or 25 hours on the
    days of a clock change. Where the change happens at midnight itself and the day
    after begins at one o'clock, that is the instant.

    Parameters
    ----------
    day : date
        The due date.
    zone : tzinfo
        The zone of the site.

    Returns
    -------
    datetime
        In UTC; the due date holds strictly before it.

    Examples
    --------
    >>> from datetime import date
    >>> from zoneinfo import ZoneInfo
    >>> end_of_local_day(date(2025, 3, 30), ZoneInfo("Europe/London")).isoformat()
    '2025-03-30T23:00:00+00:00'
    """
    midnight = datetime.combine(day + timedelta(days=1), time(0), tzinfo=zone)
    return midnight.astimezone(UTC)


def _refuse_backwards(what: str, start: datetime, end: datetime | None) -> None:
    begun = microseconds(start)
    if end is not None and microseconds(end) < begun:
        raise OutOfDomain(
            f"{what} ends at {end.isoformat()}, before it starts at "
            f"{start.isoformat()}; correct the times."
        )


@dataclass(frozen=True, slots=True)
class Segment:
    """A stretch of uninterrupted measuring; `end` is None while it runs."""

    start: datetime
    end: datetime | None = None

    def __post_init__(self) -> None:
        """Refuse a segment that ends before it starts."""
        _refuse_backwards("A segment", self.start, self.end)


@dataclass(frozen=True, slots=True)
class Session:
    """Measuring on a job with one measuring system.

    Attributes
    ----------
    key : str
        Names the session.
    system : str
        Names its measuring system.
    segments : tuple of Segment
        From start to pause, from resume to pause, and so on to the end.
    chain : tuple of str
        Names of the instruments, artefacts and sensors whose calibration it rests
        on; each must have been current all the while.
    uses : tuple of str
        Names of whatever else a later finding may be about: fixtures, targets,
        people.
    """

    key: str
    system: str
    segments: tuple[Segment, ...]
    chain: tuple[str, ...] = ()
    uses: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Refuse a session without measuring."""
        if not self.segments:
            raise TooFew(f"Session {self.key} has no segment, so nothing to judge.")

    @property
    def running(self) -> bool:
        """Say whether a segment has not ended."""
        return any(segment.end is None for segment in self.segments)


@dataclass(frozen=True, slots=True)
class Procedure:
    """A check procedure that a measuring system needs.

    Attributes
    ----------
    key : str
        Names the procedure.
    valid_for : timedelta
        How long a pass is valid, from the end of the check.
    closing_within : timedelta
        How long after a segment's end its closing check may start.
    closing_wanted : bool
        Whether a check after the measuring is wanted at all.
    """

    key: str
    valid_for: timedelta
    closing_within: timedelta
    closing_wanted: bool = True

    def __post_init__(self) -> None:
        """Refuse a validity or a wait that is not positive."""
        if self.valid_for <= timedelta(0):
            raise OutOfDomain(f"Procedure {self.key}: valid_for must be positive.")
        if self.closing_within < timedelta(0):
            raise OutOfDomain(
                f"Procedure {self.key}: closing_within must not be negative."
            )

    @classmethod
    def only_followed(cls, key: str) -> Procedure:
        """Return a procedure that a system does not need but was checked by.

        Only the fails of such checks are looked at, so its validity and its wait are
        of no account.
        """
        return cls(key, timedelta(days=1), timedelta(0), closing_wanted=False)


@dataclass(frozen=True, slots=True)
class Check:
    """An artefact check of a measuring system.

    Attributes
    ----------
    key, system, procedure : str
        Name the check, the system checked and the procedure followed.
    start, end : datetime
        When it was measured.
    passed : bool
        The verdict.
    recorded_at : datetime, optional
        When it was entered; at its end if not given.
    voided : bool
        Whether it was declared void: it then counts for nothing.
    confirmed : bool
        Whether a second person confirmed a late one.
    """

    key: str
    system: str
    procedure: str
    start: datetime
    end: datetime
    passed: bool
    recorded_at: datetime | None = None
    voided: bool = False
    confirmed: bool = False

    def __post_init__(self) -> None:
        """Refuse a check that ends before it starts."""
        _refuse_backwards(f"Check {self.key}", self.start, self.end)

    @property
    def late(self) -> bool:
        """Say whether it was recorded too long after it was measured."""
        if self.recorded_at is None:
            return False
        waited = microseconds(self.recorded_at) - microseconds(self.end)
        return waited > LATE_AFTER // _MICROSECOND

    @property
    def counts(self) -> bool:
        """Say whether it is taken into account.

        A late pass meets no gate without a second person; a late fail is a fail.
        """
        if self.voided:
            return False
        return not self.passed or not self.late or self.confirmed


@dataclass(frozen=True, slots=True)
class Break:
    """An event after which a system may measure differently.

    Adjustment, repair, firmware, field calibration, knock, transport, a move.
    """

    key: str
    system: str
    at: datetime

    def __post_init__(self) -> None:
        """Refuse a time without a zone."""
        microseconds(self.at)


@dataclass(frozen=True, slots=True)
class Calibration:
    """The time for which one calibration of an item is current.

    `end` is the instant at which it is no longer current: for a due date, the end
    of that local day. None means that no end is set.
    """

    key: str
    item: str
    start: datetime
    end: datetime | None

    def __post_init__(self) -> None:
        """Refuse a calibration that ends before it starts."""
        _refuse_backwards(f"Calibration {self.key}", self.start, self.end)


@dataclass(frozen=True, slots=True)
class LaterFinding:
    """Something found out later, or elsewhere, that covers a span of time.

    Attributes
    ----------
    key : str
        Names the finding.
    about : str
        What it is about: an item in the chain, something used, a system, or one
        session.
    start, end : datetime
        The span that it covers; an `end` of None means until further notice.
    name : FindingName
        `suspect` for an item found out of tolerance or moved by more than the drift
        allowance; conditions, frame, fixture and authorisation as such.
    """

    key: str
    about: str
    start: datetime
    end: datetime | None
    name: FindingName = FindingName.SUSPECT

    def __post_init__(self) -> None:
        """Refuse a span that ends before it starts."""
        _refuse_backwards(f"Finding {self.key}", self.start, self.end)
