"""Reference frames: targets on a part or fixture, seen from many poses."""

from __future__ import annotations

from lab.metrology.frames.bars import Bar
from lab.metrology.frames.exposures import Exposures, SeenTwice, make_exposures
from lab.metrology.frames.frame import (
    Coordinates,
    Ellipsoids,
    Frame,
    make_coordinates,
)
from lab.metrology.frames.noise import Noise
from lab.metrology.frames.solving import solve_frame
