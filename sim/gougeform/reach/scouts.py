"""Points of a tool that turn postures down: each that is too deep in the wood rules out the next angles.

Everything here is in single precision, with bounds from above for how far points are from the wood: what comes out is
a lower bound of a smallest clear angle. Lengths mm, angles rad.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gougeform.reach.body import Body
from gougeform.reach.patches import Singles, moved, products
from gougeform.reach.posture import Places, Postures, clearance_turns
from gougeform.work.distance import Wood

Floats = NDArray[np.float64]

_STEPS = 400
_NO_STEP = 1e-3  # rad: bounds are not made better in smaller steps
_FEWER = 32  # points that are followed, of many
_POINTS_AT_ONCE = 16_384  # their tables stay in the processor's cache


@dataclass(frozen=True, eq=False)
class Scouting:
    """Few or many points of a tool against a workpiece."""

    body: Body
    wood: Wood
    places: Places
    tolerance: float
    many: bool

    def bounds(self, postures: Postures, limits: Floats) -> Floats:
        """(n,) rad: lower bounds from the postures' own angles on, infinite beyond the limits (n,)."""
        out = np.full(len(postures), np.inf)
        points, radii = self.body.scouts[1 if self.many else 0]
        size = max(_POINTS_AT_ONCE // len(points), 1)
        for begin in range(0, len(postures), size):
            part = slice(begin, begin + size)
            out[part] = self._scout(points, radii, postures.take(np.arange(len(out))[part]), limits[part])
        return out

    def _scout(self, points: Singles, radii: Singles, postures: Postures, limit: Floats) -> Floats:
        alpha, out = postures.alpha.copy(), np.full(len(postures), np.inf)
        live, swing = np.arange(len(postures)), _Swing.of(self.body, self.places, postures)
        radius = radii[postures.station]
        for _ in range(_STEPS):
            turn, shift = swing.at(alpha[live])
            at = products(turn.reshape(-1, 3), points).reshape(len(live), 3, -1)
            at += shift[:, :, None]
            need = self._need(at[:, 0], at[:, 1], at[:, 2], radius)
            step = need.max(1)
            done = step <= _NO_STEP
            out[live[done]] = alpha[live[done]]
            if len(points) > 4 * _FEWER:
                # The deepest points set the next steps too; all are looked at again once these are out.
                deepest = np.argpartition(need, -_FEWER, axis=1)[:, -_FEWER:]
                alpha[live] = self._climb(
                    points[deepest], np.take_along_axis(radius, deepest, 1), swing, alpha[live], limit[live]
                )
            else:
                alpha[live] += np.maximum(step, 0)
            on = ~done & (alpha[live] <= limit[live])
            if not on.any():
                break
            if not on.all():
                live, swing, radius = live[on], swing.take(on), radius[on]
        return out

    def _climb(self, points: Singles, radius: Singles, swing: _Swing, alpha: Floats, limit: Floats) -> Floats:
        """Angles (n,) raised until none of the points (n, k, 3) is too deep, or past the limit (n,)."""
        alpha, live = alpha.copy(), np.arange(len(alpha))
        for _ in range(_STEPS):
            turn, shift = swing.at(alpha[live])
            step = self._need(*moved(points, turn, shift), radius).max(1)
            alpha[live] += np.maximum(step, 0)
            on = (step > _NO_STEP) & (alpha[live] <= limit[live])
            if not on.any():
                break
            live, points, radius, swing = live[on], points[on], radius[on], swing.take(on)
        return alpha

    def _need(self, x: Singles, y: Singles, z: Singles, radius: Singles) -> Singles:
        """(n, k) rad: how far the tool must turn on for points to come out; all single precision."""
        return (-self.wood.at_most(x, np.sqrt(y * y + z * z)) - np.float32(self.tolerance)) / radius


@dataclass(frozen=True, eq=False)
class _Swing:
    """n postures ready to be turned about their edge tangents: parts (3, n, 3, 3), edge points and places (n, 3)."""

    parts: Floats
    origin: Floats
    w: Floats

    @classmethod
    def of(cls, body: Body, places: Places, postures: Postures) -> _Swing:
        w = np.concatenate([places.point[postures.place], np.zeros((len(postures), 1))], 1)
        return cls(clearance_turns(body, places, postures), body.point[:, postures.station].T, w)

    def take(self, which: NDArray[np.bool_]) -> _Swing:
        return _Swing(self.parts[:, which], self.origin[which], self.w[which])

    def at(self, alpha: Floats) -> tuple[Singles, Singles]:
        """Turns (n, 3, 3) and shifts (n, 3) at clearance angles (n,), in single precision."""
        turn = (
            self.parts[0] + np.cos(alpha)[:, None, None] * self.parts[1] + np.sin(alpha)[:, None, None] * self.parts[2]
        )
        shift = self.w - np.matmul(turn, self.origin[:, :, None])[..., 0]
        return turn.astype(np.float32), shift.astype(np.float32)
