"""Where bevels end at the heel, in the planes square to the edge.

On a long head such a plane runs round under the nose to the other wing, and may cross that wing's edge besides its
heel. How often it crosses what no longer tells where the bevel ends: its trace on the ground face has to be followed. A
coarse grid of the face says which of several crossings of the heel it is; the crossing itself is found on the heel.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from gougeform.grind.gouge import Gouge
from gougeform.measure.fan import Columns, build_fan
from gougeform.numerics.curve import Curve, hermite

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

_WING = 34  # columns from nose to lip: between neighbouring ones lie some six stations
_DOWN = 9  # from edge to heel
_MIRROR = np.array([[-1.0], [1.0], [1.0]])

# A cell's corners and sides in order round it: side n runs from corner n to the next, side 0 lies toward the edge.
_CORNERS = ((0, 0), (1, 0), (1, 1), (0, 1))
_STEP = np.array([[0, -1], [1, 0], [0, 1], [-1, 0]])


def _exits() -> Ints:
    """(4, 16): the side through which a trace leaves that enters through a side, by which corners lie ahead.

    Where two traces pass through one cell it is the one that turns to the side nearest in order: cells are small.
    """
    ahead = np.arange(16)[:, None] >> np.arange(4) & 1
    crossed = ahead != np.roll(ahead, -1, axis=1)
    every = np.repeat(crossed[None], 4, axis=0)
    every[np.arange(4), :, np.arange(4)] = False
    return np.asarray(every.argmax(2), np.intp)


_EXITS = _exits()


def heel_points(
    gouge: Gouge,
    u: Floats,
    edge: tuple[Floats, Floats],
    tangent: Floats,
    v: Floats,
    heel: Curve,
    middle: Floats,
    alike: bool,
) -> tuple[Floats, Floats]:
    """Where the bevel ends at the heel in the plane square to the edge at each station, and the bevel's normal there.

    u: (n,) flute places of the stations; edge: points and normals of the bevel there, (3, n) each; tangent: (3, n) what
    their planes are square to; v: (m,) outline places of the heel's samples; middle: (3, q) mm down the middle plane;
    alike: whether all that is the same on both sides. Returns two (3, n) mm.

    Columns are NaN where the plane does not meet the heel: on a long, pointed head it runs round under the nose to the
    other wing. Which of several meetings belongs to a station follows from counting how often the plane crosses the
    closed loop nose, lip, heel, middle line, since curves on a surface that do not cross each other pair up; where that
    leaves a choice, from following the trace of the plane on the ground face.
    """
    point, nose = edge[0], len(u) // 2
    end, normal = np.full(point.shape, np.nan), np.full(point.shape, np.nan)
    low = int(np.abs(heel.point[0] + 1e3 * (heel.point[1] > point[1, nose])).argmin())

    def signs(i: slice | NDArray[np.intp], curve: Floats) -> NDArray[np.bool_]:
        off = tangent[:, i].T @ curve - (tangent[:, i] * point[:, i]).sum(0)[:, None]
        return off[:, :-1] * off[:, 1:] <= 0

    stations: list[NDArray[np.intp]] = []
    pieces: list[NDArray[np.intp]] = []
    for side in (1,) if alike else (1, -1):
        mine = slice(nose + 1, None) if side > 0 else slice(0, nose)
        rows = np.arange(point.shape[1])[mine]
        crossing = signs(mine, heel.point)
        to_lip = np.arange(crossing.shape[1]) >= low if side > 0 else np.arange(crossing.shape[1]) < low
        # At the lip itself heel and edge start together; that is no end of a bevel.
        at_lip = crossing.shape[1] - 1 if side > 0 else 0
        touch = np.linalg.norm(heel.point[:, [-1 if side > 0 else 0]] - point[:, mine], axis=0) < 1e-6
        crossing[touch, at_lip] = False
        # Own heel: the meeting nearest the lip. Across the middle: the one nearest the underside's middle.
        order, last = -1 if side > 0 else 1, crossing.shape[1] - 1
        own = crossing & to_lip
        use_own = own.any(1)
        pick_own = own[:, ::order].argmax(1)
        # The others alone are looked at for the way across: few or none on a short head.
        left = np.flatnonzero(~use_own)
        use_far, pick_far = np.zeros(len(rows), bool), np.zeros(len(rows), np.intp)
        if side > 0:
            pick_own = last - pick_own
        if len(left):
            far = crossing[left] & ~to_lip
            # A few hundred places tell whether a plane crosses the other wing, however many stations there are.
            other = np.linspace(0, nose, min(nose, 200) + 1).astype(int) + (0 if side > 0 else nose)
            over = signs(rows[left], middle).sum(1) % 2 == 1
            back = signs(rows[left], point[:, other]).any(1)
            use_far[left] = over & far.any(1) & ~back
            pick_far[left] = far[:, ::order].argmax(1)
            if side > 0:
                pick_far = last - pick_far
            # Where it does, only the trace itself tells whether that edge or the heel comes first.
            open_ = left[far.any(1) & ~use_far[left]]
            if len(open_):
                reached = _far_ends(gouge, u, edge, v, heel, tangent, rows[open_], alike)
                nearest = np.where(crossing[open_], np.abs((v[:-1] + v[1:]) / 2 - reached[:, None]), np.inf)
                use_far[open_], pick_far[open_] = np.isfinite(reached), nearest.argmin(1)
        found = np.flatnonzero(use_own | use_far)
        stations.append(rows[found])
        pieces.append(np.where(use_own, pick_own, pick_far)[found])
    j = np.flatnonzero(signs(slice(nose, nose + 1), heel.point)[0])
    if len(j):
        stations.append(np.array([nose]))
        pieces.append(j[[np.abs(j - low).argmin()]])
    i, j = np.concatenate(stations), np.concatenate(pieces)
    end[:, i], normal[:, i] = heel.meet(tangent[:, i], point[:, i], j)
    if alike:
        for each in (end, normal):
            each[:, :nose] = each[:, :nose:-1] * _MIRROR
    return end, normal


def _far_ends(
    gouge: Gouge,
    u: Floats,
    edge: tuple[Floats, Floats],
    v: Floats,
    heel: Curve,
    plane: Floats,
    which: Ints,
    alike: bool,
) -> Floats:
    """Where on the outline (place v) the traces of some stations' planes reach the heel; NaN where they do not.

    which: (k,) the stations asked for; the rest as in `heel_points`. Returns (k,), good to a few hundredths of a
    millimetre: enough to tell crossings of the heel apart.
    """
    nose = len(u) // 2
    right = np.linspace(nose, len(u) - 1, min(_WING, nose + 1)).astype(np.intp)
    column = np.concatenate([len(u) - 1 - right[:0:-1], right])
    searched = right if alike else column  # then the other half is the mirror image
    ray = build_fan(gouge.section).at_flute(u[searched])
    face, place = _face(gouge, ray, edge[0][:, searched], edge[1][:, searched], v, heel), ray.v
    if alike:
        face = np.concatenate([face[:, :0:-1] * _MIRROR[:, None], face], axis=1)
        place = np.concatenate([np.interp(place[:0:-1], v, v[::-1]), place])
    size = np.array(face.shape[1:]) - 1
    t = plane[:, which]
    off = np.einsum("km,kij->mij", t, face) - (t * edge[0][:, which]).sum(0)[:, None, None]
    ahead = off >= 0
    code = sum(ahead[:, i : i + size[0], j : j + size[1]].astype(np.intp) << bit for bit, (i, j) in enumerate(_CORNERS))
    out = np.full(len(which), np.nan)
    cell, found = _first_cells(ahead, np.interp(which, column, np.arange(len(column))))
    live, side = np.flatnonzero(found), np.zeros(len(which), np.intp)
    for _ in range(4 * int(size.sum())):
        if not len(live):
            break
        leave = _EXITS[side[live], code[live, cell[live, 0], cell[live, 1]]]
        cell[live] += _STEP[leave]
        side[live] = (leave + 2) % 4
        ended = live[cell[live, 1] == size[1]]
        i = cell[ended, 0]
        left, right = off[ended, i, -1], off[ended, i + 1, -1]
        out[ended] = place[i] + (place[i + 1] - place[i]) * left / (left - right)
        live = live[((cell[live] >= 0) & (cell[live] < size)).all(1)]
    return out


def _face(gouge: Gouge, ray: Columns, point: Floats, normal: Floats, v: Floats, heel: Curve) -> Floats:
    """(3, columns, down): the ground face on rays of the fan from edge (points and normals given) to heel."""
    share = np.linspace(0.0, 1.0, _DOWN)
    way = (ray.outer - ray.inner).T
    flat = ray.inner.T[:, :, None] + share * way[:, :, None]
    if len(gouge.ground.passes) > 1:
        z = gouge.ground.heights(flat.reshape(2, -1).T).z.reshape(flat.shape[1:])
        return np.stack([*flat, z])
    # One smooth surface: heights and slopes at both ends of a ray say enough.
    low = np.stack([np.interp(ray.v, v, part) for part in (heel.point[2], *heel.normal)])
    start, stop = (-(way * n[:2]).sum(0)[:, None] / n[2][:, None] for n in (normal, low[1:]))
    return np.stack([*flat, hermite(point[2][:, None], low[0][:, None], start, stop, share)])


def _first_cells(ahead: NDArray[np.bool_], at: Floats) -> tuple[Ints, NDArray[np.bool_]]:
    """The cells (m, 2) in which traces set out from the edge at columns `at` (m,), and whether there is one."""
    m, last = np.arange(len(at)), ahead.shape[1] - 2
    low = np.clip(np.floor(at).astype(np.intp), 0, last)
    cell, found = low, np.zeros(len(at), bool)
    for shift in (0, -1, 1):  # a station that is a column itself sets out on either side of it
        tried = np.clip(low + shift, 0, last)
        there = ahead[m, tried, 0] != ahead[m, tried + 1, 0]
        cell, found = np.where(there & ~found, tried, cell), found | there
    return np.stack([cell, np.zeros_like(cell)], -1), found
