"""A scan as triangles: read safely, its unit made sure of, its normals calmed. Lengths mm."""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.take.files import checked_scale, file_bytes

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

MOST_BYTES = 400_000_000
MOST_FACES = 3_000_000
_FEWEST_FACES = 400
_LENGTHS, _THICK = (12.0, 700.0), (3.0, 70.0)
_SMOOTHINGS = 4


@dataclass(frozen=True, eq=False)
class ScannedMesh:
    """vertices (n, 3) mm, faces (m, 3), and what the file is called."""

    vertices: Floats
    faces: Ints
    name: str = ""

    @cached_property
    def face_normals(self) -> Floats:
        """(m, 3): out of the steel, as long as twice the face's area."""
        a, b, c = (self.vertices[self.faces[:, i]] for i in range(3))
        return np.cross(b - a, c - a)

    @cached_property
    def calm_normals(self) -> Floats:
        """(n, 3) unit normals at vertices, averaged over rings of neighbours: noise tilts single faces by far more."""
        from scipy.sparse import coo_matrix

        n = len(self.vertices)
        i, j = (np.concatenate([self.faces[:, k] for k in order]) for order in ((0, 1, 2), (1, 2, 0)))
        beside = coo_matrix(
            (np.ones(2 * len(i)), (np.concatenate([i, j]), np.concatenate([j, i]))), shape=(n, n)
        ).tocsr()
        beside.data[:] = 1.0
        normal = np.zeros((n, 3))
        for k in range(3):
            np.add.at(normal, self.faces[:, k], self.face_normals)
        for _ in range(_SMOOTHINGS):
            normal = normal / np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None]
            normal = normal + beside @ normal
        return np.asarray(normal / np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None])

    @cached_property
    def weights(self) -> Floats:
        """(n,) mm²: a third of the area of the faces around each vertex."""
        area = np.linalg.norm(self.face_normals, axis=1) / 2
        return np.asarray(np.bincount(self.faces.ravel(), np.repeat(area / 3, 3), len(self.vertices)), float)


def read_mesh(path: str | Path, scale_mm: float | None = None) -> ScannedMesh:
    """An STL, PLY or OBJ file. scale_mm: mm that one unit of the file is; without it the numbers are mm.

    These files say no unit: a size that no bar has in mm is refused with what it would be in inches or metres. Raises
    InputError, also for files that are empty, huge, cut off or hold no triangles.
    """
    checked_scale(scale_mm)
    data = file_bytes(path, (".stl", ".ply", ".obj"), MOST_BYTES, "scan")
    kind = Path(path).suffix.lower().lstrip(".")
    try:
        vertices, faces = _loaded(data, kind)
        vertices = vertices * (scale_mm or 1.0)
        mesh = _whole(vertices, faces, str(path))
        _bar_sized(mesh, scale_mm is not None)
    except InputError as error:
        raise error.in_file(str(path)) from None
    return mesh


def _loaded(data: bytes, kind: str) -> tuple[Floats, Ints]:
    import trimesh

    if kind == "stl" and not data[:1024].lstrip().lower().startswith(b"solid"):
        count = int.from_bytes(data[80:84], "little") if len(data) >= 84 else 0
        if len(data) < 84 + 50 * count or count == 0:
            raise InputError("", "is cut off: it has fewer triangles than it says", "copy it again")
    try:
        found: Any = trimesh.load(io.BytesIO(data), file_type=kind, force="mesh", process=False, skip_materials=True)
        vertices, faces = np.asarray(found.vertices, float), np.asarray(found.faces, np.intp)
    except InputError:
        raise
    except Exception as error:
        raise InputError(
            "", f"cannot be read as {kind.upper()}: {str(error)[:60] or type(error).__name__}", "save the scan again"
        ) from None
    if not len(faces):
        raise InputError("", "holds no triangles", "save it as a mesh, not as points")
    return vertices, faces


def _whole(vertices: Floats, faces: Ints, name: str) -> ScannedMesh:
    """Without double vertices, faces without area, and parts that are not the tool."""
    if not np.isfinite(vertices).all():
        raise InputError("", "has places that are not numbers", "save the scan again")
    if len(faces) > MOST_FACES:
        raise InputError(
            "", f"has {len(faces)} triangles, allowed are {MOST_FACES}", "save fewer: 0.1 mm is fine enough"
        )
    size = max(float(np.ptp(vertices, axis=0).max()), 1e-300)
    _, first, inverse = np.unique(
        np.round(vertices / (1e-7 * size)).astype(np.int64), axis=0, return_index=True, return_inverse=True
    )
    faces = inverse.reshape(-1)[faces]
    faces = faces[(faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])]
    vertices = vertices[first]
    if len(faces) < _FEWEST_FACES:
        raise InputError("", f"has only {len(faces)} triangles", "scan finer: 0.1 to 0.5 mm")
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    joined = coo_matrix(
        (np.ones(len(faces) * 2), (np.r_[faces[:, 0], faces[:, 1]], np.r_[faces[:, 1], faces[:, 2]])),
        shape=(len(vertices),) * 2,
    )
    part = connected_components(joined, directed=False)[1]
    sizes = np.bincount(part[faces[:, 0]])
    keep = part[faces[:, 0]] == sizes.argmax()
    if keep.sum() < 0.6 * len(faces):
        raise InputError("", "is in several parts", "save the tool alone, in one piece")
    used, faces = np.unique(faces[keep], return_inverse=True)
    return ScannedMesh(vertices[used], faces.reshape(-1, 3), name)


def _bar_sized(mesh: ScannedMesh, scaled: bool) -> None:
    rel = mesh.vertices - mesh.vertices.mean(0)
    ways = np.linalg.eigh(rel.T @ rel)[1]
    spans = np.sort([float(np.ptp(rel @ ways[:, i])) for i in range(3)])
    long, thick = spans[2], spans[1]
    if _LENGTHS[0] <= long <= _LENGTHS[1] and _THICK[0] <= thick <= _THICK[1]:
        return
    likely = ""
    for word, by in (("in inches it", 25.4), ("in metres it", 1000.0), ("in cm it", 10.0)):
        if not likely and _THICK[0] <= thick * by <= _THICK[1] and _LENGTHS[0] <= long * by <= _LENGTHS[1]:
            likely = f" ({word} would be {thick * by:.3g} mm)"
    raise InputError(
        "",
        f"is {long:.3g} long and {thick:.3g} thick, and no bar is that in mm{likely}",
        "check the scale you gave" if scaled else "give `scale_mm`: 25.4 for inches, 1000 for metres, 10 for cm",
    )
