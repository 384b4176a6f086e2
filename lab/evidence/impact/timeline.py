"""The picture of what leans on a thing: a row a system, sessions and checks in time."""

from __future__ import annotations

from datetime import datetime
from typing import Final

from lab.common import clock
from lab.common.charts import Picture, Shape, Tone
from lab.common.charts.axes import time_ticks, time_words
from lab.common.charts.pictures import Box, Sign, Stroke, Word
from lab.common.templatetags.unbroken import local
from lab.evidence.impact.leaning import Leaning

WIDTH: Final = 960.0
LEFT: Final = 150.0
RIGHT: Final = 60.0
TOP: Final = 14.0
ROW: Final = 46.0
FOOT: Final = 30.0
#: A session narrower than this could not be seen.
NARROWEST: Final = 3.0


def timeline_of(leaning: Leaning, title: str) -> Picture | None:
    """Return the picture, or None where nothing leans on it."""
    if not leaning.sessions and not leaning.checks:
        return None
    names = {one.system_id: str(one.system) for one in leaning.sessions}
    names |= {one.system_id: str(one.system) for one in leaning.checks}
    in_order = sorted(names, key=names.__getitem__)
    rows = {key: place for place, key in enumerate(in_order)}
    scale = _Scale(leaning.start, leaning.end)
    height = TOP + ROW * len(rows) + FOOT
    return Picture(
        title=title,
        description=f"{len(leaning.sessions)} sessions, {len(leaning.checks)} checks, "
        f"{len(rows)} systems, from {local(leaning.start)} to {local(leaning.end)}; "
        "the tables below name each.",
        width=WIDTH,
        height=height,
        boxes=_sessions(leaning, rows, scale),
        strokes=_rules(leaning, len(rows), scale, height),
        signs=_checks(leaning, rows, scale),
        words=_words(leaning, names, rows, scale, height),
    )


class _Scale:
    """Where an instant stands across the picture."""

    def __init__(self, start: datetime, end: datetime) -> None:
        self.start = start
        self.seconds = max(1.0, (end - start).total_seconds())

    def x(self, at: datetime) -> float:
        share = (at - self.start).total_seconds() / self.seconds
        return LEFT + (WIDTH - LEFT - RIGHT) * min(1.0, max(0.0, share))


def _sessions(leaning: Leaning, rows: dict[int, int], scale: _Scale) -> list[Box]:
    found = []
    now = clock.now()
    for one in leaning.sessions:
        end = now if one.state == one.State.RUNNING else one.last_at
        left, right = scale.x(one.first_at), scale.x(end)
        judged = getattr(one, "judgement", None)
        word = judged.word if judged else "not judged"
        found.append(
            Box(
                left,
                TOP + ROW * rows[one.system_id] + 22,
                max(NARROWEST, right - left),
                14,
                _tone(word),
                f"Session {one.pk} of {one.job.number}, {local(one.first_at)}: {word}",
            )
        )
    return found


def _tone(word: str) -> Tone:
    if word in ("bracketed", "checked at start only"):
        return Tone.GOOD
    return Tone.WAIT if word in ("open", "not judged") else Tone.BAD


def _checks(leaning: Leaning, rows: dict[int, int], scale: _Scale) -> list[Sign]:
    return [
        Sign(
            scale.x(one.ended_at),
            TOP + ROW * rows[one.system_id] + 12,
            Shape.RING
            if one.is_void
            else (Shape.DOT if one.passed else Shape.TRIANGLE),
            Tone.QUIET if one.is_void else (Tone.GOOD if one.passed else Tone.BAD),
            f"Check {one.pk}, {local(one.ended_at)}: {one.word}",
        )
        for one in leaning.checks
    ]


def _rules(leaning: Leaning, count: int, scale: _Scale, height: float) -> list[Stroke]:
    across = [
        Stroke(((LEFT, y), (WIDTH - RIGHT, y)), Tone.QUIET, 0.5)
        for y in (TOP + ROW * place for place in range(count + 1))
    ]
    down = [
        Stroke(
            ((scale.x(at), TOP), (scale.x(at), height - FOOT)), Tone.QUIET, 0.5, True
        )
        for at in time_ticks(leaning.start, leaning.end)
    ]
    return across + down


def _words(
    leaning: Leaning,
    names: dict[int, str],
    rows: dict[int, int],
    scale: _Scale,
    height: float,
) -> list[Word]:
    left = [
        Word(LEFT - 8, TOP + ROW * place + 26, names[key][:22], "end")
        for key, place in rows.items()
    ]
    ticks = time_ticks(leaning.start, leaning.end)
    foot = [
        Word(scale.x(at), height - 12, said, "middle", Tone.QUIET)
        for at, said in zip(ticks, time_words(ticks), strict=True)
    ]
    return left + foot
