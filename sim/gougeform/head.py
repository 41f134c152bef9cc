"""The ground face of a gouge as triangles: a graph z = h(x, y) over the section, exact at every vertex.

Vertices lie on the rays of `gougeform.fan`, so a triangle never leaves the strip between two neighbouring rays and
the face cannot fold over. Edge, heel and the creases between grinds are chains of vertices.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gougeform.columns import LEAST_GAP, far_enough, first_columns
from gougeform.errors import InputError
from gougeform.fan import Columns, Fan, joined
from gougeform.grind import Cut, Ground
from gougeform.strips import Pair, polylines, side_by_side, zipped_pairs
from gougeform.winners import Height, hand_overs, surfaces

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

_SNAP = 2e-3  # mm: a block of one grind shorter than this along a ray is left out
_ROUNDS = 14
_JUMP = 0.05  # of a path's parameter: neighbouring places on a smooth surface are cut by poses closer than this
_MOST_VERTICES = 1_500_000
_WHERE_TO_LOOK = (1 - np.cos(np.linspace(0, np.pi, 9))) / 2  # closer together near edge and heel: narrow lands
_SAFETY = 0.9  # of the tolerance: between the places that are measured a facet may be a little further off
_ROW_SHARE = 0.35  # of the tolerance along a column: a hollow face's facets all lie ahead of it, which adds volume


@dataclass(frozen=True, eq=False)
class Head:
    """The ground face.

    columns: n rays; chain k is the vertices start[k] … start[k + 1] - 1, from flute to outline (one at a lip).
    points: (N, 2) and z: (N,) mm. faces: (m, 3), facing up the bar; grind: (m,) which grind made each.
    creases: vertex numbers along each line where one grind hands over to the next. off: largest distance (mm) of a
    facet from the surface, measured square to it.
    """

    columns: Columns
    start: Ints
    points: Floats
    z: Floats
    faces: Ints
    grind: Ints
    creases: tuple[Ints, ...]
    off: float

    @property
    def edge(self) -> Ints:
        """(n,) vertices from left to right lip along the flute."""
        return self.start[:-1]

    @property
    def heel(self) -> Ints:
        """(n,) vertices from left to right lip along the outline."""
        return self.start[1:] - 1


@dataclass(frozen=True, eq=False)
class _Chains:
    """Vertices on columns, column after column: which column, t along it, z, and the grind of the stretch after it.

    The last vertex of a column has grind -1.
    """

    columns: Columns
    column: Ints
    t: Floats
    z: Floats
    grind: Ints

    @property
    def points(self) -> Floats:
        return self.columns.point(self.column, self.t)

    @property
    def start(self) -> Ints:
        return np.searchsorted(self.column, np.arange(len(self.columns) + 1))

    def with_rows(self, after: Ints, z: Floats) -> tuple[_Chains, Ints]:
        """One more vertex in the middle of each stretch that begins at vertices `after`, at heights z.

        Also returns the vertices at which the halves begin.
        """
        at = after + 1
        t = (self.t[after] + self.t[at]) / 2
        first = after + np.arange(len(after))
        return _Chains(
            self.columns,
            np.insert(self.column, at, self.column[after]),
            np.insert(self.t, at, t),
            np.insert(self.z, at, z),
            np.insert(self.grind, at, self.grind[after]),
        ), np.sort(np.concatenate([first, first + 1]))

    def with_columns(self, other: _Chains) -> _Chains:
        """Both sets of columns, in order of phi."""
        phi = np.concatenate([self.columns.phi, other.columns.phi])
        place = np.empty(len(phi), np.intp)
        place[np.argsort(phi, kind="stable")] = np.arange(len(phi))
        column = place[np.concatenate([self.column, other.column + len(self.columns)])]
        order = np.argsort(column, kind="stable")
        t, z, grind = (np.concatenate([getattr(c, n) for c in (self, other)])[order] for n in ("t", "z", "grind"))
        return _Chains(joined(self.columns, other.columns), column[order], t, z, grind)


@dataclass(frozen=True, eq=False)
class _Known:
    """The surface at places measured before, as x + iy: z (mm), |n_z| of its normal, pose s, and the grind."""

    place: NDArray[np.complex128]
    z: Floats
    steep: Floats
    s: Floats
    grind: NDArray[np.int8]

    @classmethod
    def nothing(cls) -> _Known:
        none = np.zeros(0)
        return cls(none.astype(complex), none, none, none, none.astype(np.int8))

    def at(self, ground: Ground, points: Floats) -> _Known:
        """The surface at points (n, 2), computed where it is not known yet."""
        place = points[:, 0] + 1j * points[:, 1]
        order = np.argsort(self.place)
        found = np.searchsorted(self.place, place, sorter=order)
        source = order[np.minimum(found, len(order) - 1)] if len(order) else np.zeros(len(place), np.intp)
        new = np.flatnonzero(self.place[source] != place) if len(order) else np.arange(len(place))
        columns = [x[source] if len(order) else np.zeros(len(place), x.dtype) for x in (self.z, self.steep, self.s, self.grind)]
        if len(new):
            cut = reached(ground, points[new])
            for column, value in zip(columns, (cut.z, np.abs(cut.normal[2]), cut.s, cut.grind), strict=True):
                column[new] = value
        return _Known(place, *columns)


def reached(ground: Ground, points: Floats) -> Cut:
    """The cut at section points (n, 2). Raises InputError where the wheel never touches the bar."""
    cut = ground.heights(points)
    missed = np.flatnonzero(~np.isfinite(cut.z))
    if len(missed):
        x, y = points[missed[0]]
        raise InputError(
            "grind",
            f"no pose of the path brings the wheel to the bar at x = {x:.2f}, y = {y:.2f} mm,"
            " so the ground surface has a hole there",
            "a wider wheel, a longer path, or another setting of the jig",
        )
    return cut


def build_head(fan: Fan, ground: Ground, tolerance: float) -> Head:
    """The ground face, no facet further than `tolerance` mm from the surface.

    Raises InputError where the surface has a hole or a step.
    """
    alone = surfaces(ground)
    curvature = max(one.wheel.curvature for one in ground.passes)
    # Rows far enough apart that the wheel's own hollow between them takes no more than their share.
    spacing = np.sqrt(8 * 0.8 * _ROW_SHARE * tolerance / max(curvature, 1e-4))
    chains = _first_chains(first_columns(fan, ground, alone, tolerance), ground, alone, tolerance, spacing)
    known = _Known.nothing()
    for _ in range(_ROUNDS):
        faces, strip, grind, segments = _triangles(chains)
        known, off, bad = _measure(chains, faces, strip, ground, tolerance, known)
        if not len(bad):
            won = known.grind[-len(faces) :].astype(np.intp)
            grind = np.where(grind < 0, won, grind)
            return Head(
                chains.columns, chains.start, chains.points, chains.z, faces, grind, polylines(segments), off
            )
        columns = chains.columns
        wide = far_enough(columns.take(bad), columns.take(bad + 1))
        if not wide.any() or len(chains.t) > _MOST_VERTICES:
            break
        bad = bad[wide]
        more = fan.at((columns.phi[bad] + columns.phi[bad + 1]) / 2)
        chains = chains.with_columns(_first_chains(more, ground, alone, tolerance, spacing))
    raise InputError(
        "tolerance",
        f"given {tolerance:g} mm: the ground surface has a step or too sharp a ridge to be meshed that closely",
        "a larger tolerance, or a setting at which the wheel's side does not cut",
    )


def _first_chains(
    columns: Columns, ground: Ground, alone: list[Height], tolerance: float, spacing: float
) -> _Chains:
    """Chains with vertices on flute, outline and hand-overs, and rows at most `spacing` mm apart between them.

    Stretches that lie too far off the surface are halved until none does, or they are too short to be halved.
    """
    n = len(columns)
    column, t, grind = _blocks(columns, alone)
    z = reached(ground, columns.point(column, t)).z
    inner = np.flatnonzero(grind >= 0)
    step = np.diff(columns.point(column, t), axis=0)[inner]
    length = np.sqrt((step**2).sum(1) + (z[inner + 1] - z[inner]) ** 2)
    rows = np.maximum(np.ceil(length / spacing), 1).astype(np.intp)
    extra = np.repeat(inner, rows - 1)
    number = np.arange(len(extra)) - np.repeat(np.cumsum(rows - 1) - (rows - 1), rows - 1) + 1
    new_t = t[extra] + (t[extra + 1] - t[extra]) * number / np.repeat(rows, rows - 1)
    new_z = reached(ground, columns.point(column[extra], new_t)).z if len(extra) else np.zeros(0)
    column, t, z, grind = (
        np.concatenate(pair) for pair in ((column, column[extra]), (t, new_t), (z, new_z), (grind, grind[extra]))
    )
    order = np.lexsort((t, column))
    assert column[order[-1]] == n - 1
    chains = _Chains(columns, column[order], t[order], z[order], grind[order])
    fresh = np.flatnonzero(chains.grind >= 0)
    while len(fresh):
        points, z = chains.points, chains.z
        step = np.column_stack([points[fresh + 1] - points[fresh], z[fresh + 1] - z[fresh]])
        long = np.linalg.norm(step, axis=1) > 2 * LEAST_GAP
        fresh = fresh[long & (np.hypot(*step[:, :2].T) > LEAST_GAP / 2)]
        if not len(fresh):
            break
        cut = reached(ground, (points[fresh] + points[fresh + 1]) / 2)
        off = np.abs(cut.z - (z[fresh] + z[fresh + 1]) / 2) * np.abs(cut.normal[2])
        split = off > _ROW_SHARE * tolerance
        chains, fresh = chains.with_rows(fresh[split], cut.z[split])
    return chains


def _blocks(columns: Columns, alone: list[Height]) -> tuple[Ints, Floats, Ints]:
    """Ends of the stretches that one grind made on each column: column, t, and the grind after each (-1: none)."""
    n, length = len(columns), columns.length
    body = np.flatnonzero(length > 0)
    column, t, grind = [np.arange(n), body], [np.zeros(n), np.ones(len(body))], [np.full(n, -1), np.full(len(body), -1)]
    if len(alone) == 1:
        grind[0][body] = 0
    else:
        found = hand_overs(lambda i, s: columns.point(body[i], s), len(body), _WHERE_TO_LOOK, alone)
        first = found.first.copy()
        start = np.searchsorted(found.line, np.arange(len(body) + 1))
        for k, c in enumerate(body):
            here = slice(start[k], start[k + 1])
            begin, places = _without_short(first[k], found.t[here], found.after[here], _SNAP / length[c])
            grind[0][c] = begin
            for place, after in places:
                column.append(np.array([c]))
                t.append(np.array([place]))
                grind.append(np.array([after]))
    flat = [np.concatenate(x) for x in (column, t, grind)]
    order = np.lexsort((flat[1], flat[0]))
    return flat[0][order], flat[1][order], flat[2][order]


def _without_short(first: int, t: Floats, after: Ints, least: float) -> tuple[int, list[tuple[float, int]]]:
    """Hand-overs of one line without stretches shorter than `least`."""
    begin, out = int(first), []
    for place, grind in zip(t.tolist(), after.tolist(), strict=True):
        if place < least:
            begin = grind
        elif place <= 1 - least:
            if out and place - out[-1][0] < least:
                place = out.pop()[0]
            if grind != (out[-1][1] if out else begin):
                out.append((place, grind))
    return begin, out


def _triangles(chains: _Chains) -> tuple[Ints, Ints, Ints, list[tuple[int, int]]]:
    """Faces, the strip and the grind (-1: not known) of each, and the crease's pieces as pairs of vertices."""
    start, grind = chains.start, chains.grind
    # The ends of the stretches of one grind: a chain's first and last vertex, and where the grind changes.
    change = np.ones(len(grind), bool)
    change[1:] = (grind[1:] != grind[:-1]) | (chains.column[1:] != chains.column[:-1])
    ends = np.flatnonzero(change)
    own = np.searchsorted(ends, start)
    labels, places = grind[ends].tolist(), ends.tolist()
    pairs: list[Pair] = []
    segments: list[tuple[int, int]] = []
    strip = []
    spans = list(zip(own[:-1].tolist(), own[1:].tolist(), strict=True))
    for k, ((a0, a1), (b0, b1)) in enumerate(zip(spans[:-1], spans[1:], strict=True)):
        mine = side_by_side(labels[a0 : a1 - 1], places[a0:a1], labels[b0 : b1 - 1], places[b0:b1], chains.t)
        pairs += mine
        strip += [k] * len(mine)
        segments += [(p.left[1], p.right[1]) for p in mine[:-1]]
    left, right = (np.array([getattr(p, side) for p in pairs], np.intp) for side in ("left", "right"))
    strips = np.array(strip, np.intp)
    mirrored = chains.columns.u[strips] >= 0
    faces, pair = zipped_pairs(
        (left[:, 0], left[:, 1]), (right[:, 0], right[:, 1]), np.arange(len(grind)), chains.t, mirrored
    )
    return faces, strips[pair], np.array([p.label for p in pairs])[pair], segments


def _measure(
    chains: _Chains, faces: Ints, strip: Ints, ground: Ground, tolerance: float, known: _Known
) -> tuple[_Known, float, Ints]:
    """How far facets lie off the surface at the middles of edges and (last) faces.

    Returns the surface there, the largest distance, and the strips with facets too far off.
    """
    points, z = chains.points, chains.z
    size = len(z)
    pair = np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 3, 2), axis=2)
    keys, back = np.unique(pair[..., 0] * size + pair[..., 1], return_inverse=True)
    back = back.reshape(-1, 3)
    a, b = keys // size, keys % size
    middle = np.concatenate([(points[a] + points[b]) / 2, points[faces].mean(1)])
    now = known.at(ground, middle)
    off = np.abs(now.z - np.concatenate([(z[a] + z[b]) / 2, z[faces].mean(1)])) * now.steep
    of_face = np.column_stack([back, len(a) + np.arange(len(faces))])
    # Where the pose jumps the surface has a ridge, and between the middles a facet may be twice as far off.
    jump = np.ptp(now.s[of_face], axis=1) > _JUMP
    bad = off[of_face].max(1) > np.where(jump, _SAFETY / 2, _SAFETY) * tolerance
    return now, float((off[of_face].max(1) * np.where(jump, 2, 1)).max()), np.unique(strip[bad])
