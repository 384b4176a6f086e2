"""Features fitted to points: what each function does is told in its module.

| noun | least squares | minimum zone |
|---|---|---|
| line in a plane | `fit_line_2d` | `minimum_zone_line_2d` |
| line in space | `fit_line_3d` | `minimum_zone_line_3d` |
| plane | `fit_plane` | `minimum_zone_plane` |
| circle in a plane | `fit_circle_2d` | `minimum_zone_circle` |
| circle in space | `fit_circle_3d` | |
| sphere | `fit_sphere` | |
| cylinder | `fit_cylinder` | |
| cone | `fit_cone` | |

`fit_robust(fit_plane, points)` leaves out what doesn't belong. Lengths, distances
and angles between features are in `lab.metrology.fits.relations`; the refusals in
`lab.metrology.fits.refusals`.
"""

from __future__ import annotations

from lab.metrology.fits.circles import (
    AlgebraicCircle,
    Circle2,
    Circle3,
    fit_circle_2d,
    fit_circle_3d,
    fit_circle_algebraic,
)
from lab.metrology.fits.cones import Cone, fit_cone
from lab.metrology.fits.cylinders import Cylinder, fit_cylinder
from lab.metrology.fits.linear import (
    Line2,
    Line3,
    Plane,
    fit_line_2d,
    fit_line_3d,
    fit_plane,
)
from lab.metrology.fits.minimum_zone import (
    AxisZone,
    CircleZone,
    LineZone,
    PlaneZone,
    minimum_zone_circle,
    minimum_zone_line_2d,
    minimum_zone_line_3d,
    minimum_zone_plane,
)
from lab.metrology.fits.refusals import (
    ArcTooShort,
    CoincidentPoints,
    CollinearPoints,
    CoplanarPoints,
    DirectionUndetermined,
    NotConverged,
)
from lab.metrology.fits.relations import (
    Angle,
    Length,
    angle_between,
    distance_between_axes,
    distance_between_centres,
    distance_between_planes,
    distance_to_axis,
    distance_to_plane,
    extent_along,
)
from lab.metrology.fits.robust import NoMajority, RobustFit, fit_robust
from lab.metrology.fits.spheres import Sphere, fit_sphere
from lab.metrology.fits.statistics import Covariance, Form, narrowest_band

__all__ = [
    "AlgebraicCircle",
    "Angle",
    "ArcTooShort",
    "AxisZone",
    "Circle2",
    "Circle3",
    "CircleZone",
    "CoincidentPoints",
    "CollinearPoints",
    "Cone",
    "CoplanarPoints",
    "Covariance",
    "Cylinder",
    "DirectionUndetermined",
    "Form",
    "Length",
    "Line2",
    "Line3",
    "LineZone",
    "NoMajority",
    "NotConverged",
    "Plane",
    "PlaneZone",
    "RobustFit",
    "Sphere",
    "angle_between",
    "distance_between_axes",
    "distance_between_centres",
    "distance_between_planes",
    "distance_to_axis",
    "distance_to_plane",
    "extent_along",
    "fit_circle_2d",
    "fit_circle_3d",
    "fit_circle_algebraic",
    "fit_cone",
    "fit_cylinder",
    "fit_line_2d",
    "fit_line_3d",
    "fit_plane",
    "fit_robust",
    "fit_sphere",
    "minimum_zone_circle",
    "minimum_zone_line_2d",
    "minimum_zone_line_3d",
    "minimum_zone_plane",
    "narrowest_band",
]
