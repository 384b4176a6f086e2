"""Reading meshes from bytes: formats, faults, bounds and real files."""

from __future__ import annotations

import contextlib
import re

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from lab.metrology.errors import BadShape, MetrologyError, NotFinite, OutOfDomain
from lab.metrology.meshes import (
    Mesh,
    MeshEmpty,
    MeshTooLarge,
    MeshUnreadable,
    make_mesh,
    read_mesh,
)

BOX = trimesh.creation.box((10.0, 20.0, 30.0))

PLY_POINTS = (
    b"ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\n"
    b"property float y\nproperty float z\nend_header\n0 0 0\n1 0 0\n0 1 0\n"
)


def exported(kind: str, **options) -> bytes:
    content = BOX.export(file_type=kind, **options)
    return content if isinstance(content, bytes) else content.encode()


@pytest.mark.parametrize(
    ("content", "kind"),
    [
        (exported("stl"), "stl"),
        (exported("stl_ascii"), "stl"),
        (exported("ply"), "ply"),
        (exported("ply", encoding="ascii"), "ply"),
        (exported("obj"), "obj"),
        # A binary STL whose header begins like a text one.
        (b"solid but binary".ljust(80) + exported("stl")[80:], "stl"),
    ],
)
def test_formats_are_told_by_their_content(content, kind):
    mesh = read_mesh(content)
    assert mesh.kind == kind
    assert mesh.is_watertight
    assert mesh.findings == ()
    assert len(mesh.vertices_mm) == 8
    assert len(mesh.triangles) == 12
    np.testing.assert_allclose(mesh.size_mm, [10, 20, 30], atol=1e-5)
    assert mesh.volume_mm3 == pytest.approx(6000, rel=1e-6)
    assert mesh.area_mm2 == pytest.approx(2200, rel=1e-6)


def test_inches_become_millimetres():
    mesh = read_mesh(exported("stl"), millimetres_per_unit=25.4)
    np.testing.assert_allclose(mesh.size_mm, [254, 508, 762], rtol=1e-6)
    with pytest.raises(OutOfDomain, match="millimetres_per_unit is 0"):
        read_mesh(exported("stl"), millimetres_per_unit=0)


def test_several_objects_in_one_file_are_one_mesh():
    text = []
    for number, place in enumerate((0.0, 100.0)):
        text.append(f"o part{number}")
        text += [f"v {x + place} {y} {z}" for x, y, z in BOX.vertices.tolist()]
        corners = BOX.faces + 1 + 8 * number
        text += [f"f {first} {second} {third}" for first, second, third in corners]
    mesh = read_mesh("\n".join(text).encode())
    assert len(mesh.triangles) == 24
    assert mesh.volume_mm3 == pytest.approx(12000, rel=1e-6)


@pytest.mark.parametrize(
    ("triangles", "match"),
    [
        (BOX.faces[1:], r"open: 3 edge\(s\) have a triangle on one side only"),
        (BOX.faces[:, ::-1], "inside out"),
        (np.vstack([BOX.faces[:1, ::-1], BOX.faces[1:]]), "some are turned over"),
        (np.vstack([BOX.faces, BOX.faces[:1]]), "have more than two triangles"),
    ],
)
def test_what_is_wrong_is_said_in_words(triangles, match):
    mesh = make_mesh(BOX.vertices, triangles)
    assert not mesh.is_watertight
    (finding, *_) = mesh.findings
    assert re.search(match, finding)


def test_triangles_without_area_are_left_out_and_counted():
    mesh = make_mesh(BOX.vertices, np.vstack([BOX.faces, [[0, 0, 1]]]))
    assert mesh.is_watertight
    assert mesh.left_out_triangles == 1
    assert mesh.findings == ("1 triangle(s) without area were left out.",)


def test_vertices_apart_by_rounding_are_joined_where_they_leave_a_gap():
    corners = BOX.triangles.reshape(-1, 3) + 1000.0
    rounded = corners + np.random.default_rng(0).uniform(-1e-5, 1e-5, corners.shape)
    mesh = make_mesh(rounded, np.arange(36).reshape(-1, 3))
    assert mesh.is_watertight
    assert len(mesh.vertices_mm) == 8
    apart = make_mesh(
        corners + np.arange(36)[:, np.newaxis], np.arange(36).reshape(-1, 3)
    )
    assert not apart.is_watertight


@pytest.mark.parametrize(
    ("content", "error", "match"),
    [
        (b"", MeshUnreadable, "no STL, PLY or OBJ mesh"),
        (b"PK\x03\x04 something zipped", MeshUnreadable, "no STL, PLY or OBJ"),
        (exported("stl")[:-7], MeshUnreadable, "cut short"),
        (exported("ply")[:-7], MeshUnreadable, "PLY file is damaged"),
        (b"ply\nformat ascii 1.0\n", MeshUnreadable, "no end_header line"),
        (b"v 0 0 0\nv 1 0 0\nv 0 1 0\n", MeshEmpty, "holds no triangles"),
        (b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 7\n", MetrologyError, "OBJ|vertex"),
        (b"v 0 0 0\nv 1 0 nan\nv 0 1 0\nf 1 2 3\n", NotFinite, "vertices_mm holds 1"),
        (
            PLY_POINTS,
            MeshEmpty,
            "holds no triangles",
        ),
    ],
)
def test_broken_files_are_refused(content, error, match):
    with pytest.raises(error, match=match):
        read_mesh(content)


def test_what_a_file_declares_is_refused_before_it_is_allocated():
    bomb = b"ply\nformat ascii 1.0\nelement vertex 99999999999\nend_header\n"
    with pytest.raises(MeshTooLarge, match="declares 99,999,999,999 elements"):
        read_mesh(bomb)
    with pytest.raises(MeshTooLarge, match=r"684 bytes; at most 100 are read"):
        read_mesh(exported("stl"), most_bytes=100)
    with pytest.raises(MeshTooLarge, match="12 triangles; at most 11"):
        read_mesh(exported("stl"), most_triangles=11)


@given(st.binary(max_size=400), st.sampled_from(["stl_ascii", "ply", "obj", "stl"]))
def test_damage_is_refused_or_read_but_nothing_else(noise, kind):
    content = bytearray(exported(kind))
    place = len(noise) * 7 % len(content)
    content[place : place + len(noise)] = noise
    with contextlib.suppress(MetrologyError):
        assert isinstance(read_mesh(bytes(content)), Mesh)


def test_arrays_that_are_no_mesh():
    with pytest.raises(
        BadShape, match=r"whole numbers of shape \(T, 3\); they are float"
    ):
        make_mesh(BOX.vertices, BOX.faces * 1.0)
    with pytest.raises(MeshEmpty, match="holds no triangles"):
        make_mesh(BOX.vertices, np.empty((0, 3), dtype=int))
    with pytest.raises(OutOfDomain, match="names vertex 99, but there are only 8"):
        make_mesh(BOX.vertices, [[0, 1, 99]])
    with pytest.raises(MeshEmpty, match="two corners at one place"):
        make_mesh(BOX.vertices, [[0, 0, 1]])


REAL = {
    "own_grille_nominal.stl": (1280, True),
    "own_grille_as_built.ply": (57588, True),
    "pyvista_nut.ply": (1046, True),
    "trimesh_featuretype.STL": (3476, True),
    "trimesh_plate_holes.STL": (1252, True),
    "trimesh_box.STL": (8954, True),
    "trimesh_sphere.ply": (1280, True),
}


@pytest.mark.parametrize("name", REAL)
def test_real_files(name, shared_data):
    mesh = read_mesh(shared_data(f"mesh/{name}").read_bytes())
    triangles, closed = REAL[name]
    assert (len(mesh.triangles), mesh.is_watertight) == (triangles, closed)
    theirs = trimesh.Trimesh(mesh.vertices_mm, mesh.triangles, process=False)
    assert mesh.volume_mm3 == pytest.approx(theirs.volume, rel=1e-9)
    assert mesh.area_mm2 == pytest.approx(theirs.area, rel=1e-9)
