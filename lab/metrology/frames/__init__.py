"""Reference frames: targets on a part or fixture, seen from many poses.

- `make_exposures`, `match_exposure`: what was seen, with labels or without.
- `solve_frame`: targets and poses together, with covariance, tests and ties;
  `snoop_frame` takes out what does not belong, one thing at a time.
- `advise`: what is wrong or weak, in words.
- `check_scale`: bars as a test of the tracker's scale.
- `solve_axis`, `counted_targets`: reflectors that turn about an axis.
- `compare_frames`: what moved since the last time.
"""

from __future__ import annotations

from lab.metrology.frames.advice import Advice, advise
from lab.metrology.frames.axes import (
    Axis,
    StopsTooFew,
    StopsTooNarrow,
    counted_targets,
    solve_axis,
)
from lab.metrology.frames.bars import Bar
from lab.metrology.frames.comparing import compare_frames
from lab.metrology.frames.comparison import (
    Expansion,
    FrameComparison,
    MovedTarget,
    NoStableMajority,
)
from lab.metrology.frames.exposures import Exposures, SeenTwice, make_exposures
from lab.metrology.frames.frame import (
    Coordinates,
    Ellipsoids,
    Frame,
    make_coordinates,
)
from lab.metrology.frames.groups import MovedGroup
from lab.metrology.frames.labels import Mislabelled, find_mislabelled
from lab.metrology.frames.matching import (
    AmbiguousMatch,
    Match,
    NoMatch,
    match_exposure,
)
from lab.metrology.frames.noise import Noise
from lab.metrology.frames.reliability import Reliability
from lab.metrology.frames.scale import ScaleCheck, check_scale
from lab.metrology.frames.shifts import ShiftTests, shift_tests
from lab.metrology.frames.snooping import Blunder, Shift, Snooped, snoop_frame
from lab.metrology.frames.solving import (
    NetworkTooLarge,
    ScaleUndetermined,
    solve_frame,
)
from lab.metrology.frames.ties import NotConnected, Ties, WeakTie

__all__ = [
    "Advice",
    "AmbiguousMatch",
    "Axis",
    "Bar",
    "Blunder",
    "Coordinates",
    "Ellipsoids",
    "Expansion",
    "Exposures",
    "Frame",
    "FrameComparison",
    "Match",
    "Mislabelled",
    "MovedGroup",
    "MovedTarget",
    "NetworkTooLarge",
    "NoMatch",
    "NoStableMajority",
    "Noise",
    "NotConnected",
    "Reliability",
    "ScaleCheck",
    "ScaleUndetermined",
    "SeenTwice",
    "Shift",
    "ShiftTests",
    "Snooped",
    "StopsTooFew",
    "StopsTooNarrow",
    "Ties",
    "WeakTie",
    "advise",
    "check_scale",
    "compare_frames",
    "counted_targets",
    "find_mislabelled",
    "make_coordinates",
    "make_exposures",
    "match_exposure",
    "shift_tests",
    "snoop_frame",
    "solve_axis",
    "solve_frame",
]
