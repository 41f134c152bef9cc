"""The ground face of a gouge as triangles: a graph z = h(x, y) over the section, exact at every vertex.

Vertices lie on the rays of `gougeform.measure.fan`, so a triangle never leaves the strip between two neighbouring rays
and the face cannot fold over. Edge, heel and the creases between grinds are chains of vertices.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.grind.ground import Ground
from gougeform.measure.columns import divisible, first_columns
from gougeform.measure.fan import Columns, Fan
from gougeform.measure.winners import surfaces
from gougeform.mesh.chains import Chains, first_chains, reached
from gougeform.numerics.strips import StripPair, polylines, side_by_side, zipped_pairs

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

_ROUNDS = 14
_MOST_GROWTH = 12  # times the vertices of the first round: a step in the surface would ask for ever more
_SAFETY = 0.65  # of the tolerance: between the places that are measured a facet may be further off (seen: half more)
_JUMP = 0.05  # of a path's parameter: neighbouring places on a smooth surface are cut by poses closer than this
_MORE_PLACES = (
    np.array(
        [
            [8, 2, 2],
            [2, 8, 2],
            [2, 2, 8],
            [5, 5, 2],
            [2, 5, 5],
            [5, 2, 5],
            [9, 3, 0],
            [0, 9, 3],
            [3, 0, 9],
            [3, 9, 0],
            [0, 3, 9],
            [9, 0, 3],
        ]
    )
    / 12
)
_SAME_RIDGE = 0.2  # of a column: ridges further apart than this on neighbouring columns are different ones


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
        z, steep, s = (x[source] if len(order) else np.zeros(len(place)) for x in (self.z, self.steep, self.s))
        grind = self.grind[source] if len(order) else np.zeros(len(place), np.int8)
        if len(new):
            cut = reached(ground, points[new])
            z[new], steep[new], s[new], grind[new] = cut.z, np.abs(cut.normal[2]), cut.s, cut.grind
        return _Known(place, z, steep, s, grind)


def build_head(fan: Fan, ground: Ground, tolerance: float) -> Head:
    """The ground face, no facet further than `tolerance` mm from the surface.

    Raises InputError where the surface has a hole or a step.
    """
    alone = surfaces(ground)
    chains = first_chains(first_columns(fan, ground, alone, tolerance), ground, alone, tolerance)
    known, most = _Known.nothing(), _MOST_GROWTH * len(chains.t)
    for _ in range(_ROUNDS):
        faces, strip, grind, segments = _triangles(chains)
        known, off, bad = _measure(chains, faces, strip, ground, tolerance, known)
        if not len(bad):
            grind = np.where(grind < 0, known.grind[-len(faces) :].astype(np.intp), grind)
            return Head(chains.columns, chains.start, chains.points, chains.z, faces, grind, polylines(segments), off)
        columns = chains.columns
        bad = divisible(columns, bad)
        if not len(bad) or len(chains.t) > most:
            break
        more = fan.at((columns.phi[bad] + columns.phi[bad + 1]) / 2)
        chains = chains.with_columns(first_chains(more, ground, alone, tolerance))
    raise InputError(
        "tolerance",
        f"given {tolerance:g} mm: the ground surface has a step or too sharp a ridge to be meshed that closely",
        "a larger tolerance, or a setting at which the wheel's side does not cut",
    )


def _triangles(chains: Chains) -> tuple[Ints, Ints, Ints, list[tuple[int, int]]]:
    """Faces, the strip and the grind (-1: not known) of each, and the crease's pieces as pairs of vertices."""
    start, grind = chains.start, chains.grind
    # The ends of the stretches of one grind: a chain's first and last vertex, and where the grind changes.
    change = np.ones(len(grind), bool)
    change[1:] = (grind[1:] != grind[:-1]) | (chains.column[1:] != chains.column[:-1])
    ends = np.flatnonzero(change)
    own = np.searchsorted(ends, start)
    labels, places = grind[ends].tolist(), ends.tolist()
    ridges, t = np.flatnonzero(chains.ridge).tolist(), chains.t
    pairs: list[StripPair] = []
    segments: list[tuple[int, int]] = []
    strip = []
    spans = list(zip(own[:-1].tolist(), own[1:].tolist(), strict=True))
    for k, ((a0, a1), (b0, b1)) in enumerate(pairwise(spans)):
        mine = side_by_side(labels[a0 : a1 - 1], places[a0:a1], labels[b0 : b1 - 1], places[b0:b1], chains.t)
        segments += [(p.left[1], p.right[1]) for p in mine[:-1]]
        if ridges:
            mine = [part for p in mine for part in _split(p, ridges, t)]
        pairs += mine
        strip += [k] * len(mine)
    left, right = (np.array([getattr(p, side) for p in pairs], np.intp) for side in ("left", "right"))
    strips = np.array(strip, np.intp)
    mirrored = chains.columns.u[strips] >= 0
    faces, pair = zipped_pairs(
        (left[:, 0], left[:, 1]), (right[:, 0], right[:, 1]), np.arange(len(grind)), chains.t, mirrored
    )
    return faces, strips[pair], np.array([p.label for p in pairs])[pair], segments


def _split(pair: StripPair, ridges: list[int], t: Floats) -> list[StripPair]:
    """The pair in parts, so that ridges inside it run along edges; left whole where they do not match."""
    left, right = (
        ridges[bisect_right(ridges, first) : bisect_left(ridges, last)] for first, last in (pair.left, pair.right)
    )
    if not left or len(left) != len(right) or np.abs(t[left] - t[right]).max() > _SAME_RIDGE:
        return [pair]
    a, b = [pair.left[0], *left, pair.left[1]], [pair.right[0], *right, pair.right[1]]
    return [StripPair((a[i], a[i + 1]), (b[i], b[i + 1]), pair.label) for i in range(len(a) - 1)]


def _measure(
    chains: Chains, faces: Ints, strip: Ints, ground: Ground, tolerance: float, known: _Known
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
    worst = off[of_face].max(1)
    # Where the pose jumps the surface may have a ridge, and between the middles a facet may be further off.
    jump = np.flatnonzero(np.ptp(now.s[of_face], axis=1) > _JUMP)
    if len(jump):
        corner = np.dstack([points[faces[jump]], z[faces[jump]]])
        inside = np.einsum("pc,fcd->fpd", _MORE_PLACES, corner).reshape(-1, 3)
        cut = reached(ground, inside[:, :2])
        more = np.abs(cut.z - inside[:, 2]) * np.abs(cut.normal[2])
        worst[jump] = np.maximum(worst[jump], more.reshape(len(jump), -1).max(1))
    return now, float(worst.max()) / _SAFETY, np.unique(strip[worst > _SAFETY * tolerance])
