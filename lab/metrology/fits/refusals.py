"""Why a set of points is refused: each kind of degeneracy has its own error."""

from __future__ import annotations

from lab.metrology.errors import Degenerate

__all__ = [
    "ArcTooShort",
    "CoincidentPoints",
    "CollinearPoints",
    "CoplanarPoints",
    "DirectionUndetermined",
    "NotConverged",
]


class CoincidentPoints(Degenerate):
    """All points are the same point, within the rounding of their coordinates."""


class CollinearPoints(Degenerate):
    """The points lie on one straight line and don't determine the feature."""


class CoplanarPoints(Degenerate):
    """The points lie in one plane and don't determine the feature."""


class ArcTooShort(Degenerate):
    """The points cover too little of the arc, cap or jacket to give a radius."""


class DirectionUndetermined(Degenerate):
    """The points don't say which way the line, normal or axis points."""


class NotConverged(Degenerate):
    """The iteration found no minimum: the points don't resemble the feature."""
