"""Deviation of a measured surface from a nominal one.

`Surface.of(mesh)` makes a nominal mesh ready; `surface.signed_distances(points)` gives
signed distances, positive outside. `fit_to_surface` places points by best fit where no
datums do; `summarise_deviations` and `worst_regions` say what the distances come to;
`draw_deviations` makes the picture, in the colours of `colour_scale`.
"""

from __future__ import annotations

from lab.metrology.deviation.bestfit import SurfaceFit, fit_to_surface
from lab.metrology.deviation.picture import Picture, draw_deviations
from lab.metrology.deviation.scale import (
    MAP_NAME,
    ColourScale,
    colour_scale,
    relative_luminance,
)
from lab.metrology.deviation.summary import (
    PERCENTS,
    DeviationSummary,
    Region,
    summarise_deviations,
    vertex_areas,
    worst_regions,
)
from lab.metrology.deviation.surface import (
    SignedDistances,
    Surface,
    signed_distances,
    vertex_normals,
)

__all__ = [
    "MAP_NAME",
    "PERCENTS",
    "ColourScale",
    "DeviationSummary",
    "Picture",
    "Region",
    "SignedDistances",
    "Surface",
    "SurfaceFit",
    "colour_scale",
    "draw_deviations",
    "fit_to_surface",
    "relative_luminance",
    "signed_distances",
    "summarise_deviations",
    "vertex_areas",
    "vertex_normals",
    "worst_regions",
]
