"""Networks for the tests: a real one, and small ones made up."""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from lab.metrology.frames import Exposures, Noise, make_exposures

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Scene:
    """True targets, true poses, and which pose sees which target."""

    names: tuple[str, ...]
    points_mm: Array
    rotations: Array
    translations: Array
    exposure: NDArray[np.intp]
    target: NDArray[np.intp]

    @property
    def seen_mm(self) -> Array:
        """What would be seen without noise."""
        turned = np.einsum(
            "nij,nj->ni", self.rotations[self.exposure], self.points_mm[self.target]
        )
        return turned + self.translations[self.exposure]

    @property
    def layout(self) -> dict[str, Array]:
        return dict(zip(self.names, self.points_mm, strict=True))

    def row(self, exposure: int, target: int) -> int:
        return int(
            np.flatnonzero((self.exposure == exposure) & (self.target == target))[0]
        )

    def exposures(
        self, noise: Noise, seed: int | None, change: Array | None = None
    ) -> Exposures:
        """Simulate exposures with the noise of the model, and a change added."""
        clean = self.seen_mm
        covariances = noise.covariances(clean)
        seen = clean.copy()
        if seed is not None:
            random = np.random.default_rng(seed)
            factor = np.linalg.cholesky(covariances)
            seen += np.einsum("nij,nj->ni", factor, random.normal(size=clean.shape))
        if change is not None:
            seen += change
        return make_exposures(
            [f"{index + 1}" for index in self.exposure],
            [self.names[index] for index in self.target],
            seen,
            covariances_mm2=covariances,
        )


def even_noise(sigma_mm: float) -> Noise:
    """The same in all directions and at all ranges."""
    return Noise(sigma_mm, sigma_mm, lateral_power=0.0, depth_power=0.0)


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open() as file:
        return list(csv.DictReader(file))


def real_network(shared_data: Callable[[str], Path], stations: int) -> Scene:
    """Return the real network with some of its stations, evenly chosen."""
    folder = shared_data("network/photogrammetry")
    targets = _rows(folder / "targets.csv")
    places = _rows(folder / "stations.csv")
    step = len(places) / stations
    places = [places[int(step * index)] for index in range(stations)]
    number = {row["target_id"]: index for index, row in enumerate(targets)}
    which = {row["image_id"]: index for index, row in enumerate(places)}
    seen = [
        (which[row["image_id"]], number[row["target_id"]])
        for row in _rows(folder / "image_points.csv")
        if row["image_id"] in which and row["target_id"] in number
    ]
    angles = np.array(
        [[float(p[k]) for k in ("omega_rad", "phi_rad", "kappa_rad")] for p in places]
    )
    centres = np.array(
        [[float(p[k]) for k in ("x_mm", "y_mm", "z_mm")] for p in places]
    )
    # Photogrammetry's camera looks along its negative z axis.
    ahead = np.diag([1.0, -1.0, -1.0])
    turned = Rotation.from_euler("XYZ", angles).as_matrix()
    rotations = ahead @ np.swapaxes(turned, 1, 2)
    exposure, target = np.array(sorted(set(seen)), dtype=np.intp).T
    return Scene(
        tuple(number),
        np.array([[float(t[k]) for k in ("x_mm", "y_mm", "z_mm")] for t in targets]),
        rotations,
        -np.einsum("nij,nj->ni", rotations, centres),
        exposure,
        target,
    )


def ring_scene(
    exposures: int = 12, targets: int = 24, radius_mm: float = 1500.0, seed: int = 5
) -> Scene:
    """Targets in a box of 800 mm, seen from a ring of poses, half of them each."""
    random = np.random.default_rng(seed)
    points = random.uniform(-400.0, 400.0, (targets, 3))
    angles = 2.0 * np.pi * np.arange(exposures) / exposures
    places = radius_mm * np.column_stack(
        [np.cos(angles), np.sin(angles), 0.3 * np.sin(3.0 * angles)]
    )
    rotations = np.array([look_from(place) for place in places])
    rows = [
        (exposure, target)
        for exposure, place in enumerate(places)
        for target, point in enumerate(points)
        if point @ place > -0.1 * radius_mm * np.linalg.norm(point)
    ]
    exposure, target = np.array(rows, dtype=np.intp).T
    return Scene(
        tuple(f"T{index + 1:02d}" for index in range(targets)),
        points,
        rotations,
        -np.einsum("nij,nj->ni", rotations, places),
        exposure,
        target,
    )


def all_seen(scene: Scene) -> Scene:
    """Return the scene with every target seen from every pose."""
    count = len(scene.names)
    exposure, target = np.divmod(np.arange(count * len(scene.rotations)), count)
    return replace(scene, exposure=exposure, target=target)


def look_from(place: Array) -> Array:
    """Return the rotation into a tracker that looks at the origin."""
    ahead = -place / np.linalg.norm(place)
    right = np.cross(ahead, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    return np.vstack([right, np.cross(ahead, right), ahead])
