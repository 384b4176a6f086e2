"""Triangle meshes from bytes: STL (text or binary), PLY, OBJ.

The kind is read from the content, never from a file name. A binary STL may begin
with the word "solid"; its length gives it away. Declared counts are compared with
bounds before anything is allocated for them. Materials, textures and other files
that a mesh may name are never opened.

Vertices at exactly the same place are joined, since STL has no other way to say
that triangles touch; where that leaves the surface open, so are those that differ
by no more than the rounding of single-precision coordinates. A mesh is *watertight*
if every edge has two triangles that run along it in opposite directions; only then
are inside and outside known for certain. What is wrong with it is said in words, and
triangles that are left out are counted.

None of these formats fixes a unit: the caller says how many millimetres one is.
"""

from __future__ import annotations

import io
import re
from dataclasses import dataclass

import numpy as np
import trimesh
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from lab.metrology import arrays
from lab.metrology.errors import BadShape, MetrologyError, OutOfDomain

__all__ = [
    "MOST_BYTES",
    "MOST_TRIANGLES",
    "Mesh",
    "MeshEmpty",
    "MeshTooLarge",
    "MeshUnreadable",
    "make_mesh",
    "read_mesh",
]

MOST_BYTES = 100_000_000
MOST_TRIANGLES = 5_000_000
_SINGLE_ROUNDING = 4.0 * float(np.finfo(np.float32).eps)
_STL_HEADER = 84
_STL_TRIANGLE = 50
_PLY_ELEMENT = re.compile(rb"^element\s+(vertex|face)\s+(\d+)\s*$", re.MULTILINE)


class MeshUnreadable(MetrologyError):
    """The bytes are not a mesh in a format that is read here."""


class MeshTooLarge(MetrologyError):
    """The file or the mesh exceeds what may be read."""


class MeshEmpty(MetrologyError):
    """The file holds no triangle with an area."""


@dataclass(frozen=True, slots=True, eq=False)
class Mesh:
    """A triangle mesh in millimetres.

    Attributes
    ----------
    vertices_mm : ndarray, shape (V, 3)
        No two of them at the same place.
    triangles : ndarray of int, shape (T, 3)
        Indices of vertices, anticlockwise seen from outside if well made.
    kind : str
        "stl", "ply", "obj", or "arrays".
    is_watertight : bool
        Every edge has two triangles that run along it in opposite directions, and
        the volume is positive.
    size_mm : ndarray, shape (3,)
        Extents along x, y and z.
    area_mm2, volume_mm3 : float
        The volume means something only if watertight.
    left_out_triangles : int
        Those with two corners at the same place.
    findings : tuple of str
        What is wrong with the mesh, in words; empty if nothing.
    """

    vertices_mm: NDArray[np.float64]
    triangles: NDArray[np.int64]
    kind: str
    is_watertight: bool
    size_mm: NDArray[np.float64]
    area_mm2: float
    volume_mm3: float
    left_out_triangles: int
    findings: tuple[str, ...]


def read_mesh(
    content: bytes,
    *,
    millimetres_per_unit: float = 1.0,
    most_bytes: int = MOST_BYTES,
    most_triangles: int = MOST_TRIANGLES,
) -> Mesh:
    r"""Read a mesh from the bytes of an STL, PLY or OBJ file.

    Parameters
    ----------
    content : bytes
        The whole file.
    millimetres_per_unit : float
        1 for files in millimetres, 25.4 for inches.
    most_bytes, most_triangles : int
        What is refused beyond.

    Returns
    -------
    mesh : Mesh

    Raises
    ------
    MeshUnreadable
        If it is none of these formats, or broken.
    MeshTooLarge
        If it exceeds a bound.
    MeshEmpty
        If it holds no triangles.
    NotFinite
        If a coordinate is NaN or infinite.
    OutOfDomain
        If the unit isn't above zero.

    Examples
    --------
    >>> text = b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n"
    >>> mesh = read_mesh(text)
    >>> mesh.kind, len(mesh.triangles), mesh.is_watertight
    ('obj', 1, False)
    """
    unit = arrays.positive("millimetres_per_unit", millimetres_per_unit)
    if len(content) > most_bytes:
        raise MeshTooLarge(
            f"The file has {len(content):,} bytes; at most {most_bytes:,} are read."
        )
    kind = _kind_of(content)
    _refuse_declared(content, kind, most_triangles)
    vertices, triangles = _load(content, kind)
    if len(triangles) > most_triangles:
        raise MeshTooLarge(
            f"The mesh has {len(triangles):,} triangles; at most {most_triangles:,} "
            "are read. Reduce it beforehand."
        )
    return make_mesh(vertices * unit, triangles, kind=kind)


def make_mesh(
    vertices_mm: ArrayLike, triangles: ArrayLike, *, kind: str = "arrays"
) -> Mesh:
    """Make a mesh from arrays, join vertices, and say what is wrong with it.

    Parameters
    ----------
    vertices_mm : array_like, shape (V, 3)
        Millimetres.
    triangles : array_like of int, shape (T, 3)
        Indices of vertices.
    kind : str
        Where it came from.

    Returns
    -------
    mesh : Mesh

    Raises
    ------
    BadShape, NotFinite, TooFew
        If the arrays aren't what they should be.
    OutOfDomain
        If an index points at no vertex.
    MeshEmpty
        If no triangle has three corners.

    Examples
    --------
    >>> mesh = make_mesh([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2]])
    >>> mesh.area_mm2
    0.5
    """
    vertices = arrays.points("vertices_mm", vertices_mm)
    faces = np.asarray(triangles)
    if faces.ndim != 2 or faces.shape[1] != 3 or faces.dtype.kind not in "iu":
        raise BadShape(
            f"triangles must be whole numbers of shape (T, 3); they are "
            f"{faces.dtype.name} of shape {faces.shape}."
        )
    if len(faces) == 0:
        raise MeshEmpty("The mesh holds no triangles.")
    if faces.min() < 0 or faces.max() >= len(vertices):
        raise OutOfDomain(
            f"A triangle names vertex {int(faces.max())}, but there are only "
            f"{len(vertices)} vertices."
        )
    joined, faces = _joined(vertices, faces.astype(np.int64))
    if _edge_findings(faces[_whole(faces)]):
        joined, faces = _joined_within_rounding(joined, faces)
    whole = _whole(faces)
    if not np.any(whole):
        raise MeshEmpty("Every triangle of the mesh has two corners at one place.")
    left_out = int(np.count_nonzero(~whole))
    return _described(joined, faces[whole], kind, left_out)


def _kind_of(content: bytes) -> str:
    """Tell the format from the content."""
    if len(content) >= _STL_HEADER:
        declared = int.from_bytes(content[80:_STL_HEADER], "little")
        if len(content) == _STL_HEADER + _STL_TRIANGLE * declared:
            return "stl"
    start = content[:1000].lstrip()
    if start.startswith(b"ply"):
        return "ply"
    if start[:5].lower() == b"solid" and b"facet" in content[:2000].lower():
        return "stl_ascii"
    if re.search(rb"^v\s+[-+.\d]", content, re.MULTILINE):
        return "obj"
    raise MeshUnreadable(
        "The file is no STL, PLY or OBJ mesh (or a binary STL that was cut short). "
        "Export it again in one of these formats."
    )


def _refuse_declared(content: bytes, kind: str, most_triangles: int) -> None:
    """Refuse what a file says it holds before anything is allocated for it."""
    if kind == "stl":
        counts = [int.from_bytes(content[80:_STL_HEADER], "little")]
    elif kind == "ply":
        header = content[: content.find(b"end_header") + 1]
        if not header:
            raise MeshUnreadable("The PLY file has no end_header line.")
        counts = [int(found[1]) for found in _PLY_ELEMENT.findall(header)]
    else:
        counts = []
    # A mesh has about half as many vertices as triangles; unjoined, three times.
    if counts and max(counts) > 3 * most_triangles:
        raise MeshTooLarge(
            f"The file declares {max(counts):,} elements; at most {most_triangles:,} "
            "triangles are read."
        )


def _load(content: bytes, kind: str) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    try:
        scene = trimesh.load_scene(
            io.BytesIO(content),
            file_type=kind,
            resolver=None,
            process=False,
            skip_materials=True,
        )
        parts = [
            (np.asarray(part.vertices, dtype=np.float64), np.asarray(part.faces))
            for part in scene.geometry.values()
            if len(getattr(part, "faces", ()))
        ]
    except Exception as broken:
        # A damaged or hostile file can break the reader in any way; to the caller
        # they are all the same refusal.
        raise MeshUnreadable(
            f"The {kind[:3].upper()} file is damaged and can't be read."
        ) from broken
    if not parts:
        raise MeshEmpty("The file holds no triangles.")
    offsets = np.cumsum([0, *(len(vertices) for vertices, _ in parts)])
    return (
        np.vstack([vertices for vertices, _ in parts]),
        np.vstack(
            [faces + shift for (_, faces), shift in zip(parts, offsets, strict=False)]
        ),
    )


def _joined(
    vertices: NDArray[np.float64], faces: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Join vertices at exactly the same place, and drop those of no triangle."""
    used = np.unique(faces)
    renumber = np.zeros(len(vertices), dtype=np.int64)
    places, index = np.unique(vertices[used] + 0.0, axis=0, return_inverse=True)
    renumber[used] = index.reshape(-1)
    return places, renumber[faces]


def _joined_within_rounding(
    vertices: NDArray[np.float64], faces: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Join vertices that differ by the rounding of single precision."""
    tolerance = _SINGLE_ROUNDING * float(np.abs(vertices).max())
    pairs = cKDTree(vertices).query_pairs(tolerance, output_type="ndarray")
    if len(pairs) == 0:
        return vertices, faces
    count = len(vertices)
    links = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), (count, count))
    groups, labels = connected_components(links, directed=False)
    first = np.full(groups, count, dtype=np.int64)
    np.minimum.at(first, labels, np.arange(count))
    return vertices[first], labels.astype(np.int64)[faces]


def _whole(faces: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Say which triangles have three different corners."""
    first, second, third = faces.T
    return np.asarray(
        (first != second) & (second != third) & (third != first), dtype=np.bool_
    )


def _described(
    vertices: NDArray[np.float64],
    faces: NDArray[np.int64],
    kind: str,
    left_out: int,
) -> Mesh:
    corners = vertices[faces] - vertices.mean(axis=0)
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    volume = float(np.einsum("ij,ij->", corners[:, 0], normals)) / 6.0
    findings = _edge_findings(faces)
    is_closed = not findings
    if is_closed and volume <= 0.0:
        findings.append(
            "The surface is inside out: its triangles run clockwise seen from outside."
        )
    is_watertight = not findings
    if left_out:
        findings.append(f"{left_out} triangle(s) without area were left out.")
    return Mesh(
        vertices_mm=vertices,
        triangles=faces,
        kind="stl" if kind == "stl_ascii" else kind,
        is_watertight=is_watertight,
        size_mm=np.ptp(vertices, axis=0),
        area_mm2=0.5 * float(np.linalg.norm(normals, axis=1).sum()),
        volume_mm3=volume,
        left_out_triangles=left_out,
        findings=tuple(findings),
    )


def _edge_findings(faces: NDArray[np.int64]) -> list[str]:
    """Say which edges don't have two triangles in opposite directions."""
    if len(faces) == 0:
        return []
    edges = np.vstack([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    span = int(faces.max()) + 1
    low, high = edges.min(axis=1), edges.max(axis=1)
    forward = np.where(edges[:, 0] < edges[:, 1], 1, -1)
    _, index, counts = np.unique(
        low * span + high, return_inverse=True, return_counts=True
    )
    balance = np.bincount(index.reshape(-1), weights=forward, minlength=len(counts))
    open_edges = int(np.count_nonzero(counts == 1))
    crowded = int(np.count_nonzero(counts > 2))
    turned = int(np.count_nonzero((counts == 2) & (balance != 0)))
    findings = []
    if open_edges:
        findings.append(
            f"The surface is open: {open_edges} edge(s) have a triangle on one side "
            "only."
        )
    if crowded:
        findings.append(f"{crowded} edge(s) have more than two triangles.")
    if turned:
        findings.append(
            f"{turned} edge(s) have triangles that face opposite ways: some are "
            "turned over."
        )
    return findings
