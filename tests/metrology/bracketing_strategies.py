"""Random laboratories on a coarse grid of time, where ties and overlaps abound."""

from datetime import UTC, datetime, timedelta

from hypothesis import strategies as st

from lab.metrology.bracketing import (
    Break,
    Calibration,
    Check,
    FindingName,
    LaterFinding,
    Procedure,
    Segment,
    Session,
)

EPOCH = datetime(2025, 4, 1, tzinfo=UTC)
STEP = timedelta(minutes=30)
SYSTEMS = ("Heron", "Petrel")
ITEMS = ("tracker", "bar")
PROCEDURES = {
    "Heron": (
        Procedure("bar", valid_for=16 * STEP, closing_within=6 * STEP),
        Procedure("sphere", valid_for=5 * STEP, closing_within=12 * STEP),
    ),
    "Petrel": (
        Procedure("bar", valid_for=8 * STEP, closing_within=STEP, closing_wanted=False),
    ),
}

steps = st.integers(0, 40)
names = st.integers(0, 5)
systems = st.sampled_from(SYSTEMS)


def at(step: int) -> datetime:
    return EPOCH + step * STEP


@st.composite
def sessions(draw, systems=systems):
    cuts = sorted(draw(st.lists(steps, min_size=2, max_size=6)))
    pairs = list(zip(cuts[::2], cuts[1::2], strict=False))
    segments = [Segment(at(start), at(end)) for start, end in pairs]
    if draw(st.integers(0, 3)) == 0:
        segments[-1] = Segment(segments[-1].start, None)
    return Session(
        f"s{draw(names)}",
        draw(systems),
        tuple(segments),
        tuple(draw(st.lists(st.sampled_from(ITEMS), max_size=1))),
        ("vise",),
    )


@st.composite
def checks(draw):
    start = draw(steps)
    end = start + draw(st.sampled_from([0, 1, 1, 1, 2, 5]))
    return Check(
        f"c{draw(st.integers(10, 24))}",
        draw(systems),
        draw(st.sampled_from(["bar", "bar", "sphere"])),
        at(start),
        at(end),
        passed=draw(st.sampled_from([True, True, False])),
        recorded_at=at(end + draw(st.sampled_from([0, 0, 0, 3]))),
        voided=draw(st.sampled_from([False, False, False, True])),
        confirmed=draw(st.booleans()),
    )


breaks = st.builds(
    lambda number, system, step: Break(f"b{number:07d}", system, at(step)),
    st.integers(0, 10**6),
    systems,
    steps,
)


@st.composite
def spans(draw):
    first, last = sorted([draw(steps), draw(steps)])
    return at(first), draw(st.sampled_from([None, at(last), at(last)]))


calibrations = st.builds(
    lambda number, item, span: Calibration(f"k{number}", item, *span),
    st.integers(0, 10**6),
    st.sampled_from(ITEMS),
    spans(),
)
later_findings = st.builds(
    lambda number, about, span, name: LaterFinding(f"f{number}", about, *span, name),
    st.integers(0, 10**6),
    st.sampled_from([*ITEMS, *SYSTEMS, "vise", "s1", "s2"]),
    spans(),
    st.sampled_from([FindingName.SUSPECT, FindingName.CONDITIONS]),
)


def unique(strategy, most: int):
    """Return lists in which no key occurs twice."""
    return st.lists(strategy, max_size=most, unique_by=lambda each: each.key)
