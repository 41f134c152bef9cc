"""The smallest clear clearance angle of postures, and the gap behind the heel: exact distances, no place left out.

Raising the clearance angle by d turns the tool about the edge tangent, so a tool point at radius r from it moves by no
more than r·d, and its distance to the wood changes by no more than that. A point that is deeper in the wood than the
tolerance by p therefore stays too deep for the next p / r radians: steps of the largest p / r over all points
never pass over a clear posture. The first clear angle found so is the smallest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gougeform.reach.body import BEHIND_HEEL, PARTS, Body, Cloud
from gougeform.reach.patches import Singles, balls, cut_up, largest, most_of_four, moved, stand
from gougeform.reach.posture import Places, Postures, placed
from gougeform.reach.scouts import Scouting
from gougeform.work.distance import Wood

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

TOLERANCE_MM = 0.02
"""A posture is clear where no point of the tool is deeper in the wood than this."""

FINEST_MM = 0.01
"""Patches near the wood are cut up until no point of one can be deeper than its corners by more than this."""

_DONE = 2e-4  # mm over the tolerance that still counts as clear: ends the steps
WITNESSES = 6
_STEPS = 400
_PART = 400  # postures looked at together
AT_ONCE = 48  # postures whose vertices are all measured together: their tables stay in the processor's cache


@dataclass(frozen=True, eq=False)
class Found:
    """n smallest clear angles alpha (n,) rad, infinite where there is none up to the limit.

    part: (n,) what stopped a smaller angle, an index into PARTS, -1 where nothing did; touch: (n, 3) tool point there.
    witness: (n, WITNESSES, 3) tool points that stopped the last angles, NaN where there were fewer.
    """

    alpha: Floats
    part: Ints
    touch: Floats
    witness: Floats


@dataclass(frozen=True, eq=False)
class Contact:
    """A tool against a workpiece at a list of places."""

    body: Body
    wood: Wood
    places: Places
    tolerance: float = TOLERANCE_MM

    def scouted(self, postures: Postures, limit: Floats | float, many: bool = False) -> Floats:
        """(n,) rad: lower bounds of the smallest clear angles from a few points, or from `many`.

        They start from the postures' own angles and are infinite beyond the limit, (n,) or one for all.
        """
        limits = np.broadcast_to(np.asarray(limit, float), (len(postures),))
        return Scouting(self.body, self.wood, self.places, self.tolerance, many).bounds(postures, limits)

    def depths(self, postures: Postures) -> Floats:
        """(n,) mm: how deep the deepest of a few points of each tool is in the wood."""
        out = np.empty(len(postures))
        points = self.body.scouts[0][0].astype(float)
        for begin in range(0, len(postures), _PART):
            part = np.arange(begin, min(begin + _PART, len(postures)))
            turn, shift = placed(self.body, self.places, postures.take(part))
            out[part] = (-self.wood.at_least(*stand(turn, shift, points))).max(1)
        return out

    def smallest(self, postures: Postures, limit: Floats | float, *, close: bool = True) -> Found:
        """The smallest clear angles from the postures' own on; limit (n,) or one for all, rad.

        Without `close` only the patches' vertices count, which gives a lower bound.
        """
        n = len(postures)
        found = Found(np.full(n, np.inf), np.full(n, -1), np.full((n, 3), np.nan), np.full((n, WITNESSES, 3), np.nan))
        limits = np.broadcast_to(np.asarray(limit, float), (n,))
        for begin in range(0, n, _PART):
            part = np.arange(begin, min(begin + _PART, n))
            one = self._advance(postures.take(part), limits[part], close)
            found.alpha[part], found.part[part] = one.alpha, one.part
            found.touch[part], found.witness[part] = one.touch, one.witness
        return found

    def _advance(self, postures: Postures, limit: Floats, close: bool) -> Found:
        n = len(postures)
        alpha = postures.alpha.copy()
        part, touch = np.full(n, -1), np.full((n, 3), np.nan)
        witness = np.full((n, WITNESSES, 3), np.nan)
        witness_part = np.full((n, WITNESSES), -1)
        used = np.zeros(n, np.intp)
        clear = np.zeros(n, bool)
        live = np.arange(n)
        for _ in range(_STEPS):
            live = live[alpha[live] <= limit[live]]
            if not len(live):
                break
            now = postures.take(live).at(alpha[live])
            step, point, which = self._worst(now, close)
            stuck = step > 0
            clear[live[~stuck]] = True
            live, step, point, which = live[stuck], step[stuck], point[stuck], which[stuck]
            if not len(live):
                break
            slot = used[live] % WITNESSES
            witness[live, slot], witness_part[live, slot] = point, which
            used[live] += 1
            part[live], touch[live] = which, point
            alpha[live] += step
            self._past_witnesses(postures, limit, live, alpha, witness, witness_part, part, touch)
        return Found(np.where(clear, alpha, np.inf), part, touch, witness)

    def past(self, postures: Postures, witness: Floats, limit: Floats) -> Floats:
        """(n,) rad: lower bounds of the smallest clear angles from points (n, k, 3) of the tool that may be in the way.

        NaN stands for no point; infinite where the bound is beyond the limit (n,).
        """
        n = len(postures)
        alpha, known = postures.alpha.copy(), np.where(np.isnan(witness[..., 0]), -1, 0)
        part, touch = np.full(n, -1), np.empty((n, 3))
        for begin in range(0, n, 8 * _PART):
            live = np.arange(begin, min(begin + 8 * _PART, n))
            self._past_witnesses(postures, limit, live, alpha, witness, known, part, touch)
        return np.where(alpha <= limit, alpha, np.inf)

    def stopper(self, postures: Postures) -> tuple[Ints, Floats]:
        """What stops slightly smaller angles: part (n,), an index into PARTS or -1, and tool points (n, 3) mm."""
        part, touch = np.full(len(postures), -1), np.full((len(postures), 3), np.nan)
        todo = np.flatnonzero(postures.alpha > 0)
        for back in np.radians([0.02, 0.1, 0.5, 2.0]):
            if not len(todo):
                break
            now = postures.take(todo)
            step, point, which = self._worst(now.at(np.maximum(now.alpha - back, 0.0)))
            found = step > 0
            part[todo[found]], touch[todo[found]] = which[found], point[found]
            todo = todo[~found]
        return part, touch

    def clear(self, postures: Postures) -> NDArray[np.bool_]:
        """(n,) whether postures are clear at their own angles: few points first, then many, then every patch."""
        left = np.arange(len(postures))
        for many in (False, True):
            bound = self.scouted(postures.take(left), postures.alpha[left] + 1e-9, many)
            left = left[bound <= postures.alpha[left] + 1e-9]
        out = np.zeros(len(postures), bool)
        if len(left):
            out[left] = self._worst(postures.take(left))[0] == 0
        return out

    def _past_witnesses(
        self,
        postures: Postures,
        limit: Floats,
        live: Ints,
        alpha: Floats,
        witness: Floats,
        witness_part: Ints,
        part: Ints,
        touch: Floats,
    ) -> None:
        """Raise alpha until the points that were too deep before are clear: few points, so it costs little."""
        todo = live
        for _ in range(_STEPS):
            todo = todo[alpha[todo] <= limit[todo]]
            if not len(todo):
                return
            now = postures.take(todo).at(alpha[todo])
            turn, shift = placed(self.body, self.places, now)
            mine = witness[todo]
            known = witness_part[todo] >= 0
            at = np.einsum("nij,nkj->nki", turn, np.where(known[..., None], mine, 0.0)) + shift[:, None]
            d = self.wood.of_points(at.reshape(-1, 3)).reshape(known.shape)
            r = self._radius(now, mine)
            deep = np.where(known & (d < -self.tolerance - _DONE), (-d - self.tolerance) / r, 0.0)
            best = deep.argmax(1)
            rows = np.arange(len(todo))
            step = deep[rows, best]
            moved = step > 0
            i = todo[moved]
            alpha[i] += step[moved]
            touch[i] = mine[rows[moved], best[moved]]
            part[i] = witness_part[todo[moved], best[moved]]
            todo = i

    def _radius(self, postures: Postures, points: Floats) -> Floats:
        """(n, k): distance of tool points (n, k, 3) from the edge tangent the tool turns about."""
        k = postures.station
        rel = points - self.body.point[:, k].T[:, None]
        along = np.einsum("nkj,nj->nk", rel, self.body.edge[:, k].T)
        return np.sqrt(np.maximum((rel * rel).sum(-1) - along**2, 1e-12))

    def _worst(self, postures: Postures, close: bool = True) -> tuple[Floats, Floats, Ints]:
        """The point of each tool that forces the largest step: step (n,) rad (0 where clear), point (n, 3), part (n,).

        Where vertices are clearly too deep, one of them is enough for a step; only the others are looked at closely.
        """
        n = len(postures)
        step, point, part = np.zeros(n), np.zeros((n, 3)), np.full(n, -1)
        turn, shift = placed(self.body, self.places, postures)
        row_of, patch_of = [np.zeros(0, np.intp)], [np.zeros(0, np.intp)]
        for begin in range(0, n, AT_ONCE):
            rows = np.arange(begin, min(begin + AT_ONCE, n))
            self._look_at(self.body.near, postures, turn, shift, rows, (step, point, part), row_of, patch_of)
        far = np.flatnonzero((step == 0) & self._far_is_near(turn, shift))
        for begin in range(0, len(far), AT_ONCE):
            rows = far[begin : begin + AT_ONCE]
            self._look_at(self.body.far, postures, turn, shift, rows, (step, point, part), row_of, patch_of)
        if not close:
            return step, point, part
        row, patch = np.concatenate(row_of), np.concatenate(patch_of)
        keep = step[row] == 0
        self._look_closely(postures, turn, shift, row[keep], patch[keep], (step, point, part))
        return step, point, part

    def _far_is_near(self, turn: Floats, shift: Floats) -> NDArray[np.bool_]:
        """(n,) whether shank, ferrule or handle may touch at all."""
        if not len(self.body.far.patch):
            return np.zeros(len(turn), bool)
        return self.far_gap(turn, shift) < -self.tolerance

    def far_gap(self, turn: Floats, shift: Floats) -> Floats:
        """(n,) mm: lower bound of the gap between the wood and shank, ferrule and handle."""
        middle, radius = self.body.far_balls
        d = self.wood.at_least(*stand(turn, shift, middle))
        return np.asarray((d - radius).min(1))

    def _look_at(
        self,
        cloud: Cloud,
        postures: Postures,
        turn: Floats,
        shift: Floats,
        rows: Ints,
        worst: tuple[Floats, Floats, Ints],
        row_of: list[Ints],
        patch_of: list[Ints],
    ) -> None:
        """Vertices of a cloud for a few tools: a step where one is too deep, else the patches that may be.

        Only groups of vertices that may be near the wood are looked at.
        """
        step, point, part = worst
        which, middle, radius = cloud.groups
        at, rho = stand(turn[rows], shift[rows], middle)
        i, g = np.nonzero(self.wood.at_least(at, rho) < (radius - self.tolerance).astype(np.float32))
        if not len(i):
            return
        low, need = self._vertices(cloud.vertices[which[g]], postures.take(rows), turn[rows], shift[rows], i)
        first = np.flatnonzero(np.diff(i, prepend=-1))
        here, vertex = i[first], which[g].ravel()
        best = vertex[largest(need, first)]
        d = self.wood.of_points(np.einsum("nij,nj->ni", turn[rows[here]], cloud.vertices[best]) + shift[rows[here]])
        deep = d < -self.tolerance - _DONE
        r, b = rows[here[deep]], best[deep]
        step[r] = (-d[deep] - self.tolerance) / self._radius(postures.take(r), cloud.vertices[b][:, None])[:, 0]
        point[r], part[r] = cloud.vertices[b], cloud.part[b]
        slot = np.full(len(rows), -1)
        slot[here[~deep]] = np.arange(len(here) - len(r))
        if len(r) == len(here):
            return
        row, table = slot[i], np.full((len(here) - len(r), len(cloud.vertices)), np.float32(np.inf))
        mine = row >= 0
        row, which, low = np.repeat(row[mine], which.shape[1]), which[g[mine]].ravel(), low[mine].ravel()
        table[row, which] = low
        near = low < cloud.reach[which] - self.tolerance
        flags = np.zeros((len(table), len(cloud.patch)), bool)
        flags[cloud.meeting(row[near], which[near])] = True
        i, patch = np.nonzero(flags)
        least = -most_of_four(-table[i[:, None], cloud.corner[patch]])
        near = least < self.body.radius[cloud.patch[patch]] - self.tolerance
        i, patch, least = i[near], patch[near], least[near]
        r, patch = rows[here[~deep][i]], cloud.patch[patch]
        placed_middle = np.einsum("nij,nj->ni", turn[r], self.body.middle[patch]) + shift[r]
        dip = self.dips(placed_middle, self.body.radius[patch], least)
        keep = least - dip < -self.tolerance
        row_of.append(r[keep])
        patch_of.append(patch[keep])

    def _vertices(
        self, vertices: Floats, postures: Postures, turn: Floats, shift: Floats, row: Ints
    ) -> tuple[Singles, Singles]:
        """For vertices (m, k, 3) of the tools in `row` (m,): lower bounds of distances, and about the steps they need.

        The steps only serve to choose a vertex: single precision will do.
        """
        at = moved(vertices.astype(np.float32), turn.astype(np.float32)[row], shift.astype(np.float32)[row])
        low = self.wood.at_least(at[0], np.sqrt(at[1] ** 2 + at[2] ** 2))
        w = self.places.point[postures.place].astype(np.float32)[row]
        edge = np.einsum("nij,jn->ni", turn, self.body.edge[:, postures.station]).astype(np.float32)[row]
        x, y, z = at[0] - w[:, :1], at[1] - w[:, 1:], at[2]
        r2 = x * x + y * y + z * z - (x * edge[:, :1] + y * edge[:, 1:2] + z * edge[:, 2:]) ** 2
        return low, (np.float32(-self.tolerance) - low) / np.sqrt(np.maximum(r2, np.float32(1e-6)))

    def _look_closely(
        self,
        postures: Postures,
        turn: Floats,
        shift: Floats,
        row: Ints,
        patch: Ints,
        worst: tuple[Floats, Floats, Ints],
    ) -> None:
        """Cut patches up until none can hold a point much deeper than its corners."""
        step = worst[0]
        corners = self.placed_corners(turn, shift, row, patch)
        d = self._first_distances(row, patch, corners)
        while len(row):
            self._keep_worst(postures, turn, shift, row, patch, corners, d, worst)
            middle, radius = balls(corners)
            least = -most_of_four(-d)
            dip = self.dips(middle, radius, least)
            # Tools that are known to be too deep take their step first.
            near = (least - dip < -self.tolerance) & (dip > FINEST_MM) & (step[row] == 0)
            row, patch, corners, d = cut_up(row[near], patch[near], corners[near], d[near], self.wood.of_points)

    def _first_distances(self, row: Ints, patch: Ints, corners: Floats) -> Floats:
        """(m, 4) mm: distances of placed corners (m, 4, 3); a vertex of several patches is measured once a tool."""
        vertex, many = self.body.vertex_of
        key = ((row - row.min(initial=0))[:, None] * many + vertex[patch]).ravel()
        every = np.arange(len(key), dtype=np.int32)
        slot = np.empty(int(key.max(initial=-1)) + 1, np.int32)
        slot[key] = every  # of equal keys the last one stays, and measures for all
        first = slot[key]
        alone = np.flatnonzero(first == every)
        d = np.empty(len(key))
        d[alone] = self.wood.of_points(corners.reshape(-1, 3)[alone])
        return d[first].reshape(-1, 4)

    def _keep_worst(
        self,
        postures: Postures,
        turn: Floats,
        shift: Floats,
        row: Ints,
        patch: Ints,
        corners: Floats,
        d: Floats,
        worst: tuple[Floats, Floats, Ints],
    ) -> None:
        """Take the placed corners (m, 4, 3) at distances d (m, 4) that need the largest step into `worst`."""
        step, point, part = worst
        i, c = np.nonzero(d < -self.tolerance - _DONE)
        if not len(i):
            return
        r = row[i]
        at = np.einsum("nji,nj->ni", turn[r], corners[i, c] - shift[r])  # back on the tool
        need = (-d[i, c] - self.tolerance) / self._radius(postures.take(r), at[:, None])[:, 0]
        order = np.lexsort((-need, r))
        first = order[np.unique(r[order], return_index=True)[1]]
        j = first[need[first] > step[r[first]]]
        step[r[j]], point[r[j]], part[r[j]] = need[j], at[j], self.body.part[patch[i[j]]]

    def placed_corners(self, turn: Floats, shift: Floats, row: Ints, patch: Ints) -> Floats:
        """(m, 4, 3) mm: corners of patches of the tools in `row`, as they stand."""
        return np.matmul(self.body.corners[patch], turn[row].transpose(0, 2, 1)) + shift[row][:, None]

    def dips(self, middle: Floats, radius: Floats, least: Floats) -> Floats:
        """(m,) mm: by how much the distance inside placed patches may fall below the least at their corners."""
        return self.wood.dip(middle[:, 0], np.hypot(middle[:, 1], middle[:, 2]), radius, least)


__all__ = ["BEHIND_HEEL", "FINEST_MM", "PARTS", "TOLERANCE_MM", "Contact", "Found"]
