"""The smallest clear clearance angle of a posture, and the gap to the wood: exact distances, no place left out.

Raising the clearance angle by d turns the tool about the edge tangent, so a tool point at radius r from it moves by no
more than r d, and its distance to the wood changes by no more than that. A point that is deeper in the wood than the
tolerance by p therefore stays too deep for the next p / r radians: such steps never pass over a clear posture, and the
first clear angle found so is the smallest. The same holds while the posture's other numbers change a little: then p is
less by how far the point may move.

Points that stopped earlier postures are asked first, then the balls round the patches, then the patches: see
`gougeform.work.bends`. Lengths mm, angles rad.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gougeform.numerics.compiled import compiled, inlined, inner
from gougeform.reach.body import SIDE, Body, Tree
from gougeform.reach.posture import Places, Postures, at_edge, stand
from gougeform.work.distance import Pieces, Wood, at_corner, dip, distance

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

TOLERANCE_MM = 0.02
"""A posture is clear where no point of the tool is deeper in the wood than this."""

FINEST_MM = 2e-4
"""Patches near the wood are cut up until no point of one can be nearer than its corners by more than this."""

_DONE = 1e-4  # mm over the tolerance that still counts as clear: ends the steps
_STEPS = 4000
HINTS = 40  # points that stopped postures before


class Room(NamedTuple):
    """Room to work in. frame, pose: (12,) of the posture in hand. point: (4,) what stopped it last, with its part.

    d: distances of a block's points; quad, middle, flat: patches waiting to be cut up. hint: (HINTS, 4) points
    to ask first. axis: (6,) the tool's axis as `hold.axis` gives it.
    """

    frame: Floats
    pose: Floats
    point: Floats
    d: Floats
    quad: Floats
    middle: Floats
    flat: Floats
    hint: Floats
    axis: Floats


def desk(body: Body) -> Room:
    """A fresh one for a tool: hints spread over edge, heel and what follows."""
    parts = []
    for grid, part in body.sheets:
        row = grid[:, 0] if part <= 1 else grid[:, -1]
        count = {0: 7, 2: 6, 3: 3, 5: 2}.get(part, 1)
        chosen = row[np.linspace(0, len(row) - 1, count + 2).astype(int)[1:-1]]
        parts.append(np.column_stack([chosen, np.full(len(chosen), part)]))
    hint = np.concatenate(parts)[:HINTS]
    hint = np.concatenate([hint, np.repeat(hint[:1], HINTS - len(hint), 0)])
    frame, pose, point, d = (np.zeros(n) for n in (12, 12, 4, SIDE * SIDE))
    return Room(frame, pose, point, d, np.zeros((64, 4, 4)), np.zeros((2, 4)), np.zeros((4, 4)), hint, np.zeros(6))


@inlined
def copy(to: Floats, what: Floats) -> None:
    """Fill one row (n,) with another."""
    for k in range(len(to)):
        to[k] = what[k]


@inlined
def _at(f: Pieces, pose: Floats, x: float, y: float, z: float) -> float:
    """The distance of a tool point."""
    a = pose[3] * x + pose[4] * y + pose[5] * z + pose[10]
    b = pose[6] * x + pose[7] * y + pose[8] * z + pose[11]
    return distance(f, pose[0] * x + pose[1] * y + pose[2] * z + pose[9], np.sqrt(a * a + b * b))


@inner
def past(
    f: Pieces,
    frame: Floats,
    place: Floats,
    lam: float,
    alpha: float,
    cap: float,
    tolerance: float,
    slide: float,
    turn: float,
    hint: Floats,
    point: Floats,
) -> float:
    """A lower bound of the smallest clear angle from alpha on, by the hints (k, 4); infinite beyond the cap.

    It holds for all postures whose edge point slides by `slide` mm and which turn by `turn` rad at most. What set the
    bound is left in `point`, and moves up among the hints.
    """
    cl, sl, ca, sa = np.cos(lam), np.sin(lam), np.cos(alpha), np.sin(alpha)
    clean = k = 0
    while clean < len(hint):
        h = hint[k]
        dx, dy, dz = h[0] - frame[0], h[1] - frame[1], h[2] - frame[2]
        e = dx * frame[3] + dy * frame[4] + dz * frame[5]
        b = dx * frame[6] + dy * frame[7] + dz * frame[8]
        o = dx * frame[9] + dy * frame[10] + dz * frame[11]
        r = np.sqrt(b * b + o * o) + 1e-9
        level = -tolerance - slide - turn * np.sqrt(e * e + r * r)
        clean += 1
        while True:
            q, n = b * ca + o * sa, b * sa - o * ca
            t, v = e * cl + q * sl, q * cl - e * sl
            y = place[1] + place[3] * t + place[5] * n
            d = distance(f, place[0] + place[2] * t + place[4] * n, np.sqrt(y * y + v * v))
            if d >= level - _DONE:
                break
            alpha += (level - d) / r
            clean = 1
            copy(point, h)
            if alpha > cap:
                if k > 0:
                    for c in range(4):
                        hint[k, c], hint[k - 1, c] = hint[k - 1, c], hint[k, c]
                return np.inf
            ca, sa = np.cos(alpha), np.sin(alpha)
        k = k + 1 if k + 1 < len(hint) else 0
    return alpha


@inner
def _at_points(tree: Tree, f: Pieces, b: int, pose: Floats, work: Room) -> float:
    """Distances to the wood of a block's points into work.d, and the least of them, whose place is left."""
    least = np.inf
    for i in range(tree.size[b, 0]):
        for j in range(tree.size[b, 1]):
            here = _at(f, pose, tree.points[b, i, j, 0], tree.points[b, i, j, 1], tree.points[b, i, j, 2])
            work.d[i * SIDE + j] = here
            if here < least:
                least = here
                for c in range(3):
                    work.point[c] = tree.points[b, i, j, c]
    return least


@inner
def _between(tree: Tree, f: Pieces, b: int, pose: Floats, level: float, done: float, least: float, work: Room) -> float:
    """The least distance to the wood in a block, where it is below the level; else about that, or more.

    After `_at_points`, which gave the `least` so far. Good to FINEST_MM; not looked for any closer once something lies
    below the level by `done`. The place is left in work.point.
    """
    points, d, quad, flat = tree.points[b], work.d, work.quad, work.flat
    rows, columns = tree.size[b]
    if least >= level + tree.reach[b]:
        return least
    for i in range(rows - 1):
        for j in range(columns - 1):
            low = np.inf
            for c in range(4):
                u, v = i + (c == 1 or c == 2), j + (c > 1)
                for k in range(3):
                    quad[0, c, k] = points[u, v, k]
                quad[0, c, 3] = d[u * SIDE + v]
                low = min(low, quad[0, c, 3])
            left = int(low < min(level, least) + tree.reach[b])
            while left:
                left -= 1
                q = quad[left]
                low, r = min(min(q[0, 3], q[1, 3]), min(q[2, 3], q[3, 3])), 0.0
                x = (q[0, 0] + q[1, 0] + q[2, 0] + q[3, 0]) / 4
                y = (q[0, 1] + q[1, 1] + q[2, 1] + q[3, 1]) / 4
                z = (q[0, 2] + q[1, 2] + q[2, 2] + q[3, 2]) / 4
                for c in range(4):
                    r = max(r, (q[c, 0] - x) ** 2 + (q[c, 1] - y) ** 2 + (q[c, 2] - z) ** 2)
                r, limit = np.sqrt(r), min(level, least) - FINEST_MM
                if low - r >= limit or left + 2 > len(quad):
                    continue
                u = pose[3] * x + pose[4] * y + pose[5] * z + pose[10]
                v = pose[6] * x + pose[7] * y + pose[8] * z + pose[11]
                x = pose[0] * x + pose[1] * y + pose[2] * z + pose[9]
                rho = np.sqrt(u * u + v * v)
                if low - dip(f, x, rho, r, low) >= limit:
                    continue
                for c in range(4):
                    u = pose[3] * q[c, 0] + pose[4] * q[c, 1] + pose[5] * q[c, 2] + pose[10]
                    v = pose[6] * q[c, 0] + pose[7] * q[c, 1] + pose[8] * q[c, 2] + pose[11]
                    flat[c, 0] = pose[0] * q[c, 0] + pose[1] * q[c, 1] + pose[2] * q[c, 2] + pose[9]
                    flat[c, 1] = np.sqrt(u * u + v * v)
                if at_corner(f, x, rho, r, low, flat) >= limit:
                    continue
                # Halve it across the longer side: between the corners a, a + 1 and a + 2, a + 3.
                a = 0 if _side(q, 0) + _side(q, 2) >= _side(q, 1) + _side(q, 3) else 1
                half, middle = quad[left + 1], work.middle
                for c in range(4):
                    copy(half[c], q[c])
                for side in range(2):
                    m, one, two = middle[side], q[a + 2 * side], q[(a + 2 * side + 1) % 4]
                    for c in range(3):
                        m[c] = (one[c] + two[c]) / 2
                    m[3] = _at(f, pose, m[0], m[1], m[2])
                    if m[3] < least:
                        least = m[3]
                        for c in range(3):
                            work.point[c] = m[c]
                if least < level - done:
                    return least
                for side in range(2):
                    copy(q[(a + 1 + side) % 4], middle[side])
                    copy(half[(a + 3 * side) % 4], middle[side])
                left += 2
    return least


@inlined
def _side(q: Floats, a: int) -> float:
    b = (a + 1) % 4
    return (q[b, 0] - q[a, 0]) ** 2 + (q[b, 1] - q[a, 1]) ** 2 + (q[b, 2] - q[a, 2]) ** 2


@inner
def smallest(
    tree: Tree, f: Pieces, place: Floats, lam: float, alpha: float, cap: float, tolerance: float, work: Room
) -> float:
    """The smallest clear angle from alpha on at a place (7,) of the posture whose edge is in work.frame; else infinite.

    What stopped a smaller one is left in work.point, with its part, where anything did.
    """
    frame, pose, hint = work.frame, work.pose, work.hint
    alpha = past(f, frame, place, lam, alpha, cap, tolerance, 0.0, 0.0, hint, work.point)
    if alpha > cap:
        return np.inf
    stand(frame, place, lam, alpha, pose)
    node, last, around = 0, -1, False
    count, steps = len(tree.skip), 0
    while steps < _STEPS:
        if node == count:
            node, around = 0, True
            if last < 0:
                return alpha
        if around and node > last:
            return alpha
        if _ball(tree, f, node, pose) >= -tolerance:
            node = tree.skip[node]
            continue
        b = tree.block[node]
        if b >= 0:
            least = _at_points(tree, f, b, pose, work)
            if least >= -tolerance - _DONE:
                least = _between(tree, f, b, pose, -tolerance, _DONE, least, work)
            if least < -tolerance - _DONE:
                work.point[3] = tree.part[b]
                _remember(hint, work.point)
                now = past(f, frame, place, lam, alpha, cap, tolerance, 0.0, 0.0, hint, work.point)
                if now > cap:
                    return np.inf
                if now > alpha:
                    alpha = now
                    stand(frame, place, lam, alpha, pose)
                    last, around, steps = node, False, steps + 1
                    continue
        node += 1
    return np.inf


@inner
def _remember(hint: Floats, point: Floats) -> None:
    """Put a point first among the hints, in the place of itself or of the last."""
    k = 0
    while k < len(hint) - 1 and not (hint[k, 0] == point[0] and hint[k, 1] == point[1] and hint[k, 2] == point[2]):
        k += 1
    while k > 0:
        copy(hint[k], hint[k - 1])
        k -= 1
    copy(hint[0], point)


@inlined
def _ball(tree: Tree, f: Pieces, node: int, pose: Floats) -> float:
    """No point in the node is nearer to the wood than this."""
    ball = tree.ball[node]
    return _at(f, pose, ball[0], ball[1], ball[2]) - ball[3]


@inner
def gap(tree: Tree, f: Pieces, begin: int, end: int, pose: Floats, best: float, work: Room) -> float:
    """The least distance to the wood of nodes begin to end of a pose (12,), where it is below `best`; to FINEST_MM."""
    node = begin
    while node < end:
        if _ball(tree, f, node, pose) >= best - FINEST_MM:
            node = tree.skip[node]
            continue
        b = tree.block[node]
        if b >= 0:
            least = min(best, _at_points(tree, f, b, pose, work))
            best = min(least, _between(tree, f, b, pose, best, np.inf, least, work))
        node += 1
    return best


@dataclass(frozen=True, eq=False)
class Found:
    """n smallest clear angles alpha (n,) rad, infinite where there is none up to the limit.

    part: (n,) what stopped a smaller angle, an index into PARTS, -1 where nothing did; touch: (n, 3) tool point there.
    """

    alpha: Floats
    part: Ints
    touch: Floats


@compiled
def _each(
    tree: Tree,
    f: Pieces,
    places: Floats,
    which: Ints,
    edge: Floats,
    lam: Floats,
    alpha: Floats,
    cap: Floats,
    tolerance: float,
    work: Room,
    out: Floats,
) -> None:
    """Smallest clear angles of postures, each with the point that stopped it and its part, into out (n, 5)."""
    for i in range(len(which)):
        work.point[3] = -1.0
        at_edge(tree, edge[i], work.frame)
        out[i, 0] = smallest(tree, f, places[which[i]], lam[i], alpha[i], cap[i], tolerance, work)
        for k in range(4):
            out[i, 1 + k] = work.point[k]


@compiled
def _depths(
    tree: Tree,
    f: Pieces,
    places: Floats,
    which: Ints,
    edge: Floats,
    lam: Floats,
    alpha: Floats,
    work: Room,
    out: Floats,
) -> None:
    for i in range(len(which)):
        at_edge(tree, edge[i], work.frame)
        stand(work.frame, places[which[i]], lam[i], alpha[i], work.pose)
        out[i] = -np.inf
        for k in range(len(work.hint)):
            out[i] = max(out[i], -_at(f, work.pose, work.hint[k, 0], work.hint[k, 1], work.hint[k, 2]))


@dataclass(frozen=True, eq=False)
class Contact:
    """A tool against a workpiece at a list of places."""

    body: Body
    wood: Wood
    places: Places
    tolerance: float = TOLERANCE_MM

    def smallest(self, postures: Postures, limit: Floats | float) -> Found:
        """The smallest clear angles from the postures' own on; limit (n,) or one for all, rad."""
        n = len(postures)
        out, cap = np.empty((n, 5)), np.array(np.broadcast_to(np.asarray(limit, float), (n,)))
        tree, field, rows = self.body.tree, self.wood.field, self.places.rows
        _each(tree, field, rows, *postures.columns, cap, self.tolerance, desk(self.body), out)
        part = out[:, 4].astype(np.intp)
        return Found(out[:, 0], part, np.where(part[:, None] >= 0, out[:, 1:4], np.nan))

    def depths(self, postures: Postures) -> Floats:
        """(n,) mm: how deep the deepest of a few points of each tool is in the wood."""
        out = np.empty(len(postures))
        work = desk(self.body)
        _depths(self.body.tree, self.wood.field, self.places.rows, *postures.columns, work, out)
        return out

    def clear(self, postures: Postures) -> NDArray[np.bool_]:
        """(n,) whether postures are clear at their own angles."""
        return np.asarray(self.smallest(postures, postures.alpha + 1e-9).alpha <= postures.alpha + 1e-9)

    def stopper(self, postures: Postures) -> tuple[Ints, Floats]:
        """What stops slightly smaller angles: part (n,), an index into PARTS or -1, and tool points (n, 3) mm."""
        part, touch = np.full(len(postures), -1), np.full((len(postures), 3), np.nan)
        todo = np.flatnonzero(postures.alpha > 0)
        for back in np.radians([0.02, 0.1, 0.5, 2.0]):
            if not len(todo):
                break
            now = postures.take(todo)
            found = self.smallest(now.at(np.maximum(now.alpha - back, 0.0)), now.alpha)
            stopped = found.part >= 0
            part[todo[stopped]], touch[todo[stopped]] = found.part[stopped], found.touch[stopped]
            todo = todo[~stopped]
        return part, touch
