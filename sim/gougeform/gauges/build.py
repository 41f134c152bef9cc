"""Gauges made into solids: a prism with a 45° chamfer at the bed, lowered where asked, text sunk or raised.

The prism is put together by hand, so that its chamfer is one plane a side; what is cut into it or set onto it reaches
1 mm past every face it goes through: no two faces ever lie nearly in one plane.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import get_parts, set_precision
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from gougeform.gauges.gauge import TEXT_DEPTH_MM, Gauge
from gougeform.gauges.options import Printing

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

_GRID = 1e-4  # mm: plan corners stand on this grid; a 32 bit STL of 400 mm still tells them apart
_SHORTEST = 0.02  # mm between neighbours of a plan
_SAME = 1e-4  # mm
_BENT = 0.005  # mm
_PAST = 1.0  # mm that tools reach past the faces they cut
_ROOT = 0.4  # mm that raised text reaches down into the plate


@dataclass(frozen=True, eq=False)
class Part3D:
    """A closed mesh facing outward, lying on z = 0: vertices (n, 3) mm and faces (m, 3)."""

    name: str
    vertices: Floats
    faces: Ints

    @property
    def volume(self) -> float:
        """mm³, by the divergence theorem."""
        a, b, c = (self.vertices[self.faces[:, i]] for i in range(3))
        return float((a * np.cross(b, c)).sum() / 6)

    def moved(self, x: float, y: float, quarter: bool = False) -> Part3D:
        """The body turned by 90° about the vertical if `quarter`, and moved."""
        v = self.vertices
        if quarter:
            v = np.stack([-v[:, 1], v[:, 0], v[:, 2]], -1)
        return Part3D(self.name, v + np.array([x, y, 0.0]), self.faces)


def build(gauge: Gauge, printing: Printing) -> Part3D:
    """The solid of a gauge, scaled, with its lower left corner at the origin."""
    from manifold3d import Manifold

    solid = _prism(gauge.outline, gauge.thickness, printing.chamfer_mm)
    for region, height in gauge.lowered:
        solid -= _extruded(region, height, gauge.thickness + _PAST)
    for text in gauge.lettering:
        if printing.raised and not text.mark:
            solid += _extruded(text.shape, text.top - _ROOT, text.top + TEXT_DEPTH_MM)
        else:
            solid -= _extruded(text.shape, text.top - TEXT_DEPTH_MM, text.top + _PAST)
    assert isinstance(solid, Manifold)
    # Sides shorter than a file of 32 bits can tell are taken out while the solid still knows its neighbours.
    mesh = solid.simplify(_SAME).to_mesh64()
    vertices, faces = np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts).astype(np.intp)
    vertices = printing.scale * (vertices - [*vertices[:, :2].min(0), 0.0])
    name = f"{gauge.kind}-{gauge.name}" if gauge.name else gauge.kind
    return Part3D(name, vertices, faces)


def clean(shape: BaseGeometry) -> list[Polygon]:
    """Polygons of a plan without corners that are nearly the same; outer rings anticlockwise, holes clockwise."""
    snapped = set_precision(shape, _GRID)
    return [
        orient(Polygon(_apart(p.exterior.coords), [_apart(r.coords) for r in p.interiors]))
        for p in get_parts(snapped)
        if isinstance(p, Polygon) and p.area > 1e-3
    ]


def _apart(ring: Any) -> Floats:
    """A closed ring without steps shorter than _SHORTEST."""
    points = np.asarray(ring, float)[:-1, :2]
    keep = [0]
    for k in range(1, len(points)):
        if np.hypot(*(points[k] - points[keep[-1]])) >= _SHORTEST:
            keep.append(k)
    if len(keep) > 3 and np.hypot(*(points[keep[-1]] - points[0])) < _SHORTEST:
        keep.pop()
    return points[keep]


def _rings(polygon: Polygon) -> list[Floats]:
    return [np.asarray(r.coords, float)[:-1] for r in (polygon.exterior, *polygon.interiors)]


def _extruded(shape: BaseGeometry, low: float, high: float) -> Any:
    from manifold3d import CrossSection, FillRule, Manifold

    rings = [ring for polygon in clean(shape) for ring in _rings(polygon)]
    if not rings:
        return Manifold()
    return CrossSection(rings, FillRule.EvenOdd).extrude(high - low).translate((0.0, 0.0, low))


def _prism(outline: Polygon, thickness: float, chamfer: float) -> Any:
    """The plan from z = 0 to `thickness`, its foot drawn in by `chamfer` at 45°."""
    from manifold3d import Manifold, Mesh64, triangulate

    (polygon,) = clean(outline)
    if not chamfer:
        return _extruded(polygon, 0.0, thickness)
    rings = [_smooth(ring, chamfer) for ring in _rings(polygon)]
    foot = [_drawn_in(ring, chamfer) for ring in rings]
    if any(len(_turned(*pair)) for pair in zip(rings, foot, strict=True)) or not Polygon(foot[0], foot[1:]).is_valid:
        raise ValueError(f"the plan is too fine for a chamfer of {chamfer:g} mm")
    n = sum(map(len, rings))
    flat, low = np.concatenate(rings), np.concatenate(foot)
    levels = [(low, 0.0), (flat, chamfer), (flat, thickness)]
    vertices = np.concatenate([np.column_stack([p, np.full(n, z)]) for p, z in levels])
    faces = [np.asarray(triangulate(rings)) + 2 * n, np.asarray(triangulate(foot))[:, ::-1]]
    start = 0
    for ring in rings:
        here = start + np.arange(len(ring))
        after = np.roll(here, -1)
        start += len(ring)
        for level in (0, n):
            a, b, c, d = here + level, after + level, after + level + n, here + level + n
            faces += [np.stack([a, b, c], -1), np.stack([a, c, d], -1)]
    mesh = Mesh64(vertices, np.concatenate(faces).astype(np.uint64))
    solid = Manifold(mesh)
    if solid.is_empty():
        raise ValueError(f"the plan gave no solid: {solid.status()}")
    return solid


def _smooth(ring: Floats, chamfer: float) -> Floats:
    """The ring without corners of rounded edges that lie so near each other that the chamfer would turn a side over.

    Leaving a corner out moves the outline by less than _BENT, or it is kept.
    """
    for _ in range(100):
        turned = _turned(ring, _drawn_in(ring, chamfer))
        for k in turned[:1]:
            before, here, after = ring[k - 1], ring[k], ring[(k + 1) % len(ring)]
            chord = after - before
            off = abs(chord[0] * (here - before)[1] - chord[1] * (here - before)[0]) / np.hypot(*chord)
            if off > _BENT:
                return ring
            ring = np.delete(ring, k, axis=0)
        if not len(turned):
            break
    return ring


def _turned(ring: Floats, foot: Floats) -> Ints:
    """Which sides of a ring point the other way once they are drawn in."""
    return np.flatnonzero(((np.roll(ring, -1, 0) - ring) * (np.roll(foot, -1, 0) - foot)).sum(1) <= 0)


def _drawn_in(ring: Floats, by: float) -> Floats:
    """The ring with every side moved into the material (on its left) by `by` mm; corner goes to corner."""
    side = np.roll(ring, -1, 0) - ring
    normal = np.stack([-side[:, 1], side[:, 0]], -1) / np.linalg.norm(side, axis=1, keepdims=True)
    before = np.roll(normal, 1, 0)
    return ring + by * (normal + before) / (1 + (normal * before).sum(1, keepdims=True))
