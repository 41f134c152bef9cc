"""The whole tool as surface patches: ground head, fluted and plain shank, ferrule and handle.

Every patch is a bilinear quadrilateral whose corners lie on the surface, so a patch stands for the surface to within
its sagitta (SAGITTA_MM at most). Where a patch comes near the wood the search cuts it up further.
Tool frame, lengths in mm.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from gougeform.bar.handle import Handle
from gougeform.grind.gouge import Gouge
from gougeform.measure.edge import Edge, heel_places, measure_edge
from gougeform.measure.fan import build_fan

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Scouts = tuple[NDArray[np.float32], NDArray[np.float32]]

PARTS = ("wing", "bevel", "heel", "cheek", "flute", "shank", "ferrule", "handle")
WING, BEVEL, HEEL, CHEEK, FLUTE, SHANK, FERRULE, HANDLE = range(len(PARTS))
BEHIND_HEEL = (CHEEK, SHANK, FERRULE, HANDLE)

CHEEK_BEHIND_MM = 10.0
"""The bar's sides count as cheek down to this far behind the rearmost place of heel and edge, then as shank."""

HEEL_STRIP_MM = 1.0
"""The first part of the bar's sides behind the heel counts as heel; clearance behind the heel starts after it."""

SAGITTA_MM = 0.01
"""Largest distance of a patch's surface from the patch."""

_NOSE_MM = 2.5
_HEEL_STRIP = 0.05  # share of a ray next to the heel whose patches are called heel
_GROUP = 12  # patches to a group
_TOGETHER = 16  # vertices to a group


@dataclass(frozen=True, eq=False)
class Cloud:
    """Some patches of a body: which (m,), their vertices (k, 3), each once, and the vertices of each patch (m, 4).

    reach: (k,) mm, the largest radius of the patches that meet in each vertex; part: (k,) their part, the foremost.
    """

    patch: Ints
    vertices: Floats
    corner: Ints
    reach: Floats
    part: Ints

    @cached_property
    def _meets(self) -> tuple[Ints, Ints, Ints]:
        """Patches in the order of their vertices; where each vertex's begin, and how many there are."""
        order = np.argsort(self.corner.ravel(), kind="stable")
        count = np.bincount(self.corner.ravel(), minlength=len(self.vertices))
        return order // 4, np.cumsum(count) - count, count

    def meeting(self, row: Ints, vertex: Ints) -> tuple[Ints, Ints]:
        """For vertices (m,) the patches (numbered as in `patch`) that meet there, each with its vertex's row (m,)."""
        patch, begin, count = self._meets
        many = count[vertex]
        within = np.arange(many.sum()) - np.repeat(np.cumsum(many) - many, many)
        return np.repeat(row, many), patch[np.repeat(begin[vertex], many) + within]

    @cached_property
    def groups(self) -> tuple[Ints, Floats, Floats]:
        """Neighbouring vertices in groups (g, _TOGETHER), short ones filled up with their first, and a ball round each.

        middle (g, 3), radius (g,): where the wood is further from the middle than that, none of the patches that meet
        in the group's vertices is within its own radius of the wood by them.
        """
        groups = _grouped(self.vertices, np.zeros(len(self.vertices), np.intp), _TOGETHER)
        which = np.array([np.append(g, np.full(_TOGETHER - len(g), g[0])) for g in groups]).reshape(-1, _TOGETHER)
        at = self.vertices[which]
        middle = (at.min(1) + at.max(1)) / 2
        return which, middle, (np.linalg.norm(at - middle[:, None], axis=2) + self.reach[which]).max(1)


@dataclass(frozen=True, eq=False)
class Body:
    """n patches. corners: (n, 4, 3) in order round each patch, part: (n,) an index into PARTS.

    frames: the edge's (3, k) points and unit vectors at k stations: `edge` the edge tangent, `back` in the bevel square
    to it toward the heel, `out` the bevel's outward normal; edge = back × out.
    """

    corners: Floats
    part: Ints
    point: Floats
    edge: Floats
    back: Floats
    out: Floats
    stations: Edge
    handle: Handle
    bar_length: float

    @cached_property
    def middle(self) -> Floats:
        """(n, 3): a point of each patch."""
        return self.corners.mean(1)

    @cached_property
    def radius(self) -> Floats:
        """(n,): no point of a patch is further from its middle."""
        return np.linalg.norm(self.corners - self.middle[:, None], axis=2).max(1)

    def cloud(self, patch: Ints) -> Cloud:
        """Some of the patches as a cloud."""
        flat = np.round(self.corners[patch].reshape(-1, 3), 9)
        if not len(flat):
            return Cloud(patch, np.zeros((0, 3)), np.zeros((0, 4), np.intp), np.zeros(0), np.zeros(0, np.intp))
        vertices, corner = np.unique(flat, axis=0, return_inverse=True)
        corner = corner.reshape(-1, 4)
        reach, part = np.zeros(len(vertices)), np.full(len(vertices), len(PARTS))
        np.maximum.at(reach, corner.ravel(), np.repeat(self.radius[patch], 4))
        np.minimum.at(part, corner.ravel(), np.repeat(self.part[patch], 4))
        return Cloud(patch, vertices, corner, reach, part)

    @cached_property
    def near(self) -> Cloud:
        """The parts that are always close to the wood: everything down to the end of the cheek, and the flute."""
        return self.cloud(np.flatnonzero(self.part <= FLUTE))

    @cached_property
    def far(self) -> Cloud:
        """Shank, ferrule and handle."""
        return self.cloud(np.flatnonzero(self.part > FLUTE))

    @cached_property
    def vertex_of(self) -> tuple[Ints, int]:
        """(n, 4): a number for each patch's vertices, the same for patches that share one; and how many there are."""
        out = np.empty((len(self.part), 4), np.intp)
        out[self.near.patch] = self.near.corner
        out[self.far.patch] = len(self.near.vertices) + self.far.corner
        return out, len(self.near.vertices) + len(self.far.vertices)

    @cached_property
    def far_balls(self) -> tuple[Floats, Floats]:
        """Balls round neighbouring patches of `far`: middle (g, 3) and radius (g,); they hold every point of it."""
        mine = self.far.patch
        groups = _grouped(self.middle[mine], self.part[mine], _GROUP)
        middle, radius = np.empty((len(groups), 3)), np.empty(len(groups))
        for i, group in enumerate(groups):
            here = mine[group]
            middle[i] = (self.middle[here].min(0) + self.middle[here].max(0)) / 2
            radius[i] = (np.linalg.norm(self.middle[here] - middle[i], axis=1) + self.radius[here]).max()
        return middle, radius

    @cached_property
    def scouts(self) -> tuple[Scouts, Scouts]:
        """Few and many points (k, 3) of the surface, spread over all parts: they turn down most postures.

        With each their distances (stations, k) from the edge tangent of every station. All in single precision.
        """
        few = ((WING, 7), (HEEL, 11), (BEVEL, 6), (CHEEK, 10), (SHANK, 10), (FERRULE, 5), (HANDLE, 7))
        many = (
            (WING, 201),
            (HEEL, 90),
            (BEVEL, 80),
            (CHEEK, 70),
            (FLUTE, 20),
            (SHANK, 70),
            (FERRULE, 20),
            (HANDLE, 30),
        )
        return self._scouts(few), self._scouts(many)

    def _scouts(self, numbers: tuple[tuple[int, int], ...]) -> Scouts:
        points = self._spread(numbers)
        rel = points - self.point.T[:, None]
        along = np.einsum("nkj,jn->nk", rel, self.edge)
        radius = np.sqrt(np.maximum((rel * rel).sum(-1) - along**2, 1e-12))
        return points.astype(np.float32), radius.astype(np.float32)

    def _spread(self, numbers: tuple[tuple[int, int], ...]) -> Floats:
        chosen = []
        for part, many in numbers:
            mine = self.corners[self.part == part].reshape(-1, 3)
            if part == WING:
                mine = self.point.T[::2]
            if len(mine):
                chosen.append(_spread(mine, many))
        return np.concatenate(chosen)


def build_body(gouge: Gouge, *, fineness: float = 1.0, head_only: bool = False) -> Body:
    """The tool's surface; `fineness` 2 halves every patch, `head_only` leaves out what follows the ground head."""
    edge = measure_edge(gouge)
    handle = gouge.recipe.handle
    section, length = gouge.section, gouge.recipe.bar.length_mm
    pieces: list[tuple[Floats, Ints]] = [_ground(gouge, edge, fineness)]
    rear = float(min(edge.heel_line[2].min(), edge.point[2].min()))
    if not head_only:
        v = _spaced(heel_places(gouge), section.outline.point, 0.4 / fineness, section.outline.breaks)
        flat = section.outline.point(v)
        start = gouge.ground.heights(flat).z
        back = max(rear - CHEEK_BEHIND_MM, -length)
        strip = np.maximum(start - HEEL_STRIP_MM, back)
        pieces.append(_wall(flat, start, strip, _count(HEEL_STRIP_MM, 1.0, fineness), HEEL))
        pieces.append(_wall(flat, strip, np.full(len(v), back), _count(start.min() - back, 2.0, fineness), CHEEK))
        flute_end = -min(gouge.recipe.flute.length_mm, length)
        behind = np.full(len(v), min(back, -1e-9))
        pieces.append(_wall(flat, behind, np.full(len(v), -length), _count(length + back, 8.0, fineness), SHANK))
        u = np.linspace(section.u_left, section.u_right, int(17 * fineness))
        groove = section.flute_point(u)
        top = gouge.ground.heights(groove).z
        # Neighbouring patches must face the same way as the walls; only the points matter for distances.
        pieces.append(
            _wall(groove, top, np.full(len(u), flute_end), _count(top.min() - flute_end, 4.0, fineness), FLUTE)
        )
        if flute_end > -length:
            v = np.linspace(section.v_right, section.v_left + section.outline.count, int(25 * fineness))
            crown = section.outline.point(v)
            ones = np.ones(len(v))
            pieces.append(
                _wall(crown, ones * flute_end, -ones * length, _count(length + flute_end, 8.0, fineness), SHANK)
            )
        pieces += _behind(handle, length, fineness)
    corners = np.concatenate([c for c, _ in pieces])
    part = np.concatenate([p for _, p in pieces])
    back_ = np.cross(edge.tangent.T, edge.normal.T).T
    # Toward the heel: into the steel under the edge, away from the flute.
    flute = np.zeros_like(edge.normal)
    flute[:2] = section.flute_normal(edge.u).T
    back_ *= np.where((back_ * flute).sum(0) > 0, -1.0, 1.0)
    along = np.cross(back_.T, edge.normal.T).T
    return Body(corners, part, edge.point, along, back_, edge.normal, edge, handle, length)


def _ground(gouge: Gouge, edge: Edge, fineness: float) -> tuple[Floats, Ints]:
    """The ground surface on the rays of the section's fan, from edge to heel."""
    fan = build_fan(gouge.section)
    every = max(round(6 / fineness), 1)
    # The edge bends most at the nose: closer there, so that chords stay within 0.003 mm of it.
    nose = np.abs(edge.arc - edge.arc[edge.nose]) < _NOSE_MM
    u = np.unique(np.concatenate([edge.u[::every], edge.u[nose][:: max(round(2 / fineness), 1)], edge.u[-1:], [0.0]]))
    inner_columns = fan.at_flute(u[1:-1])
    inner = np.concatenate([gouge.section.lip(-1)[None], inner_columns.inner, gouge.section.lip(1)[None]])
    outer = np.concatenate([gouge.section.lip(-1)[None], inner_columns.outer, gouge.section.lip(1)[None]])
    # Rays through the flute crowd where it is steep: add rays through the outline.
    v = _spaced(heel_places(gouge), gouge.section.outline.point, 0.4 / fineness, gouge.section.outline.breaks)[1:-1]
    more = fan.at_outline(v)
    inner, outer = np.concatenate([inner, more.inner]), np.concatenate([outer, more.outer])
    phi = np.concatenate([[fan.phi_left], inner_columns.phi, [fan.phi_right], more.phi])
    order = np.argsort(phi, kind="stable")
    inner, outer = inner[order], outer[order]
    rows = np.concatenate([np.linspace(0.0, 1 - _HEEL_STRIP, int(13 * fineness)), [1.0]])
    grid = inner[:, None] + rows[None, :, None] * (outer - inner)[:, None]
    z = gouge.ground.heights(grid.reshape(-1, 2)).z.reshape(grid.shape[:2])
    points = np.concatenate([grid, z[..., None]], -1)
    corners = _quads(points)
    part = np.full((points.shape[0] - 1, len(rows) - 1), BEVEL)
    part[:, -1] = HEEL
    part[:, 0] = WING
    return corners, part.ravel()


def _wall(flat: Floats, start: Floats, stop: Floats, steps: int, part: int) -> tuple[Floats, Ints]:
    """Patches along the bar over a curve of the section (k, 2), from z = start to stop (k,)."""
    share = np.linspace(0.0, 1.0, steps + 1)
    z = start[:, None] + share * (stop - start)[:, None]
    grid = np.concatenate([np.repeat(flat[:, None], steps + 1, 1), z[..., None]], -1)
    return _quads(grid), np.full((len(flat) - 1) * steps, part)


def _behind(handle: Handle, length: float, fineness: float) -> list[tuple[Floats, Ints]]:
    """Ferrule and handle: two cylinders about the bar axis with their front faces, and the handle's end."""
    out = []
    begin = -length
    for radius, size, part in (
        (handle.ferrule_diameter_mm / 2, handle.ferrule_length_mm, FERRULE),
        (handle.handle_diameter_mm / 2, handle.handle_length_mm, HANDLE),
    ):
        count = int(np.ceil(fineness * np.pi / np.arccos(1 - min(SAGITTA_MM / radius, 1.0)))) + 1
        phi = np.linspace(0, 2 * np.pi, count)
        ring = radius * np.stack([np.cos(phi), np.sin(phi)], -1)
        ones = np.ones(count)
        out.append(_wall(ring, ones * begin, ones * (begin - size), _count(size, 20.0, fineness), part))
        for z in (begin, begin - size) if part == HANDLE else (begin,):
            share = np.linspace(0.0, 1.0, max(int(4 * fineness), 2))[None, :, None]
            disc = np.concatenate([ring[:, None] * share, np.full((count, share.shape[1], 1), z)], -1)
            out.append((_quads(disc), np.full((count - 1) * (share.shape[1] - 1), part)))
        begin -= size
    return out


def _quads(grid: Floats) -> Floats:
    """(m, 4, 3): the patches of a grid of points (a, b, 3)."""
    corners = np.stack([grid[:-1, :-1], grid[1:, :-1], grid[1:, 1:], grid[:-1, 1:]], 2)
    return corners.reshape(-1, 4, 3)


def _count(size: float, step: float, fineness: float) -> int:
    return max(int(np.ceil(size / step * fineness)), 1)


def _spaced(v: Floats, point: object, step: float, breaks: Floats) -> Floats:
    """Places (m,) out of v, `step` mm apart or closer, with every break between the first and the last."""
    p = point(v)  # type: ignore[operator]
    far = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(p, axis=0), axis=1))])
    even = np.interp(np.linspace(0, far[-1], int(np.ceil(far[-1] / step)) + 1), far, v)
    return np.unique(np.concatenate([even, breaks[(breaks > v[0]) & (breaks < v[-1])]]))


def _spread(points: Floats, many: int) -> Floats:
    """`many` of the points, each as far as can be from those before it."""
    chosen = [int(np.argmax(np.linalg.norm(points - points.mean(0), axis=1)))]
    far = np.linalg.norm(points - points[chosen[0]], axis=1)
    for _ in range(min(many, len(points)) - 1):
        chosen.append(int(far.argmax()))
        far = np.minimum(far, np.linalg.norm(points - points[chosen[-1]], axis=1))
    return points[chosen]


def _grouped(middle: Floats, part: Ints, most: int) -> list[Ints]:
    """Halve the points (n, 3) of each part (n,) across their longest side until a group has at most so many."""
    done: list[Ints] = []
    todo = [np.flatnonzero(part == p) for p in np.unique(part)]
    while todo:
        mine = todo.pop()
        if len(mine) <= most:
            done.append(mine)
            continue
        side = int(np.ptp(middle[mine], axis=0).argmax())
        mine = mine[np.argsort(middle[mine, side], kind="stable")]
        todo += [mine[: len(mine) // 2], mine[len(mine) // 2 :]]
    return done
