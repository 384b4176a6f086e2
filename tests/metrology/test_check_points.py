"""Readings of a check out of point clouds."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from lab.metrology.checks import (
    flat_form_from_points,
    length_from_faces,
    probing_from_points,
    spacing_from_points,
)
from lab.metrology.errors import Degenerate, MetrologyError, TooFew


def sphere_points(radius_mm: float, noise_mm: float = 0.0, seed: int = 0):
    """Return 400 points on the upper two thirds of a sphere about the origin."""
    random = np.random.default_rng(seed)
    height = random.uniform(-1 / 3, 1.0, 400)
    turn = random.uniform(0.0, 2 * np.pi, 400)
    across = np.sqrt(1.0 - height**2)
    directions = np.c_[across * np.cos(turn), across * np.sin(turn), height]
    return directions * (radius_mm + random.normal(0.0, noise_mm, 400))[:, None]


def face_points(width_mm: float = 20.0):
    """Return a grid on a face in the plane z = 0."""
    x, y = np.meshgrid(np.linspace(0, width_mm, 9), np.linspace(0, width_mm, 9))
    return np.c_[x.ravel(), y.ravel(), np.zeros(x.size)]


def motions():
    return st.tuples(st.integers(0, 2**32 - 1), st.floats(-2000.0, 2000.0))


def moved(points, motion):
    seed, shift_mm = motion
    turn = Rotation.random(rng=np.random.default_rng(seed))
    return turn.apply(points) + np.array([shift_mm, -shift_mm / 3, shift_mm / 7])


class TestSphere:
    def test_size_and_form_of_an_oversized_noisy_sphere(self) -> None:
        found = probing_from_points(sphere_points(25.015, 0.004, seed=1))
        # The mean radius of 400 points is known to 0.004/20 mm and a little more
        # for the free centre: four times that.
        assert found.diameter_mm == pytest.approx(50.03, abs=2 * 4 * 0.00025)
        # ±1.96 sigma hold 95 %, and the narrowest band is a little under that.
        assert found.dispersion_95_mm == pytest.approx(3.92 * 0.004, rel=0.1)
        # The expected range of 400 normal values is 5.94 sigma, with sd 0.69.
        assert found.form_mm == pytest.approx(5.94 * 0.004, rel=0.3)
        assert found.count == 400

    @given(motions())
    def test_where_the_sphere_stands_does_not_matter(self, motion) -> None:
        points = sphere_points(25.0, 0.004)
        here, there = (
            probing_from_points(points),
            probing_from_points(moved(points, motion)),
        )
        # 2 m away a coordinate is held to 2e-13 mm; the fit costs a few digits.
        assert there.diameter_mm == pytest.approx(here.diameter_mm, abs=1e-9)
        assert there.form_mm == pytest.approx(here.form_mm, abs=1e-9)

    def test_too_few(self) -> None:
        with pytest.raises(TooFew, match="at least 4 are needed"):
            probing_from_points(np.eye(3))

    def test_a_ring_is_no_sphere(self) -> None:
        turn = np.linspace(0, 6, 50)
        ring = np.c_[np.cos(turn), np.sin(turn), np.zeros(50)]
        with pytest.raises(MetrologyError, match="plane"):
            probing_from_points(ring)


class TestSpacing:
    @given(motions())
    def test_is_the_distance_of_the_centres_whatever_the_sizes(self, motion) -> None:
        one = sphere_points(12.0)
        other = sphere_points(15.0, seed=2) + np.array([300.0, 400.0, 1200.0])
        found = spacing_from_points(moved(one, motion), moved(other, motion))
        assert found.distance_mm == pytest.approx(1300.0, abs=1e-8)
        assert found.form_a_mm == pytest.approx(0.0, abs=1e-8)

    def test_is_symmetric(self) -> None:
        one = sphere_points(12.0, 0.002)
        other = sphere_points(15.0, 0.003, seed=2) + np.array([300.0, 0.0, 0.0])
        there, back = spacing_from_points(one, other), spacing_from_points(other, one)
        assert there.distance_mm == pytest.approx(back.distance_mm, abs=1e-12)
        assert there.form_a_mm == back.form_b_mm


class TestFlat:
    def test_form_of_a_step(self) -> None:
        face = face_points()
        step = np.where(face[:, 0] == 10.0, 0.03, 0.0)
        found = flat_form_from_points(face + np.c_[0 * step, 0 * step, step])
        # A raised middle line neither tilts the plane nor changes the range.
        assert found.form_mm == pytest.approx(0.03, abs=1e-12)

    @given(motions())
    def test_where_the_flat_stands_does_not_matter(self, motion) -> None:
        random = np.random.default_rng(4)
        face = face_points() + np.c_[np.zeros((81, 2)), random.normal(0, 0.01, 81)]
        here, there = (
            flat_form_from_points(face),
            flat_form_from_points(moved(face, motion)),
        )
        assert there.form_mm == pytest.approx(here.form_mm, abs=1e-9)
        assert there.dispersion_95_mm <= there.form_mm

    def test_a_line_is_no_flat(self) -> None:
        with pytest.raises(MetrologyError, match="line"):
            flat_form_from_points([[0, 0, 0], [1, 1, 1], [2, 2, 2], [3, 3, 3]])


class TestFaces:
    @given(motions())
    def test_distance_of_opposite_faces(self, motion) -> None:
        face = face_points()
        found = length_from_faces(
            moved(face, motion), moved(face + np.array([0.0, 0.0, 125.0]), motion)
        )
        assert found.length_mm == pytest.approx(125.0, abs=1e-9)

    def test_system_that_measures_both_faces_fat_is_seen(self) -> None:
        """Opposite probing: an error of 0.01 mm on each face is 0.02 on the length."""
        face = face_points()
        found = length_from_faces(face - [0, 0, 0.01], face + np.array([0, 0, 100.01]))
        assert found.length_mm == pytest.approx(100.02, abs=1e-9)

    def test_slightly_off_parallel(self) -> None:
        face = face_points()
        tilted = Rotation.from_euler("y", 0.001).apply(face - [10, 10, 0])
        found = length_from_faces(face, tilted + np.array([10, 10, 100.0]))
        assert found.angle_rad == pytest.approx(0.001, abs=1e-9)
        # The mean normal leans by half the angle: 100·(1 − cos 0.0005) = 12.5 nm.
        assert found.length_mm == pytest.approx(100.0, abs=2e-5)

    def test_faces_at_right_angles_are_refused(self) -> None:
        face = face_points()
        with pytest.raises(Degenerate, match="off parallel"):
            length_from_faces(face, face[:, [2, 0, 1]])
