"""Networks of coordinate differences with orientation held: published adjustments.

Of the four spatial networks in the shared folder `cube-1` and `tetrahedron` are
observed by coordinate differences, which is this model with known orientations. The
other two observe distances and zenith angles; they are not applicable here.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET  # the file is our own copy
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from lab.metrology.frames import Frame, make_exposures, solve_frame

Array = NDArray[np.float64]

NOT_APPLICABLE = {
    "Wolf_3D_Distance_fix": "distances only",
    "Wolf_3D_DistanceVerticalAngle_fix": "distances and zenith angles",
}


@dataclass(frozen=True)
class Published:
    frame: Frame
    names: tuple[str, ...]
    points: Array
    covariance: Array
    factor: float


def local(tree: ET.ElementTree[ET.Element], name: str) -> list[ET.Element]:
    """Return elements by local name, whatever the namespace."""
    return [each for each in tree.iter() if each.tag.rsplit("}", 1)[-1] == name]


def child(element: ET.Element, name: str) -> str:
    return next(e.text or "" for e in element if e.tag.rsplit("}", 1)[-1] == name)


def symmetric(values: list[float], size: int) -> Array:
    """Return a matrix from the upper part by rows."""
    found = np.zeros((size, size))
    found[np.triu_indices(size)] = values
    return np.asarray(found + np.triu(found, 1).T)


def published(find: Callable[[str], Path], name: str) -> Published:
    """Solve a network, in metres as published, and read the published answer."""
    given = ET.parse(find(f"network/gama/{name}.gkf"))
    answer = ET.parse(find(f"network/gama/{name}.xml"))
    held = {
        p.get("id", ""): [float(p.get(axis, "0")) for axis in "xyz"]
        for p in local(given, "point")
        if p.get("fix") == "xyz"
    }
    exposures, targets, seen, covariances = [], [], [], []
    for number, vector in enumerate(local(given, "vec")):
        difference = [float(vector.get(f"d{axis}", "0")) for axis in "xyz"]
        # A difference is a view of two points from an unknown place: each end takes
        # half of the variance, 1 mm² with coordinates in metres.
        for end, place in (
            (vector.get("from"), [0.0] * 3),
            (vector.get("to"), difference),
        ):
            exposures.append(str(number))
            targets.append(str(end))
            seen.append(place)
            covariances.append(0.5e-6 * np.eye(3))
    frame = solve_frame(
        make_exposures(exposures, targets, seen, covariances_mm2=np.array(covariances)),
        held_mm=held,
        orientations=np.tile(np.eye(3), (len(seen) // 2, 1, 1)),
    )
    adjusted = next(iter(local(answer, "adjusted")))
    names = tuple(child(point, "id") for point in adjusted)
    points = np.array([[float(child(p, axis)) for axis in "xyz"] for p in adjusted])
    matrix = next(iter(local(answer, "cov-mat")))
    values = [float(e.text or "") for e in matrix if e.tag.rsplit("}", 1)[-1] == "flt"]
    deviation = next(iter(local(answer, "standard-deviation")))
    ratio = float(child(deviation, "aposteriori")) / float(child(deviation, "apriori"))
    return Published(frame, names, points, symmetric(values, 3 * len(names)), ratio**2)


@pytest.mark.parametrize("name", ["cube-1", "tetrahedron"])
def test_coordinates_and_covariance(
    shared_data: Callable[[str], Path], name: str
) -> None:
    told = published(shared_data, name)
    of_names = told.frame.coordinates.of(told.names)
    # Printed with 16 digits, in metres of 100 m.
    np.testing.assert_allclose(of_names.points_mm, told.points, atol=1e-11)
    rows = told.frame.target_names
    chosen = np.array([rows.index(each) for each in told.names])
    index = (3 * chosen[:, np.newaxis] + np.arange(3)).ravel()
    cofactors = told.frame.cofactors[np.ix_(index, index)]
    # Published is the covariance in mm² with the variance factor from the residuals,
    # against an a-priori factor of 1 mm² here: printed with 8 digits.
    factor = told.frame.sum_of_squares / max(told.frame.degrees_of_freedom, 1)
    np.testing.assert_allclose(
        1e6 * factor * cofactors, told.covariance, rtol=2e-7, atol=1e-7
    )
    assert factor == pytest.approx(told.factor, rel=1e-6, abs=1e-12)


def test_cube_has_the_published_redundancy(shared_data: Callable[[str], Path]) -> None:
    told = published(shared_data, "cube-1")
    assert told.frame.degrees_of_freedom == 18
    # One difference is two sightings of half the variance each; together they have
    # the redundancy of the difference, whose sum is the degrees of freedom.
    assert told.frame.reliability.redundancy.sum() == pytest.approx(18.0, abs=1e-8)


@pytest.mark.parametrize("name", sorted(NOT_APPLICABLE))
def test_the_others_observe_something_else(
    shared_data: Callable[[str], Path], name: str
) -> None:
    given = ET.parse(shared_data(f"network/gama/{name}.gkf"))
    assert not local(given, "vec"), NOT_APPLICABLE[name]
