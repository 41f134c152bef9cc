"""The pose that puts a given place of the edge on the wheel, for each kind of jig, and the motions left to it there.

A trace asks three things of the jig's three motions: the edge point lies on the wheel's face, the wheel's normal there
is square to the edge, and the contact is at a chosen place across the face. A ball joint has a closed form (see
`gougeform.machine.rig`); where the pose follows from the roll, one scalar equation in it is left, solved here.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from gougeform.machine.pose import Pose, cross, dot
from gougeform.machine.solid import WheelSolid

Floats = NDArray[np.float64]

_ROLL_GRID = np.radians(np.arange(-150.0, 150.1, 2.5))
_SAME_THREAD = 0.35  # rad: a root farther from where the thread leads belongs to another one
_NEWTON_DONE = 1e-13
_LAST_STEP = 1e-11  # rad: poses are to be good to 1e-10, and near the end of what a jig can do roots are nearly double
_XZ = np.array([[1.0], [0.0], [1.0]])

Twist = tuple[Floats, Floats]
Floats3 = tuple[Floats, Floats, Floats]


def solve3(rows: tuple[Floats, Floats, Floats], right: tuple[Floats, Floats, Floats]) -> Floats:
    """(3, n): solutions of n systems of three equations with coefficient rows (3, n) each, by Cramer's rule."""
    a, b, c = rows
    bc, ca, ab = cross(b, c), cross(c, a), cross(a, b)
    return (right[0] * bc + right[1] * ca + right[2] * ab) / dot(a, bc)


def contact_place(m2: Floats, rim: float, k: float) -> tuple[Floats, Floats]:
    """X, Z on the wheel's face of the points at distance √m2 from the pivot (rim, 0), the upper of the two."""
    x = -k * (m2 - rim * rim) / (2 * (1 + k * rim))
    return x, np.sqrt(m2 - (x - rim) ** 2)


class Motions(Protocol):
    """A jig's three motions at a pose."""

    def keep_trace(self, k: float, contact: Floats, normal: Floats, tangent: Floats, right: Floats3) -> Twist:
        """Omega and drift (3, n) of the combination that keeps an edge point on the face, tangent, and in place."""
        ...


class Solver(Protocol):
    """What a traced path needs of a jig."""

    def place(self, edge: Floats, along: Floats, s: Floats) -> tuple[Pose, Floats, Motions]:
        """Poses that put `edge` (3, n) on the wheel with tangent `along` square to its normal.

        Returns them, the contact points (3, n) and the jig's three motions there.
        """
        ...


@dataclass(frozen=True)
class Ball:
    """Motions of a ball joint at `pivot` (3, 1): any turn about it."""

    pivot: Floats

    def keep_trace(self, k: float, contact: Floats, normal: Floats, tangent: Floats, right: Floats3) -> Twist:
        """Omega and drift (3, n) that keep the three conditions of a trace while s grows by one."""
        q = contact - self.pivot
        flat = tangent * _XZ
        across = np.zeros(q.shape)
        across[0], across[2] = -q[2], q[0]
        omega = solve3((cross(q, normal), across, k * cross(q, flat) + cross(tangent, normal)), right)
        return omega, -cross(omega, self.pivot)


@dataclass(frozen=True)
class Three:
    """Three separate motions, each a velocity field omega × x + drift."""

    fields: list[Twist]

    def keep_trace(self, k: float, contact: Floats, normal: Floats, tangent: Floats, right: Floats3) -> Twist:
        """As `Ball.keep_trace`, all (3, n)."""
        flat = tangent * _XZ
        speed = [cross(o, contact) + d for o, d in self.fields]
        bend = [k * dot(v, flat) + dot(normal, cross(o, tangent)) for v, (o, _) in zip(speed, self.fields, strict=True)]
        rates = solve3(
            (np.stack([dot(normal, v) for v in speed]), np.stack([v[1] for v in speed]), np.stack(bend)),
            right,
        )
        omega, drift = (sum(r * f[i] for r, f in zip(rates, self.fields, strict=True)) for i in (0, 1))
        return omega, drift


@dataclass(frozen=True)
class Hinged:
    """Motions of a rod jig: a turn about `axis` (3, n) through `hinge` (3, n), one about the rod, one along it.

    rim: how far the rod's centre lies from the wheel's rim, mm.
    """

    axis: Floats
    hinge: Floats
    rim: float

    def keep_trace(self, k: float, contact: Floats, normal: Floats, tangent: Floats, right: Floats3) -> Twist:
        """As `Ball.keep_trace`: the slide follows from the place across the face, the dip from staying on it."""
        roll = cross(self.axis, contact - self.hinge)
        dip_x, dip_z = contact[2], self.rim - contact[0]
        share = -dot(normal, roll) / (normal[0] * dip_x + normal[2] * dip_z)
        moved_x, moved_z = roll[0] + share * dip_x, roll[2] + share * dip_z
        turned = dot(normal, cross(self.axis, tangent)) + share * (normal[0] * tangent[2] - normal[2] * tangent[0])
        rate = right[2] / (k * (moved_x * tangent[0] + moved_z * tangent[2]) + turned)
        omega = rate * self.axis
        drift = -cross(omega, self.hinge)
        dip = rate * share
        omega[1] += dip
        drift[2] += dip * self.rim
        drift[1] += right[1] - rate * roll[1]
        return omega, drift


class Rolled(Protocol):
    """A jig whose pose follows from its roll, all but the one condition that the edge is tangent to the wheel."""

    def placed(self, wheel: WheelSolid, contact: float, edge: Floats, roll: Floats) -> tuple[Pose, Floats, Motions]:
        """As `Solver.place` with edge (3, n), at a given roll (n,); contact: place across the wheel's face, mm."""
        ...

    def miss(
        self, wheel: WheelSolid, contact: float, edge: Floats, along: Floats, roll: Floats
    ) -> tuple[Floats, Floats]:
        """The wheel's normal times the edge's tangent along (3, n) at a roll (n,), and its derivative by the roll."""
        ...


@dataclass(frozen=True)
class RollSolver:
    """A `Rolled` jig: given the roll, everything else follows; the roll solves one scalar equation."""

    jig: Rolled
    wheel: WheelSolid
    contact: float
    known_s: Floats = field(default_factory=lambda: np.zeros(0))
    known_roll: Floats = field(default_factory=lambda: np.zeros(0))

    def at_roll(self, edge: Floats, roll: Floats) -> tuple[Pose, Floats, Motions]:
        """As `Solver.place` with edge (3, n), at a given roll (n,)."""
        return self.jig.placed(self.wheel, self.contact, edge, roll)

    def miss(self, edge: Floats, along: Floats, roll: Floats) -> tuple[Floats, Floats]:
        """N · E′ at a roll, and its derivative by the roll (both (n,))."""
        return self.jig.miss(self.wheel, self.contact, edge, along, roll)

    def place(self, edge: Floats, along: Floats, s: Floats) -> tuple[Pose, Floats, Motions]:
        """As `Solver` says; edge and along (3, n), s (n,)."""
        roll = self._near(s)
        for _ in range(12):
            f, slope = self.miss(edge, along, roll)
            step = f / slope
            roll = roll - np.clip(step, -0.1, 0.1)
            # What a Newton step leaves is of the size of its square.
            if not (np.abs(step) > _LAST_STEP).any():
                break
        return self.at_roll(edge, roll)

    def _near(self, s: Floats) -> Floats:
        """A start for the roll at s (n,): the cubic through four of the known ones, which are evenly spaced."""
        at, roll, last = self.known_s, self.known_roll, len(self.known_s) - 1
        t = (s - at[0]) * (last / (at[-1] - at[0]))
        k = np.clip(np.floor(t).astype(np.intp), 1, last - 2)
        t = t - k
        a, b, c, d = roll[k - 1], roll[k], roll[k + 1], roll[k + 2]
        bent = (t - 1) * (t * (2 - t) * a + 3 * (t + 1) * (t - 2) * b) - t * (t + 1) * (3 * (t - 2) * c + (1 - t) * d)
        return bent / 6


def follow_roll(jig: RollSolver, point: Floats, along: Floats) -> tuple[Floats, bool]:
    """Rolls (K,) that trace the outline at the knots, followed outward from the nose; NaN where the thread ends.

    Also whether it was lost although there is a root, only too far from the last one: then closer knots may help.
    """
    grid = _ROLL_GRID
    k, g = point.shape[1], len(grid)
    wide = [np.repeat(a, g, axis=1) for a in (point, along)]
    f = jig.miss(wide[0], wide[1], np.tile(grid, k))[0].reshape(k, g)
    with np.errstate(invalid="ignore", divide="ignore"):
        change = f[:, :-1] * f[:, 1:] <= 0
        root = grid[:-1] - f[:, :-1] * np.diff(grid) / (f[:, 1:] - f[:, :-1])
    knot, place = np.nonzero(change & np.isfinite(root))
    # Plain lists of each knot's few roots: the thread goes from knot to knot, and arrays of three are slow.
    roots = [part.tolist() for part in np.split(root[knot, place], np.searchsorted(knot, np.arange(1, k)))]
    roll = np.full(k, np.nan)
    middle, lost = k // 2, False
    for way in (1, -1):
        last, before = 0.0, 0.0
        for i in range(middle, k if way > 0 else -1, way):
            ahead = 2 * last - before if i != middle else 0.0
            off, nearest = min(((abs(value - ahead), value) for value in roots[i]), default=(np.inf, 0.0))
            if off > _SAME_THREAD:
                lost |= bool(roots[i])
                break
            before, last = last, nearest
            roll[i] = last
            if i == middle:
                before = last
    # Sharpen the crossings of the grid to full precision.
    ok = np.isfinite(roll)
    fine = RollSolver(jig.jig, jig.wheel, jig.contact)
    r = roll[ok]
    for _ in range(20):
        value, slope = fine.miss(point[:, ok], along[:, ok], r)
        step = value / slope
        r = r - np.clip(step, -0.05, 0.05)
        if not (np.abs(step) > _NEWTON_DONE).any():
            break
    roll[ok] = r
    return roll, lost
