"""What to do about a solved network, in words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lab.metrology.frames.frame import Frame
from lab.metrology.frames.scale import ScaleCheck

__all__ = ["Advice", "Level", "advise"]

Level = str

_WEAKEST = 3.0  # times the usual uncertainty of a target: common practice, no source
_UNCHECKED = 0.3  # redundancy below which most of an error is hidden: the same


@dataclass(frozen=True, slots=True)
class Advice:
    """One sentence; `level` is "stop", "look" or "note"."""

    level: Level
    words: str


def advise(frame: Frame, scale: ScaleCheck | None = None) -> tuple[Advice, ...]:
    """Say what is wrong or weak about a frame, the gravest first.

    Parameters
    ----------
    frame : Frame
        A solved network.
    scale : ScaleCheck, optional
        What bars said.

    Returns
    -------
    tuple of Advice
        Empty if there is nothing to say.
    """
    said = [*_blunders(frame), *_noise(frame), *_ties(frame), *_weak(frame)]
    if scale is not None:
        level = "stop" if scale.is_significant else "note"
        said.append(Advice(level, scale.words[0]))
        said.extend(Advice("look", words) for words in scale.words[1:])
    order = {"stop": 0, "look": 1, "note": 2}
    return tuple(sorted(said, key=lambda each: order[each.level]))


def _blunders(frame: Frame) -> list[Advice]:
    worst = frame.reliability.worst
    if worst is None:
        return []
    return [
        Advice(
            "stop",
            f"What was seen of {frame.exposures.describe(worst)} disagrees with all "
            "the rest: look whether the target moved, was touched or was half hidden, "
            "and solve without it.",
        )
    ]


def _noise(frame: Frame) -> list[Advice]:
    tested = frame.variance_factor
    if tested is None:
        return [
            Advice("stop", "Nothing checks this network: take more exposures of it.")
        ]
    if not tested.exceeds:
        return []
    times = tested.factor**0.5
    return [
        Advice(
            "look",
            f"The residuals are {times:.2f} times as large as the tracker's stated "
            "noise lets expect; the uncertainties were raised by as much. Look for "
            "vibration, drift of temperature, dirty targets, or a noise that was "
            "stated too small.",
        )
    ]


def _ties(frame: Frame) -> list[Advice]:
    said = [
        Advice(
            "look",
            f"Exposures {_listed(tie.exposures)} hang on the others by only "
            f"{len(tie.common_targets)} common target(s) ({_listed(tie.common_targets)}"
            "): nothing would show a wrong one. Add an exposure or a target that both "
            "see.",
        )
        for tie in frame.ties.weak
    ]
    if once := frame.ties.seen_once:
        said.append(
            Advice(
                "look",
                f"Seen from one pose only, so that nothing checks them: target "
                f"{_listed(once)}. See them again, or leave them out of the frame.",
            )
        )
    if twice := frame.ties.seen_twice:
        said.append(
            Advice(
                "note",
                f"Seen from two poses only, so that of two contradicting sightings "
                f"nothing says which is wrong: target {_listed(twice)}.",
            )
        )
    return said


def _weak(frame: Frame) -> list[Advice]:
    said = []
    semi_axes = frame.coordinates.ellipsoids().semi_axes_mm[:, 0]
    usual = float(np.median(semi_axes))
    weak = np.flatnonzero(semi_axes > _WEAKEST * usual)
    names = [frame.target_names[k] for k in weak]
    names = [name for name in names if name not in frame.ties.seen_once]
    if names:
        said.append(
            Advice(
                "note",
                f"More than {_WEAKEST:g} times as uncertain as is usual here: target "
                f"{_listed(tuple(names))}. See them from nearer or from other sides.",
            )
        )
    counts = np.bincount(frame.exposures.target, minlength=len(frame.target_names))
    several = counts[frame.exposures.target] > 1
    poor = several & (frame.reliability.redundancy.mean(axis=1) < _UNCHECKED)
    exposures = np.bincount(
        frame.exposures.exposure[poor], minlength=len(frame.exposures.exposure_names)
    )
    total = np.bincount(frame.exposures.exposure, minlength=len(exposures))
    named = tuple(
        frame.exposures.exposure_names[k] for k in np.flatnonzero(2 * exposures > total)
    )
    if named:
        said.append(
            Advice(
                "look",
                f"Exposure {_listed(named)} sees so little that most of an error there "
                "would be hidden: bring more targets into view.",
            )
        )
    return said


def _listed(names: tuple[str, ...]) -> str:
    return ", ".join(names if len(names) <= 8 else (*names[:7], f"… {len(names)} all"))
