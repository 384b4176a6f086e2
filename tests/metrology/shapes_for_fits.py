"""Made-up measured features: seeded, turned, moved, noisy, and soiled."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

Array = NDArray[np.float64]


def generator(seed: int) -> np.random.Generator:
    return np.random.default_rng(seed)


def turned(points: Array, random: np.random.Generator, offset: float = 0.0):
    """Return points in a random frame, and that frame's rotation."""
    rotation = Rotation.random(rng=random).as_matrix()
    return points @ rotation.T + offset, rotation


def line(random, count=200, length=100.0, noise=0.01) -> Array:
    across = noise * random.normal(size=(count, 2))
    return np.column_stack([random.uniform(0, length, count), across])


def plane(random, count=200, size=(100.0, 60.0), noise=0.01) -> Array:
    flat = random.uniform(0, 1, (count, 2)) * size
    return np.column_stack([flat, noise * random.normal(size=count)])


def circle(random, count=200, radius=30.0, arc=2 * math.pi, noise=0.01) -> Array:
    angle = random.uniform(0, arc, count)
    reach = radius + noise * random.normal(size=count)
    return np.column_stack([reach * np.cos(angle), reach * np.sin(angle)])


def sphere(random, count=200, radius=25.0, half_angle=math.pi, noise=0.01) -> Array:
    height = random.uniform(math.cos(half_angle), 1.0, count)
    angle = random.uniform(0, 2 * math.pi, count)
    flat = np.sqrt(1 - height**2)
    out = np.column_stack([flat * np.cos(angle), flat * np.sin(angle), height])
    return out * (radius + noise * random.normal(size=(count, 1)))


def cylinder(
    random, count=200, radius=20.0, length=50.0, arc=2 * math.pi, noise=0.01
) -> Array:
    flat = circle(random, count, radius, arc, noise)
    return np.column_stack([flat, random.uniform(-length / 2, length / 2, count)])


def cone(
    random,
    count=200,
    radius=30.0,
    length=50.0,
    half_angle=0.3,
    arc=2 * math.pi,
    noise=0.01,
) -> Array:
    """Return points about a cone whose radius at mid-length is `radius`."""
    angle = random.uniform(0, arc, count)
    along = random.uniform(-length / 2, length / 2, count)
    off = noise * random.normal(size=count)
    reach = radius + along * math.tan(half_angle) + off * math.cos(half_angle)
    return np.column_stack(
        [
            reach * np.cos(angle),
            reach * np.sin(angle),
            along - off * math.sin(half_angle),
        ]
    )


def soiled(points: Array, random, kind: str, share: float = 0.3):
    """Return a copy in which a share of points belongs elsewhere, and which do.

    Kinds: "scattered" over the neighbourhood, "slipped" together, or one "lump".
    """
    count = int(share * len(points))
    wrong = random.choice(len(points), size=count, replace=False)
    found = points.copy()
    size = np.ptp(points, axis=0)
    size = np.maximum(size, 0.3 * size.max())
    middle = points.mean(axis=0)
    width = points.shape[1]
    if kind == "scattered":
        found[wrong] = middle + random.uniform(-1, 1, (count, width)) * size
    elif kind == "slipped":
        found[wrong] += 0.3 * size * np.array([1.0, 0.5, 0.2])[:width]
    else:
        lump = 0.02 * size * random.normal(size=(count, width))
        found[wrong] = middle + 0.7 * size + lump
    return found, wrong
