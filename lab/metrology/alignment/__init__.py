"""Alignment of frames: ``points_a = tf_a_b.apply(points_b)``.

`fit_rigid` and `fit_similarity` are weighted best fits of corresponding points;
`snoop` leaves out what fails its test, one point at a time; `align_robustly` starts
where two pairs in five may be wrong; `align_321` and `align_datum_targets` place a
part by its datums.
"""

from __future__ import annotations

from lab.metrology.alignment.bestfit import (
    Alignment,
    VarianceFactor,
    fit_rigid,
    fit_similarity,
)
from lab.metrology.alignment.datums import (
    Datum,
    DatumAlignment,
    DatumsLeaveFreedom,
    align_321,
    align_datum_targets,
)
from lab.metrology.alignment.robust import RobustAlignment, align_robustly
from lab.metrology.alignment.snooping import LeftOut, Snooping, snoop
from lab.metrology.alignment.transforms import (
    Transform,
    transform_from_matrix,
    transform_from_parameters,
)

__all__ = [
    "Alignment",
    "Datum",
    "DatumAlignment",
    "DatumsLeaveFreedom",
    "LeftOut",
    "RobustAlignment",
    "Snooping",
    "Transform",
    "VarianceFactor",
    "align_321",
    "align_datum_targets",
    "align_robustly",
    "fit_rigid",
    "fit_similarity",
    "snoop",
    "transform_from_matrix",
    "transform_from_parameters",
]
