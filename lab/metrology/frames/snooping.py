"""What does not belong in a network: wrong labels, moved targets, blunders.

Wrong labels first, for they are gross. Then the network is solved and tested, the
worst failing hypothesis is accepted, and all is solved anew, for one blunder bends the
residuals of all its neighbours. Two kinds of hypotheses compete, each with the
critical value of its whole family: a single observation is wrong (it is left out), or
a target is elsewhere from some exposure onward (it is two targets from then on). Both
statistics follow χ² with three degrees of freedom, so the larger one has the better
evidence.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from typing import Any

import numpy as np

from lab.metrology.errors import OutOfDomain
from lab.metrology.frames.exposures import Exposures
from lab.metrology.frames.frame import Frame
from lab.metrology.frames.labels import Mislabelled, find_mislabelled, relabel
from lab.metrology.frames.reliability import FAMILY_PROBABILITY
from lab.metrology.frames.shifts import ShiftTests, shift_tests
from lab.metrology.frames.solving import solve_frame
from lab.metrology.frames.ties import NotConnected

__all__ = ["Blunder", "Shift", "Snooped", "snoop_frame"]


@dataclass(frozen=True, slots=True)
class Blunder:
    """One observation that failed its test and was left out.

    `error_mm` is the length of its estimated error, `least_detectable_mm` what would
    have been found.
    """

    target: str
    exposure: str
    statistic: float
    critical: float
    error_mm: float
    least_detectable_mm: float

    @property
    def words(self) -> str:
        """What is wrong, in a sentence."""
        return (
            f"Target {self.target} in exposure {self.exposure} is off by about "
            f"{self.error_mm:.3g} mm and was left out of that exposure."
        )


@dataclass(frozen=True, slots=True)
class Shift:
    """A target that was elsewhere from one exposure onward.

    `renamed` is what the frame calls it from there on.
    """

    target: str
    renamed: str
    from_exposure: str
    statistic: float
    critical: float
    shift_mm: tuple[float, float, float]
    least_detectable_mm: float

    @property
    def words(self) -> str:
        """What happened, in a sentence."""
        length = float(np.linalg.norm(self.shift_mm))
        return (
            f"Target {self.target} moved by about {length:.3g} mm before exposure "
            f"{self.from_exposure}; from then on it is counted as another target, "
            f"{self.renamed}."
        )


@dataclass(frozen=True, slots=True, eq=False)
class Snooped:
    """A frame without what does not belong, and what that was.

    Attributes
    ----------
    frame : Frame
        Solved from what is left.
    mislabelled : tuple of Mislabelled
        Corrected before anything else.
    found : tuple of Blunder or Shift
        In the order in which they fell.
    """

    frame: Frame
    mislabelled: tuple[Mislabelled, ...]
    found: tuple[Blunder | Shift, ...]

    @property
    def words(self) -> tuple[str, ...]:
        """All findings as sentences."""
        return tuple(each.words for each in (*self.mislabelled, *self.found))


def snoop_frame(
    exposures: Exposures,
    *,
    most: int = 20,
    with_shifts: bool = True,
    family_probability: float = FAMILY_PROBABILITY,
    **options: Any,
) -> Snooped:
    """Solve a network, and take out what does not belong, one thing at a time.

    Parameters
    ----------
    exposures : Exposures
        In the order in which they were taken.
    most : int
        The most findings; beyond, something is wrong with the whole.
    with_shifts : bool
        Whether targets may have moved in mid-series.
    family_probability : float
        That anything of a clean network is accused; the two families share it.
    **options
        As for `solve_frame`.

    Returns
    -------
    Snooped

    Raises
    ------
    MetrologyError
        As `solve_frame` does.

    Examples
    --------
    >>> from lab.metrology.frames import Noise, make_exposures
    >>> part = np.random.default_rng(0).uniform(-300, 300, (12, 3))
    >>> seen = np.vstack([part + [0, 0, 1500], part[:, [1, 2, 0]] + [0, 0, 1400],
    ...                   part[:, [2, 0, 1]] + [0, 0, 1600]])
    >>> seen[15, 0] += 1.0
    >>> names = [f"T{k}" for k in range(12)]
    >>> exposures = make_exposures(
    ...     ["1"] * 12 + ["2"] * 12 + ["3"] * 12, names * 3, seen,
    ...     noise=Noise(0.01, 0.02),
    ... )
    >>> [(each.target, each.exposure) for each in snoop_frame(exposures).found]
    [('T3', '2')]
    """
    if most < 1:
        raise OutOfDomain(f"most is {most}; at least one finding must be allowed.")
    wrong: tuple[Mislabelled, ...] = ()
    if options.get("orientations") is None:
        # What only held targets tie together can't be placed without them.
        with suppress(NotConnected):
            wrong = find_mislabelled(exposures)
    used = relabel(exposures, wrong) if wrong else exposures
    share = 0.5 * family_probability if with_shifts else family_probability
    found: list[Blunder | Shift] = []
    while True:
        frame = solve_frame(used, family_probability=share, **options)
        if len(found) >= most:
            return Snooped(frame, wrong, tuple(found))
        worst = frame.reliability.worst
        tests = shift_tests(frame) if with_shifts else None
        shifted = tests.worst if tests is not None else None
        if (
            tests is not None
            and shifted is not None
            and (
                worst is None
                or tests.statistics[shifted] > frame.reliability.statistics[worst]
            )
        ):
            finding, used = _shift(frame, tests, shifted)
        elif worst is not None:
            finding, used = _blunder(frame, worst)
        else:
            return Snooped(frame, wrong, tuple(found))
        found.append(finding)


def _blunder(frame: Frame, worst: int) -> tuple[Blunder | Shift, Exposures]:
    used, judged = frame.exposures, frame.reliability
    # The residual shows a share of the error: the redundancy, averaged over axes.
    share = max(float(judged.redundancy[worst].mean()), 1e-6)
    blunder = Blunder(
        target=used.target_names[used.target[worst]],
        exposure=used.exposure_names[used.exposure[worst]],
        statistic=float(judged.statistics[worst]),
        critical=judged.critical,
        error_mm=float(np.linalg.norm(frame.residuals_mm[worst])) / share,
        least_detectable_mm=float(judged.smallest_detectable_mm[worst]),
    )
    return blunder, used.without([worst])


def _shift(
    frame: Frame, tests: ShiftTests, worst: int
) -> tuple[Blunder | Shift, Exposures]:
    used = frame.exposures
    target, first = int(tests.target[worst]), int(tests.first[worst])
    name = used.target_names[target]
    exposure = used.exposure_names[used.exposure[first]]
    renamed = f"{name} from {exposure}"
    rows = np.flatnonzero(used.target == target)
    shift = Shift(
        target=name,
        renamed=renamed,
        from_exposure=exposure,
        statistic=float(tests.statistics[worst]),
        critical=tests.critical,
        shift_mm=(
            float(tests.shifts_mm[worst, 0]),
            float(tests.shifts_mm[worst, 1]),
            float(tests.shifts_mm[worst, 2]),
        ),
        least_detectable_mm=float(tests.least_detectable_mm[worst]),
    )
    return shift, used.relabelled(rows[rows >= first], renamed)
