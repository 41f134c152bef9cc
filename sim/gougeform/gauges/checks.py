"""Measures gauges on the files that were written, with nothing but the file: no number is taken from what made it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_OPPOSED = -0.7  # two faces make a wall where their outward normals point apart by 135° or more
_STRAIGHT = 3e-5  # mm: a cut through two triangles of one plane gives three points of one line
_LIFT = 1e-4  # mm: rays start that far inside, so that they do not meet the face they start on


@dataclass(frozen=True)
class Checked:
    """What one body of a file is.

    closed, outward: as a printer needs it. bodies: separate pieces. volume: mm³. wall_mm: thinnest wall met by rays.
    overhang_deg: steepest overhang, 0 an upright wall, 90 a ceiling. crossings: pairs of triangles that cut each other.
    size: (3,) mm.
    """

    closed: bool
    outward: bool
    bodies: int
    volume: float
    wall_mm: float
    overhang_deg: float
    crossings: int
    size: tuple[float, float, float]


def read(path: Path) -> dict[str, Any]:
    """The bodies of an STL or 3MF file as trimesh meshes by name, corners merged where they are the same."""
    import trimesh

    if path.suffix.lower() == ".stl":
        return {path.stem: trimesh.load_mesh(path)}
    scene = trimesh.load_scene(path)
    made: dict[str, Any] = {}
    for node in scene.graph.nodes_geometry:
        turn, name = scene.graph[node]
        mesh = scene.geometry[name].copy()
        mesh.apply_transform(turn)
        mesh.merge_vertices()
        made[str(name)] = mesh
    return made


def inspect(
    mesh: Any, heights: Sequence[tuple[float, float]] = (), rays: int = 400, *, crossing: bool = True
) -> Checked:
    """Measure one mesh.

    heights: bands of z (mm) with lettering, whose strokes are no walls; wall rays that run inside them are left out.
    crossing: False leaves out the search for triangles that cut each other, the slowest part.
    """
    v, f = np.asarray(mesh.vertices, float), np.asarray(mesh.faces)
    return Checked(
        closed=bool(mesh.is_watertight and mesh.is_winding_consistent),
        outward=bool(mesh.volume > 0),
        bodies=int(mesh.body_count),
        volume=float(mesh.volume),
        wall_mm=thinnest_wall(v, f, heights, rays),
        overhang_deg=steepest_overhang(v, f),
        crossings=crossings(v, f) if crossing else 0,
        size=tuple(np.ptp(v, axis=0)),
    )


def steepest_overhang(v: Floats, f: NDArray[np.intp]) -> float:
    """The steepest downward face that does not lie on the bed, in degrees from upright; v (n, 3) mm, f (m, 3)."""
    normal, area = _normals(v, f)
    low = v[f][:, :, 2].max(1) > v[:, 2].min() + 1e-6
    down = low & (normal[:, 2] < -1e-6) & (area > 1e-9)
    return float(np.degrees(np.arcsin(np.clip(-normal[down, 2], 0, 1))).max(initial=0.0))


def thinnest_wall(v: Floats, f: NDArray[np.intp], bands: Sequence[tuple[float, float]] = (), rays: int = 400) -> float:
    """Thinnest wall in mm of v (n, 3) mm, f (m, 3): rays from the surface straight into the material to the far face.

    Rays start where a fixed sequence puts them, spread by area.
    """
    normal, area = _normals(v, f)
    side = np.abs(normal[:, 2]) < 0.5
    random = np.random.default_rng(20)
    corner = v[f]
    starts, ways = [], []
    for group in (np.flatnonzero(side & (area > 1e-6)), np.flatnonzero(~side & (area > 1e-6))):
        if not len(group):
            continue
        pick = random.choice(group, rays, p=area[group] / area[group].sum())
        a, b = random.random((2, rays, 1))
        a, b = np.where(a + b > 1, 1 - a, a), np.where(a + b > 1, 1 - b, b)
        p = corner[pick, 0] + a * (corner[pick, 1] - corner[pick, 0]) + b * (corner[pick, 2] - corner[pick, 0])
        starts.append(p)
        ways.append(-normal[pick])
    start, way = np.concatenate(starts), np.concatenate(ways)
    level = np.abs(way[:, 2]) < 0.5
    inside = np.zeros(len(start), bool)
    for low, high in bands:
        inside |= (start[:, 2] > low) & (start[:, 2] < high)
    keep = ~(level & inside)
    start, way = start[keep], way[keep]
    far, hit = first_hits(v, f, start + _LIFT * way, way)
    opposed = (hit >= 0) & ((normal[hit] * way).sum(1) > -_OPPOSED)
    return float((far[opposed] + _LIFT).min(initial=np.inf))


def first_hits(v: Floats, f: NDArray[np.intp], start: Floats, way: Floats) -> tuple[Floats, NDArray[np.intp]]:
    """How far (n,) mm rays go until the first triangle, and which (n,), -1 for none.

    Triangles whose boxes a ray misses are left out, the others go through Möller and Trumbore's test.
    """
    corner = v[f]
    low, high = corner.min(1) - 1e-6, corner.max(1) + 1e-6
    far, hit = np.full(len(start), np.inf), np.full(len(start), -1, np.intp)
    for k, (o, d) in enumerate(zip(start, way, strict=True)):
        slow = np.where(np.abs(d) < 1e-12, 1e-12, d)
        one, two = (low - o) / slow, (high - o) / slow
        near = np.flatnonzero(np.minimum(one, two).max(1) <= np.minimum(np.maximum(one, two).min(1), far[k]))
        a, e1, e2 = corner[near, 0], corner[near, 1] - corner[near, 0], corner[near, 2] - corner[near, 0]
        h = np.cross(d, e2)
        det = (e1 * h).sum(-1)
        with np.errstate(divide="ignore", invalid="ignore"):
            s = o - a
            u = (s * h).sum(-1) / det
            q = np.cross(s, e1)
            w = (q @ d) / det
            t = (e2 * q).sum(-1) / det
            ok = (np.abs(det) > 1e-14) & (u >= -1e-9) & (w >= -1e-9) & (u + w <= 1 + 1e-9) & (t > 0)
        if ok.any():
            best = int(np.where(ok, t, np.inf).argmin())
            far[k], hit[k] = t[best], near[best]
    return far, hit


def crossings(v: Floats, f: NDArray[np.intp]) -> int:
    """How many pairs of triangles f (m, 3) of v (n, 3) without a common corner cut each other."""
    from scipy.spatial import cKDTree
    from shapely import STRtree, box

    corner = v[f]
    low, high = corner.min(1), corner.max(1)
    boxes = box(low[:, 0], low[:, 1], high[:, 0], high[:, 1])
    i, j = STRtree(boxes).query(boxes)
    ok = (i < j) & (low[i, 2] < high[j, 2] - 1e-9) & (low[j, 2] < high[i, 2] - 1e-9)
    i, j = i[ok], j[ok]
    # Corners that lie in one place are one corner, however the file numbers them.
    same = cKDTree(v).query(v, k=1)[1]
    fi, fj = same[f[i]], same[f[j]]
    apart = ~(fi[:, :, None] == fj[:, None, :]).any((1, 2))
    i, j = i[apart], j[apart]
    return int((_pierces(corner[i], corner[j]) | _pierces(corner[j], corner[i])).sum())


def _pierces(one: Floats, other: Floats) -> NDArray[np.bool_]:
    """(n,): whether a side of triangle `one` (n, 3, 3) goes through the inside of `other`."""
    a = other[:, 0]
    e1, e2 = other[:, 1] - a, other[:, 2] - a
    n = np.cross(e1, e2)
    size = np.maximum(np.linalg.norm(n, axis=1), 1e-300)
    found = np.zeros(len(one), bool)
    for k in range(3):
        p, q = one[:, k], one[:, (k + 1) % 3]
        dp, dq = ((p - a) * n).sum(1) / size, ((q - a) * n).sum(1) / size
        through = (dp * dq < 0) & (np.abs(dp) > 1e-6) & (np.abs(dq) > 1e-6)
        t = np.where(through, dp / np.where(through, dp - dq, 1.0), 0.0)
        x = p + t[:, None] * (q - p) - a
        u = (np.cross(x, e2) * n).sum(1) / size**2
        w = (np.cross(e1, x) * n).sum(1) / size**2
        found |= through & (u > 1e-6) & (w > 1e-6) & (u + w < 1 - 1e-6)
    return found


def section(mesh: Any, z: float) -> Any:
    """What a level cut at z (mm) shows: shapely polygons in x and y."""
    from shapely import get_parts
    from shapely.geometry import LineString, Polygon
    from shapely.ops import polygonize, unary_union

    v, f = np.asarray(mesh.vertices, float), np.asarray(mesh.faces)
    above = v[f][:, :, 2] > z
    lines = []
    for k, tri in zip(np.flatnonzero(above.any(1) & ~above.all(1)), above[above.any(1) & ~above.all(1)], strict=True):
        ends = []
        for i in range(3):
            j = (i + 1) % 3
            if tri[i] != tri[j]:
                p, q = v[f[k, i]], v[f[k, j]]
                if f[k, i] > f[k, j]:  # the same sum for both triangles of a side, so that ends meet exactly
                    p, q = q, p
                ends.append(p[:2] + (z - p[2]) / (q[2] - p[2]) * (q[:2] - p[:2]))
        lines.append(LineString(ends))
    shape = Polygon()
    for part in sorted(get_parts(list(polygonize(unary_union(lines)))), key=lambda p: -Polygon(p.exterior).area):
        shape = shape.symmetric_difference(Polygon(part.exterior))
    return shape.simplify(_STRAIGHT)


def _normals(v: Floats, f: NDArray[np.intp]) -> tuple[Floats, Floats]:
    n = np.cross(v[f[:, 1]] - v[f[:, 0]], v[f[:, 2]] - v[f[:, 0]])
    size = np.linalg.norm(n, axis=1)
    return n / np.maximum(size, 1e-300)[:, None], size / 2
