"""The whole tool as surface patches: ground head, fluted and plain shank, ferrule and handle.

Every patch is a quadrilateral whose corners lie on the surface. Where the surface bulges out it does so by no more than
SAGITTA_MM; hollow places lie behind their patches. Patches stand in blocks, a tree of balls over the blocks of each
part. Tool frame, lengths in mm.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gougeform.grind.gouge import Gouge
from gougeform.grind.ground import Ground
from gougeform.measure.edge import check_reached, station_places
from gougeform.measure.fan import Columns, build_fan, joined
from gougeform.numerics.compiled import compiled

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

PARTS = ("wing", "bevel", "heel", "cheek", "flute", "shank", "ferrule", "handle")
WING, BEVEL, HEEL, CHEEK, FLUTE, SHANK, FERRULE, HANDLE = range(len(PARTS))
BEHIND_HEEL = (CHEEK, SHANK, FERRULE, HANDLE)

CHEEK_BEHIND_MM = 10.0
"""The bar's sides count as cheek down to this far behind the rearmost place of heel and edge, then as shank."""

HEEL_STRIP_MM = 1.0
"""The first part of the bar's sides behind the heel counts as heel; clearance behind the heel starts after it."""

SAGITTA_MM = 0.0008
"""How far the surface may stand out of a patch."""

STATIONS = 401
_MOST_STEP = 0.4  # mm between columns, along edge and outline
_ROWS = np.append(np.linspace(0.0, 0.95, 13), 1.0)  # of a column: the first is the wing's, the last the heel's
_FINE = 400  # rays from which the columns are laid out
_ROUND_MM = 0.01  # how far the flats of ferrule and handle stand out of the circle
_KNOTS = np.array([0.0, 0.08, 0.22, 0.42, 0.68, 1.0])
"""Where along a column the surface itself is asked; between, its slopes tell (seen: 0.002 mm off at most)."""
SIDE = 5  # points along a side of a block, at most


class Tree(NamedTuple):
    """A body as compiled functions take it.

    ball: (n, 4) middle and radius of nodes, each before its children; skip: (n,) the node after its last child; block:
    (n,) of leaves, -1 for others. first: (9,) where each part's nodes begin. points: (b, SIDE, SIDE, 3), of which
    size (b, 2) count; part: (b,); reach: (b,) mm, the largest radius of a patch. frame: (k, 12) the edge's points and
    directions, at arc (k,) mm from the nose, which have turned by `turned` (k,) rad from the first on.
    """

    ball: Floats
    skip: Ints
    block: Ints
    first: Ints
    points: Floats
    size: Ints
    part: Ints
    reach: Floats
    frame: Floats
    arc: Floats
    turned: Floats


@dataclass(frozen=True, eq=False)
class Body:
    """Sheets of surface points (a, b, 3) with the part each belongs to.

    arc: (k,) mm along the edge from the nose, positive to the right; point, edge, back, out: (3, k) there, the edge's
    points and unit vectors: `edge` its tangent, `back` in the bevel square to it toward the heel, `out` the bevel's
    outward normal; edge = back × out. axis: mm, lengths of bar, ferrule and handle; radii: mm, half their thickness.
    """

    sheets: tuple[tuple[Floats, int], ...]
    arc: Floats
    point: Floats
    edge: Floats
    back: Floats
    out: Floats
    axis: tuple[float, float, float]
    radii: tuple[float, float, float]

    @cached_property
    def corners(self) -> Floats:
        """(n, 4, 3): the patches' corners, in order round each."""
        quads = [np.stack([g[:-1, :-1], g[1:, :-1], g[1:, 1:], g[:-1, 1:]], 2) for g, _ in self.sheets]
        return np.concatenate([q.reshape(-1, 4, 3) for q in quads])

    @cached_property
    def part(self) -> NDArray[np.intp]:
        """(n,): the part of each patch, an index into PARTS."""
        return np.concatenate([np.full((len(g) - 1) * (g.shape[1] - 1), part) for g, part in self.sheets])

    @cached_property
    def ends(self) -> tuple[float, float]:
        """First and last place of the edge, mm from the nose: the lips."""
        return float(self.arc[0]), float(self.arc[-1])

    @cached_property
    def tree(self) -> Tree:
        """The body for compiled functions."""
        points, sizes, parts = (np.concatenate(column) for column in zip(*map(_blocks, self.sheets), strict=True))
        order = np.argsort(parts, kind="stable")
        points, sizes, parts = points[order], sizes[order], parts[order]
        quads = np.stack([points[:, :-1, :-1], points[:, 1:, :-1], points[:, 1:, 1:], points[:, :-1, 1:]], 3)
        reach = np.linalg.norm(quads - quads.mean(3, keepdims=True), axis=-1).max((1, 2, 3))
        frame = np.concatenate([self.point, self.edge, self.back, self.out]).T.copy()
        turn = np.zeros((len(frame) - 1, 3, 3))
        for k in (3, 6, 9):
            turn += frame[:-1, k : k + 3, None] * frame[1:, None, k : k + 3]
        half = np.clip((np.trace(turn, axis1=1, axis2=2) - 1) / 2, -1.0, 1.0)
        turned = np.concatenate([[0.0], np.cumsum(np.arccos(half))])
        n = len(points)
        ball, skip, block, first = np.empty((2 * n, 4)), *np.full((2, 2 * n), -1), np.zeros(len(PARTS) + 1, np.int64)
        room = np.arange(n), np.empty(n), np.empty((2, 3)), np.empty((64, 2), np.int64)
        count = _balls(points, sizes, parts, ball, skip, block, first, *room)
        ball, skip, block = ball[:count], skip[:count], block[:count]
        return Tree(ball, skip, block, first, points, sizes, parts, reach, frame, self.arc, turned)


def build_body(gouge: Gouge, *, fineness: float = 1.0, head_only: bool = False) -> Body:
    """The tool's surface; `fineness` 2 halves every patch, `head_only` leaves out what follows the ground head.

    Raises InputError as `build_fan` does.
    """
    arc, frame, u = _edge(gouge)
    head = _ground(gouge, _columns(gouge, u, frame[0], fineness), fineness)
    if gouge.symmetric:
        head = np.concatenate([head[:0:-1] * [-1.0, 1.0, 1.0], head])
    sheets = [(head[:, :2], WING), (head[:, 1:-1], BEVEL), (head[:, -2:], HEEL)]
    recipe, length = gouge.recipe, gouge.recipe.bar.length_mm
    handle = recipe.handle
    if not head_only:
        sheets += _shank(gouge, head, length, min(recipe.flute.length_mm, length), fineness)
        sheets += _turned(-length, handle.ferrule_diameter_mm / 2, handle.ferrule_length_mm, FERRULE, fineness)
        begin = -length - handle.ferrule_length_mm
        sheets += _turned(begin, handle.handle_diameter_mm / 2, handle.handle_length_mm, HANDLE, fineness)
    outline = gouge.section.outline
    thick = (outline.on_middle_plane(below=False) - outline.on_middle_plane(below=True)) / 2
    return Body(
        tuple(sheets),
        arc,
        frame[0],
        frame[1],
        frame[2],
        frame[3],
        (length, handle.ferrule_length_mm, handle.handle_length_mm),
        (thick, handle.ferrule_diameter_mm / 2, handle.handle_diameter_mm / 2),
    )


def _edge(gouge: Gouge) -> tuple[Floats, list[Floats], Floats]:
    """Arc (k,) mm from the nose, and point, edge, back and out (3, k); with the places u (k,) on the flute."""
    section, u = gouge.section, station_places(gouge, STATIONS)
    flat = section.flute_point(u)
    nose = len(u) // 2
    half = gouge.alike and np.abs(flat * [-1.0, 1.0] - flat[::-1]).max() < 1e-12
    cut = gouge.ground.heights(flat[nose:] if half else flat)
    point, out = np.stack([*(flat[nose:] if half else flat).T, cut.z]), cut.normal
    if half:
        point, out = (np.concatenate([v[:, :0:-1] * [[-1.0], [1.0], [1.0]], v], 1) for v in (point, out))
    flute = np.zeros_like(out)
    flute[:2] = section.flute_normal(u).T
    edge = np.cross(flute.T, out.T).T
    edge /= np.linalg.norm(edge, axis=0)
    edge *= np.where((edge[:2].T * section.flute_tangent(u)).sum(1) < 0, -1.0, 1.0)
    back = np.cross(out.T, edge.T).T
    # Toward the heel: into the steel under the edge, away from the flute.
    away = np.where((back * flute).sum(0) > 0, -1.0, 1.0)
    far = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(point, axis=1), axis=0))])
    return far - far[nose], [point, edge * away, back * away, out], u


def _columns(gouge: Gouge, u: Floats, edge: Floats, fineness: float) -> Columns:
    """Rays of the section's fan, so close that neither edge nor outline bows out of its chords by SAGITTA_MM."""
    fan, outline = build_fan(gouge.section), gouge.section.outline
    first = np.pi if gouge.symmetric else fan.phi_left
    breaks = outline.breaks[(outline.breaks > gouge.section.v_left) & (outline.breaks < gouge.section.v_right)]
    known = np.concatenate([[np.pi], fan.at_outline(breaks).phi])
    fine = fan.at(np.unique(np.concatenate([np.linspace(first, fan.phi_right, _FINE), known[known > first]])))
    height = np.interp(fine.u, u, edge[2])
    steps = np.zeros(len(fine) - 1)
    for curve in (np.column_stack([fine.inner, height]), fine.outer):
        chord = np.diff(curve, axis=0)
        size = np.linalg.norm(chord, axis=1)
        along = chord / np.maximum(size, 1e-12)[:, None]
        turn = np.linalg.norm(np.diff(along, axis=0), axis=1)
        turn = np.maximum(np.append(turn, 0.0), np.append(0.0, turn))
        steps = np.maximum(steps, fineness * np.maximum(np.sqrt(size * turn / (8 * SAGITTA_MM)), size / _MOST_STEP))
    count = np.concatenate([[0.0], np.cumsum(steps)])
    even = np.interp(np.linspace(0.0, count[-1], int(np.ceil(count[-1])) + 1), count, fine.phi)
    phi = np.unique(np.concatenate([even, known[known >= first]]))
    phi = phi[np.append(True, np.diff(phi) > 1e-6)]
    inner = phi[(phi > fan.phi_left + 1e-6) & (phi < fan.phi_right - 1e-6)]
    every = joined(fan.at(inner), fan.lips)
    return every.take(every.phi >= first - 1e-12)


def _ground(gouge: Gouge, columns: Columns, fineness: float) -> Floats:
    """(columns, rows, 3): the ground surface from edge to heel, by cubics between places where it is asked.

    Raises InputError where steel is left standing.
    """
    rows = np.interp(np.linspace(0, 1, round((len(_ROWS) - 1) * fineness) + 1), np.linspace(0, 1, len(_ROWS)), _ROWS)
    way = columns.outer - columns.inner
    flat = columns.inner[:, None] + _KNOTS[:, None] * way[:, None]
    k = np.minimum(np.searchsorted(_KNOTS, rows, "right"), len(_KNOTS) - 1) - 1
    size = _KNOTS[k + 1] - _KNOTS[k]
    t = (rows - _KNOTS[k]) / size
    grid = columns.inner[:, None] + rows[:, None] * way[:, None]
    lowest = np.full((len(columns), len(rows)), np.inf)
    every = np.full(flat.shape[:2], np.inf)
    for one in gouge.ground.passes:
        cut = Ground((one,)).heights(flat.reshape(-1, 2))
        z, normal = cut.z.reshape(flat.shape[:2]), cut.normal.reshape(3, *flat.shape[:2])
        every = np.minimum(every, z)
        with np.errstate(divide="ignore", invalid="ignore"):
            rise = -(normal[0] * way[:, :1] + normal[1] * way[:, 1:]) / normal[2]
            a, b = z[:, k], z[:, k + 1]
            bend = (1 - t) * rise[:, k] - t * rise[:, k + 1]
            cubic = a + t * t * (3 - 2 * t) * (b - a) + t * (1 - t) * size * bend
        # Where the path's end takes over, or another part of the wheel, the surface has a kink.
        kind = cut.surface + 8.0 * np.isin(cut.s, one.path.knots[[0, -1]])
        kind = np.where(np.isfinite(cut.z), kind, np.nan).reshape(z.shape)
        i, j = np.nonzero((kind[:, k] != kind[:, k + 1]) & (t > 0))
        if len(i):
            cubic[i, j] = Ground((one,)).heights(grid[i, j]).z
        lowest = np.fmin(lowest, cubic)
    check_reached(gouge, flat.reshape(-1, 2), every.ravel())
    return np.concatenate([grid, lowest[..., None]], -1)


def _shank(gouge: Gouge, head: Floats, length: float, flute_end: float, fineness: float) -> list[tuple[Floats, int]]:
    """The bar behind the heel: strip, cheek and shank round the outline, the flute, and the bar's top behind it."""
    section = gouge.section
    heel, top = head[:, -1], head[:, 0]
    flat = heel[:, :2]
    back = np.full(len(flat), max(heel[:, 2].min() - CHEEK_BEHIND_MM, -length))
    strip = np.maximum(heel[:, 2] - HEEL_STRIP_MM, back)
    v = np.linspace(section.v_right, section.v_left + section.outline.count, round(40 * fineness))
    crown, groove = section.outline.point(v), slice(None, None, 4)
    ends = [np.full(len(v), -z) for z in (flute_end, length)]
    return [
        (_wall(flat, heel[:, 2], strip, _count(HEEL_STRIP_MM, 1.0, fineness)), HEEL),
        (_wall(flat, strip, back, _count(float(strip.max() - back[0]), 2.0, fineness)), CHEEK),
        (_wall(flat, back, np.full(len(flat), -length), _count(length + back[0], 8.0, fineness)), SHANK),
        (
            _wall(
                top[groove, :2],
                top[groove, 2],
                np.full(len(top[groove]), -flute_end),
                _count(float(top[:, 2].max()) + flute_end, 4.0, fineness),
            ),
            FLUTE,
        ),
        *(
            [(_wall(crown, ends[0], ends[1], _count(length - flute_end, 8.0, fineness)), SHANK)]
            if flute_end < length
            else []
        ),
    ]


def _wall(flat: Floats, start: Floats, stop: Floats, steps: int) -> Floats:
    """(k, steps + 1, 3): points along the bar over a curve of the section (k, 2), from z = start to stop (k,)."""
    z = start[:, None] + np.linspace(0.0, 1.0, steps + 1) * (stop - start)[:, None]
    return np.concatenate([np.repeat(flat[:, None], steps + 1, 1), z[..., None]], -1)


def _turned(begin: float, radius: float, size: float, part: int, fineness: float) -> list[tuple[Floats, int]]:
    """A cylinder about the bar's axis from z = begin back, and its two ends; its flats lie outside the circle."""
    sides = int(np.ceil(fineness * np.pi / np.arccos(1 / (1 + _ROUND_MM / radius))))
    phi = np.linspace(0, 2 * np.pi, sides + 1)
    ring = radius / np.cos(np.pi / sides) * np.stack([np.cos(phi), np.sin(phi)], -1)
    ends = [np.full(len(phi), z) for z in (begin, begin - size)]
    share = np.linspace(0.0, 1.0, round(2 * fineness) + 1)[:, None]
    discs = [np.concatenate([ring[:, None] * share, np.full((len(phi), len(share), 1), z[0])], -1) for z in ends]
    return [(_wall(ring, ends[0], ends[1], _count(size, 20.0, fineness)), part), *((disc, part) for disc in discs)]


def _count(size: float, step: float, fineness: float) -> int:
    return max(int(np.ceil(size / step * fineness)), 1)


def _blocks(sheet: tuple[Floats, int]) -> tuple[Floats, Ints, Ints]:
    """A sheet cut into blocks: points (b, SIDE, SIDE, 3), how many of them count (b, 2), and their part (b,)."""
    grid, part = sheet
    a, b = grid.shape[:2]
    i, j = (x.ravel() for x in np.meshgrid(*(np.arange(0, n - 1, SIDE - 1) for n in (a, b)), indexing="ij"))
    within = np.arange(SIDE)
    rows, columns = np.minimum(i[:, None] + within, a - 1), np.minimum(j[:, None] + within, b - 1)
    size = np.minimum(np.column_stack([a - i, b - j]), SIDE)
    return grid[rows[:, :, None], columns[:, None]], size, np.full(len(i), part)


@compiled
def _balls(
    points: Floats,
    size: Ints,
    part: Ints,
    ball: Floats,
    skip: Ints,
    block: Ints,
    first: Ints,
    order: Ints,
    key: Floats,
    box: Floats,
    todo: Ints,
) -> int:
    """Trees of balls over the blocks of each part, which come in order: see `Tree`; how many nodes."""
    n = len(points)
    low, high = box[0], box[1]
    node = begin = 0
    for number in range(len(first) - 1):
        first[number] = node
        end = begin
        while end < n and part[end] == number:
            end += 1
        todo[0, 0], todo[0, 1], left = begin, end, int(end > begin)
        begin = end
        while left:
            left -= 1
            lo, hi = todo[left, 0], todo[left, 1]
            for c in range(3):
                low[c], high[c] = np.inf, -np.inf
            for k in range(lo, hi):
                b = order[k]
                for i in range(size[b, 0]):
                    for j in range(size[b, 1]):
                        for c in range(3):
                            low[c], high[c] = min(low[c], points[b, i, j, c]), max(high[c], points[b, i, j, c])
            far = 0.0
            for k in range(lo, hi):
                b = order[k]
                for i in range(size[b, 0]):
                    for j in range(size[b, 1]):
                        square = 0.0
                        for c in range(3):
                            square += (points[b, i, j, c] - (low[c] + high[c]) / 2) ** 2
                        far = max(far, square)
            for c in range(3):
                ball[node, c] = (low[c] + high[c]) / 2
            ball[node, 3] = np.sqrt(far) + 1e-12
            skip[node] = node + 2 * (hi - lo) - 1
            if hi - lo == 1:
                block[node] = order[lo]
            else:
                side = 0
                for c in range(3):
                    side = c if high[c] - low[c] > high[side] - low[side] else side
                for k in range(lo, hi):
                    b = order[k]
                    key[b] = points[b, 0, 0, side] + points[b, size[b, 0] - 1, size[b, 1] - 1, side]
                for k in range(lo + 1, hi):  # few enough to be sorted so
                    b, at = order[k], k
                    while at > lo and key[order[at - 1]] > key[b]:
                        order[at] = order[at - 1]
                        at -= 1
                    order[at] = b
                middle = (lo + hi) // 2
                todo[left, 0], todo[left, 1], todo[left + 1, 0], todo[left + 1, 1] = middle, hi, lo, middle
                left += 2
            node += 1
    first[len(first) - 1] = node
    return node
