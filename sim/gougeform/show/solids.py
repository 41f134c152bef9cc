"""Plain solids as triangles, and how any triangles are shaded: round where they are round, sharp at their corners.

Points (n, 3) mm, faces (m, 3) facing out; outlines are turned about z.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from gougeform.show.scene import Surface

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Mesh = tuple[Floats, Ints]

SHARP_DEG = 35.0
"""Faces that meet at more than this are a corner of the body, not a round."""
SAGITTA_MM = 0.003
"""How far a turned body's facets lie inside it at most; the wheel is one of them."""


def steps_round(radius: float, sagitta: float = SAGITTA_MM) -> int:
    """How many facets a circle (mm) needs."""
    return int(np.ceil(np.pi / np.arccos(1 - min(sagitta / max(radius, 1e-9), 0.5))))


def turned(outline: Floats, steps: int, whole: float = 2 * np.pi, begin: float = 0.0) -> Mesh:
    """Turn an outline (n, 2) of z and radius about z, through an angle (rad); the solid is on its right hand."""
    close = whole >= 2 * np.pi - 1e-9
    phi = begin + np.linspace(0.0, whole, steps + 1)
    z, r = outline.T
    points = np.stack([r[:, None] * np.cos(phi), r[:, None] * np.sin(phi), np.repeat(z[:, None], len(phi), 1)], -1)
    i, j = (x.ravel() for x in np.meshgrid(np.arange(len(z) - 1), np.arange(steps), indexing="ij"))
    k = (j + 1) % steps if close else j + 1
    a, b, c, d = i * len(phi) + j, i * len(phi) + k, (i + 1) * len(phi) + k, (i + 1) * len(phi) + j
    faces = np.concatenate([np.stack([a, b, c], -1)[r[i] > 0], np.stack([a, c, d], -1)[r[i + 1] > 0]])
    return points.reshape(-1, 3), faces


def rod(radius: float, start: Floats, stop: Floats, fine: float = 0.02) -> Mesh:
    """A round bar between two places (3,)."""
    length = float(np.linalg.norm(stop - start))
    points, faces = turned(np.array([[0, 0], [0, radius], [length, radius], [length, 0]]), steps_round(radius, fine))
    return points @ frame_along(stop - start).T + start, faces


def ball(radius: float, middle: Floats, fine: float = 0.02) -> Mesh:
    """A ball."""
    phi = np.linspace(np.pi, 0.0, max(steps_round(radius, fine) // 2, 8))
    outline = radius * np.stack([np.cos(phi), np.abs(np.sin(phi))], -1)
    outline[[0, -1], 1] = 0.0
    points, faces = turned(outline, 2 * len(phi))
    return points + middle, faces


def box(low: Floats, high: Floats) -> Mesh:
    """A box between two corners (3,)."""
    unit = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], float)
    quads = np.array([[0, 1, 3, 2], [4, 6, 7, 5], [0, 4, 5, 1], [2, 3, 7, 6], [0, 2, 6, 4], [1, 5, 7, 3]])
    return low + unit * (np.asarray(high) - low), np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])


def joined(*meshes: Mesh) -> Mesh:
    """Several meshes as one; they may run through each other."""
    count = np.cumsum([0, *(len(points) for points, _ in meshes)])
    return np.concatenate([p for p, _ in meshes]), np.concatenate(
        [f + n for (_, f), n in zip(meshes, count, strict=False)]
    )


def frame_along(way: Floats) -> Floats:
    """(3, 3): a turn that brings z along a direction (3,)."""
    z = np.asarray(way, float) / np.linalg.norm(way)
    x = np.cross([0.0, 1.0, 0.0] if abs(z[1]) < 0.9 else [1.0, 0.0, 0.0], z)
    x /= np.linalg.norm(x)
    return np.stack([x, np.cross(z, x), z], -1)


def _across(points: Floats, faces: Ints) -> tuple[Floats, Floats]:
    """Unit normals of faces (m, 3), and the angle of each face at its corners (m, 3) rad."""
    corner = points[faces]
    side = np.roll(corner, -1, 1) - corner
    normal = np.cross(side[:, 0], -side[:, 2])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-300)
    size = np.maximum(np.linalg.norm(side, axis=2), 1e-300)
    cosine = -(side * np.roll(side, 1, 1)).sum(2) / (size * np.roll(size, 1, 1))
    return normal, np.arccos(np.clip(cosine, -1.0, 1.0))


def surface(
    meaning: str, mesh: Mesh, *, when: Floats | None = None, before: str = "", sharp_deg: float = SHARP_DEG
) -> Surface:
    """The triangles with the normals they are shaded by: the mean of the faces that go on smoothly there.

    when: (n,) for the mesh's points. Points that no face uses are left out.
    """
    points, faces = mesh
    normal, angle = _across(points, faces)
    corner = faces.ravel()
    order = np.argsort(corner, kind="stable")
    count = np.bincount(corner, minlength=len(points))
    begin, many = np.cumsum(count) - count, count[corner]
    # Every corner against every corner at the same point.
    one = np.repeat(np.arange(len(corner)), many)
    other = order[np.repeat(begin[corner], many) + np.arange(many.sum()) - np.repeat(np.cumsum(many) - many, many)]
    close = (normal[one // 3] * normal[other // 3]).sum(1) > np.cos(np.radians(sharp_deg))
    one, other = one[close], other[close]
    weighed = normal[other // 3] * angle.ravel()[other, None]
    mean: Floats = np.stack([np.bincount(one, weighed[:, k], len(corner)) for k in range(3)], -1).astype(float)
    mean /= np.maximum(np.linalg.norm(mean, axis=1, keepdims=True), 1e-300)
    key = np.column_stack([corner, np.round(mean * 1e4)]).astype(np.int64)
    _, first, back = np.unique(key, axis=0, return_index=True, return_inverse=True)
    at = corner[first]
    return Surface(
        meaning,
        points[at],
        back.reshape(-1, 3).astype(np.intp),
        mean[first],
        None if when is None else when[at],
        before,
    )


def corners(mesh: Mesh, sharp_deg: float = SHARP_DEG) -> Floats:
    """(k, 2, 3): the sides at which two faces of a closed mesh meet sharply, for a drawing's outlines."""
    points, faces = mesh
    normal, _ = _across(points, faces)
    side = np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    order = np.lexsort(side.T)
    twin = np.flatnonzero((side[order][1:] == side[order][:-1]).all(1))
    a, b = order[twin], order[twin + 1]
    sharp = (normal[a // 3] * normal[b // 3]).sum(1) < np.cos(np.radians(sharp_deg))
    return points[side[a[sharp]]]


def chain(points: Floats) -> Floats:
    """(n - 1, 2, 3): the straight pieces between points (n, 3) in a row."""
    return np.stack([points[:-1], points[1:]], 1)
