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
from gougeform.reach.patches import cut_up, most_of_four, products
from gougeform.reach.posture import Places, Postures, placed, turned_about_edge
from gougeform.work.distance import BEND_REACH_MM, Wood

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

TOLERANCE_MM = 0.02
"""A posture is clear where no point of the tool is deeper in the wood than this."""

FINEST_MM = 0.01
"""Patches near the wood are cut up until no point of one can be deeper than its corners by more than this."""

_DONE = 2e-4  # mm over the tolerance that still counts as clear: ends the steps
_WITNESSES = 6
_STEPS = 400
_PART = 400  # postures looked at together
AT_ONCE = 48  # postures whose vertices are all measured together: their tables stay in the processor's cache


@dataclass(frozen=True, eq=False)
class Found:
    """n smallest clear angles alpha (n,) rad, infinite where there is none up to the limit.

    part: (n,) what stopped a smaller angle, an index into PARTS, -1 where nothing did; touch: (n, 3) tool point there.
    """

    alpha: Floats
    part: Ints
    touch: Floats


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
        out = np.full(len(postures), np.inf)
        limits = np.broadcast_to(np.asarray(limit, float), (len(postures),))
        points = self.body.scouts[1 if many else 0]
        size = max(16_384 // len(points), 1)
        order = np.argsort(postures.station, kind="stable")
        for mine in np.split(order, np.flatnonzero(np.diff(postures.station[order])) + 1):
            if not len(mine):
                continue
            k = int(postures.station[mine[0]])
            frame = np.stack([self.body.edge[:, k], self.body.back[:, k], self.body.out[:, k]], 1)
            local = (points - self.body.point[:, k]) @ frame
            for begin in range(0, len(mine), size):
                part = mine[begin : begin + size]
                out[part] = self._scout(local, postures.take(part), limits[part])
        return out

    def _scout(self, local: Floats, postures: Postures, limit: Floats) -> Floats:
        radius = np.maximum(np.hypot(local[:, 1], local[:, 2]), 1e-6).astype(np.float32)
        local = local.astype(np.float32)
        alpha, out = postures.alpha.copy(), np.full(len(postures), np.inf)
        live = np.arange(len(postures))
        for _ in range(60):
            now = postures.take(live).at(alpha[live])
            turn = turned_about_edge(self.places, now)
            at = products(turn.astype(np.float32).reshape(-1, 3), local).reshape(len(live), 3, -1)
            w = self.places.point[now.place].astype(np.float32)
            x = at[:, 0] + w[:, :1]
            y = at[:, 1] + w[:, 1:]
            rho = np.sqrt(y * y + at[:, 2] ** 2)
            step = ((-self.wood.at_most(np.asarray(x), np.asarray(rho)) - self.tolerance) / radius).max(1)
            out[live[step <= 1e-3]] = alpha[live[step <= 1e-3]]
            alpha[live] += np.maximum(step, 0)
            live = live[(step > 1e-3) & (alpha[live] <= limit[live])]
            if not len(live):
                return out
        out[live] = alpha[live]
        return out

    def depths(self, postures: Postures) -> Floats:
        """(n,) mm: how deep the deepest of a few points of each tool is in the wood."""
        out = np.empty(len(postures))
        points = self.body.scouts[0]
        for begin in range(0, len(postures), _PART):
            part = np.arange(begin, min(begin + _PART, len(postures)))
            turn, shift = placed(self.body, self.places, postures.take(part))
            at = products(turn.reshape(-1, 3), points).reshape(len(part), 3, -1) + shift[:, :, None]
            out[part] = (-self.wood.at_least(at[:, 0], np.hypot(at[:, 1], at[:, 2]))).max(1)
        return out

    def smallest(self, postures: Postures, limit: Floats | float, *, close: bool = True) -> Found:
        """The smallest clear angles from the postures' own on; limit (n,) or one for all, rad.

        Without `close` only the patches' vertices count, which gives a lower bound.
        """
        n = len(postures)
        found = Found(np.full(n, np.inf), np.full(n, -1), np.full((n, 3), np.nan))
        limits = np.broadcast_to(np.asarray(limit, float), (n,))
        for begin in range(0, n, _PART):
            part = np.arange(begin, min(begin + _PART, n))
            one = self._advance(postures.take(part), limits[part], close)
            found.alpha[part], found.part[part], found.touch[part] = one.alpha, one.part, one.touch
        return found

    def _advance(self, postures: Postures, limit: Floats, close: bool) -> Found:
        n = len(postures)
        alpha = postures.alpha.copy()
        part, touch = np.full(n, -1), np.full((n, 3), np.nan)
        witness = np.full((n, _WITNESSES, 3), np.nan)
        witness_part = np.full((n, _WITNESSES), -1)
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
            slot = used[live] % _WITNESSES
            witness[live, slot], witness_part[live, slot] = point, which
            used[live] += 1
            part[live], touch[live] = which, point
            alpha[live] += step
            self._past_witnesses(postures, limit, live, alpha, witness, witness_part, part, touch)
        return Found(np.where(clear, alpha, np.inf), part, touch)

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
        at = products(turn.reshape(-1, 3), middle).reshape(len(turn), 3, -1) + shift[:, :, None]
        d = self.wood.at_least(at[:, 0], np.hypot(at[:, 1], at[:, 2]))
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
        """All vertices of a cloud for a few tools: a step where one is too deep, else the patches that may be."""
        step, point, part = worst
        v, single = cloud.vertices, cloud.vertices.astype(np.float32)
        at = products(turn[rows].astype(np.float32).reshape(-1, 3), single).reshape(len(rows), 3, -1)
        at += shift[rows].astype(np.float32)[:, :, None]
        x, rho = at[:, 0], np.sqrt(at[:, 1] ** 2 + at[:, 2] ** 2)
        low = self.wood.at_least(np.asarray(x), np.asarray(rho))
        k = postures.station[rows]
        e, origin = self.body.edge[:, k].T, self.body.point[:, k].T
        # Square of the distance from the edge tangent; it only serves to choose a vertex.
        r2 = (v * v).sum(1).astype(np.float32) - products((2 * origin).astype(np.float32), single)
        along = products(e.astype(np.float32), single) - (e * origin).sum(1)[:, None].astype(np.float32)
        r2 += (origin * origin).sum(1)[:, None].astype(np.float32) - along**2
        need = (np.float32(-self.tolerance) - low) / np.sqrt(np.maximum(r2, np.float32(1e-6)))
        best = need.argmax(1)
        here = np.arange(len(rows))
        worst_at = np.einsum("nij,nj->ni", turn[rows], v[best]) + shift[rows]
        d = self.wood.of_points(worst_at)
        deep = d < -self.tolerance - _DONE
        r, b = rows[deep], best[deep]
        step[r] = (-d[deep] - self.tolerance) / self._radius(postures.take(r), v[b][:, None])[:, 0]
        point[r] = v[b]
        part[r] = self._part_at(cloud, b)
        j = here[~deep]
        if not len(j):
            return
        corner = cloud.corner.T
        lowest = np.minimum(
            np.minimum(low[j][:, corner[0]], low[j][:, corner[1]]),
            np.minimum(low[j][:, corner[2]], low[j][:, corner[3]]),
        )
        i, patch = np.nonzero(lowest < self.body.radius[cloud.patch] - self.tolerance)
        least, r, patch = lowest[i, patch], rows[j[i]], cloud.patch[patch]
        dip = self.dips(turn, shift, r, self.body.middle[patch], self.body.radius[patch])
        keep = least - dip < -self.tolerance
        row_of.append(r[keep])
        patch_of.append(patch[keep])

    def _part_at(self, cloud: Cloud, vertex: Ints) -> Ints:
        """(n,) the part a vertex belongs to, the foremost where parts meet."""
        out = np.full(len(cloud.vertices), len(PARTS))
        np.minimum.at(out, cloud.corner.ravel(), np.repeat(self.body.part[cloud.patch], 4))
        return out[vertex]

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
        corners = self.body.corners[patch]
        while len(row):
            d = self.corner_distances(turn, shift, row, corners)
            self._keep_worst(postures, row, patch, corners, d, worst)
            middle = (corners[:, 0] + corners[:, 1] + corners[:, 2] + corners[:, 3]) / 4
            off = corners - middle[:, None]
            radius = np.sqrt(most_of_four(np.einsum("nij,nij->ni", off, off)))
            dip = self.dips(turn, shift, row, middle, radius)
            # Tools that are known to be too deep take their step first.
            near = (-most_of_four(-d) - dip < -self.tolerance) & (dip > FINEST_MM) & (step[row] == 0)
            row, patch, corners = cut_up(row[near], patch[near], corners[near])

    def _keep_worst(
        self,
        postures: Postures,
        row: Ints,
        patch: Ints,
        corners: Floats,
        d: Floats,
        worst: tuple[Floats, Floats, Ints],
    ) -> None:
        """Take the corners (m, 4, 3) at distances d (m, 4) that need the largest step into `worst`."""
        step, point, part = worst
        i, c = np.nonzero(d < -self.tolerance - _DONE)
        if not len(i):
            return
        at, r = corners[i, c], row[i]
        need = (-d[i, c] - self.tolerance) / self._radius(postures.take(r), at[:, None])[:, 0]
        order = np.lexsort((-need, r))
        first = order[np.unique(r[order], return_index=True)[1]]
        j = first[need[first] > step[r[first]]]
        step[r[j]], point[r[j]], part[r[j]] = need[j], at[j], self.body.part[patch[i[j]]]

    def corner_distances(self, turn: Floats, shift: Floats, row: Ints, corners: Floats) -> Floats:
        """(m, 4) mm: distances of patch corners (m, 4, 3) of the tools in `row`."""
        at = np.einsum("nij,ncj->nci", turn[row], corners) + shift[row][:, None]
        return self.wood.of_points(at.reshape(-1, 3)).reshape(-1, 4)

    def dips(self, turn: Floats, shift: Floats, row: Ints, middle: Floats, radius: Floats) -> Floats:
        """(m,) mm: by how much the distance inside patches may fall below that at their corners."""
        at = np.einsum("nij,nj->ni", turn[row], middle) + shift[row]
        dip = self.wood.dip(at[:, 0], np.hypot(at[:, 1], at[:, 2]), radius)
        return np.where(radius <= BEND_REACH_MM, dip, radius)


__all__ = ["BEHIND_HEEL", "FINEST_MM", "PARTS", "TOLERANCE_MM", "Contact", "Found"]
