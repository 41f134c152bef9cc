"""The smallest clear clearance angle of postures, and the gap behind the heel: exact distances, no place left out.

Raising the clearance angle by d turns the tool about the edge tangent, so a tool point at radius r from it moves by no
more than r·d, and its distance to the wood changes by no more than that. A point that is deeper in the wood than the
tolerance by p therefore stays too deep for the next p / r radians: steps of the largest p / r over all points
never pass over a clear posture. The first clear angle found so is the smallest.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from gougeform.reach.body import BEHIND_HEEL, PARTS, Body
from gougeform.reach.posture import Places, Postures, placed, turned_about_edge
from gougeform.work.distance import Wood

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

TOLERANCE_MM = 0.02
"""A posture is clear where no point of the tool is deeper in the wood than this."""

FINEST_MM = 0.01
"""Patches near the wood are cut up to this radius: no point between the places measured is deeper by more."""

_DONE = 2e-4  # mm over the tolerance that still counts as clear: ends the steps
_WITNESSES = 6
_STEPS = 400
_PART = 400  # postures looked at together


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
    _local: dict[int, Floats] = field(default_factory=dict)

    def scouted(self, postures: Postures, limit: float) -> Floats:
        """(n,) rad: lower bounds of the smallest clear angles from a few points; infinite beyond the limit."""
        out = np.full(len(postures), np.inf)
        size = max(16_384 // len(self.body.scouts), 1)
        for k in np.unique(postures.station):
            mine = np.flatnonzero(postures.station == k)
            local = self._scouts_at(int(k))
            for begin in range(0, len(mine), size):
                part = mine[begin : begin + size]
                out[part] = self._scout(local, postures.take(part), limit)
        return out

    def _scouts_at(self, k: int) -> Floats:
        if k not in self._local:
            rel = self.body.scouts - self.body.point[:, k]
            self._local[k] = rel @ np.stack([self.body.edge[:, k], self.body.back[:, k], self.body.out[:, k]], 1)
        return self._local[k]

    def _scout(self, local: Floats, postures: Postures, limit: float) -> Floats:
        radius = np.maximum(np.hypot(local[:, 1], local[:, 2]), 1e-6)
        alpha, out = postures.alpha.copy(), np.full(len(postures), np.inf)
        live = np.arange(len(postures))
        room = self.tolerance + self.wood.slack
        for _ in range(60):
            now = postures.take(live).at(alpha[live])
            turn = turned_about_edge(self.places, now)
            at = (turn.reshape(-1, 3) @ local.T).reshape(len(live), 3, -1)
            w = self.places.point[now.place]
            x = at[:, 0] + w[:, :1]
            y = at[:, 1] + w[:, 1:]
            rho = np.sqrt(y * y + at[:, 2] ** 2)
            step = ((-self.wood.rough(x, rho) - room) / radius).max(1)
            out[live[step <= 1e-3]] = alpha[live[step <= 1e-3]]
            alpha[live] += np.maximum(step, 0)
            live = live[(step > 1e-3) & (alpha[live] <= limit)]
            if not len(live):
                return out
        out[live] = alpha[live]
        return out

    def smallest(self, postures: Postures, limit: Floats | float) -> Found:
        """The smallest clear angles from the postures' own on; limit (n,) or one for all, rad."""
        n = len(postures)
        found = Found(np.full(n, np.inf), np.full(n, -1), np.full((n, 3), np.nan))
        limits = np.broadcast_to(np.asarray(limit, float), (n,))
        for begin in range(0, n, _PART):
            part = np.arange(begin, min(begin + _PART, n))
            one = self._advance(postures.take(part), limits[part])
            found.alpha[part], found.part[part], found.touch[part] = one.alpha, one.part, one.touch
        return found

    def _advance(self, postures: Postures, limit: Floats) -> Found:
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
            step, point, which = self._worst(now)
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

    def _worst(self, postures: Postures) -> tuple[Floats, Floats, Ints]:
        """The point of each tool that forces the largest step: step (n,) rad (0 where clear), point (n, 3), part (n,)."""
        body = self.body
        turn, shift = placed(body, self.places, postures)
        n = len(postures)
        step, point, part = np.zeros(n), np.zeros((n, 3)), np.full(n, -1)
        row, patch = self._near_patches(turn, shift, np.full(n, self.tolerance))
        if not len(row):
            return step, point, part
        middle, radius = body.middle[patch], body.radius[patch]
        corners = None
        which = patch

        def look(row: Ints, which: Ints, at_tool: Floats) -> Floats:
            d = self.wood.of_points(np.einsum("nij,nj->ni", turn[row], at_tool) + shift[row])
            i = np.flatnonzero(d < -self.tolerance - _DONE)
            if len(i):
                k = postures.station[row[i]]
                rel = at_tool[i] - body.point[:, k].T
                r2 = (rel * rel).sum(1) - (rel * body.edge[:, k].T).sum(1) ** 2
                need = (-d[i] - self.tolerance) / np.sqrt(np.maximum(r2, 1e-12))
                order = np.lexsort((-need, row[i]))
                first = order[np.unique(row[i][order], return_index=True)[1]]
                better = need[first] > step[row[i][first]]
                j = i[first[better]]
                step[row[j]], point[row[j]], part[row[j]] = need[first[better]], at_tool[j], body.part[which[j]]
            return d

        while True:
            d = look(row, which, middle)
            # Tools that are known to be too deep take their step first; the others are looked at more closely.
            near = (d < radius - self.tolerance) & (step[row] == 0)
            last = near & (radius <= FINEST_MM)
            if corners is not None and last.any():
                for i in range(4):
                    look(row[last], which[last], corners[last, i])
            keep = near & (radius > FINEST_MM)
            if not keep.any():
                return step, point, part
            row, which = row[keep], which[keep]
            corners = body.corners[which] if corners is None else corners[keep]
            row, which, corners = _cut_up(row, which, corners)
            middle = corners.mean(1)
            radius = np.linalg.norm(corners - middle[:, None], axis=2).max(1)

    def _near_patches(self, turn: Floats, shift: Floats, room: Floats, allowed: Ints | None = None) -> tuple[Ints, Ints]:
        """Pairs (posture, patch) of patches that may hold a point closer to the wood than -room (n,)."""
        middle, radius, order, first = self.body.groups
        at = (turn.reshape(-1, 3) @ middle.T).reshape(len(turn), 3, -1) + shift[:, :, None]
        d = self.wood.rough(at[:, 0], np.hypot(at[:, 1], at[:, 2])) - self.wood.slack
        row, group = np.nonzero(d - radius < -room[:, None])
        size = first[group + 1] - first[group]
        start = np.cumsum(size) - size
        row = np.repeat(row, size)
        patch = order[np.arange(len(row)) - np.repeat(start, size) + np.repeat(first[group], size)]
        if allowed is not None:
            keep = np.isin(self.body.part[patch], allowed)
            row, patch = row[keep], patch[keep]
        at = np.einsum("nij,nj->ni", turn[row], self.body.middle[patch]) + shift[row]
        d = self.wood.rough(at[:, 0], np.hypot(at[:, 1], at[:, 2])) - self.wood.slack
        keep = d - self.body.radius[patch] < -room[row]
        return row[keep], patch[keep]


def _cut_up(row: Ints, which: Ints, corners: Floats) -> tuple[Ints, Ints, Floats]:
    """Halve patches across their longer side, or into four where they are about square."""
    a, b, c, d = (corners[:, i] for i in range(4))
    one = np.maximum(np.linalg.norm(b - a, axis=1), np.linalg.norm(c - d, axis=1))
    two = np.maximum(np.linalg.norm(d - a, axis=1), np.linalg.norm(c - b, axis=1))
    out_row, out_which, out = [], [], []
    across, along = one > 1.6 * two, two > 1.6 * one
    for mask, kind in ((across, 0), (along, 1), (~across & ~along, 2)):
        i = np.flatnonzero(mask)
        if not len(i):
            continue
        p, q, r, s = a[i], b[i], c[i], d[i]
        pq, qr, rs, sp = (p + q) / 2, (q + r) / 2, (r + s) / 2, (s + p) / 2
        middle = (pq + rs) / 2
        if kind == 0:
            new = [(p, pq, rs, s), (pq, q, r, rs)]
        elif kind == 1:
            new = [(p, q, qr, sp), (sp, qr, r, s)]
        else:
            new = [(p, pq, middle, sp), (pq, q, qr, middle), (middle, qr, r, rs), (sp, middle, rs, s)]
        for quad in new:
            out.append(np.stack(quad, 1))
            out_row.append(row[i])
            out_which.append(which[i])
    return np.concatenate(out_row), np.concatenate(out_which), np.concatenate(out)


__all__ = ["BEHIND_HEEL", "FINEST_MM", "PARTS", "TOLERANCE_MM", "Contact", "Found"]
