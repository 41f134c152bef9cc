"""The pose that puts a given place of the edge on the wheel, for each kind of jig, and the motions left to it there.

A trace asks three things of the jig's three motions: the edge point lies on the wheel's face, the wheel's normal there
is square to the edge, and the contact is at a chosen place across the face. The foot jig has a closed form; rod jig
and table leave one scalar equation in the roll.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from gougeform.machine.jig import FootJig, Pose, RodJig, Table, apply, cross, dot, table_centre, table_frame
from gougeform.machine.wheel import Wheel

Floats = NDArray[np.float64]

_ROLL_GRID = np.radians(np.arange(-150.0, 150.1, 2.5))
_SAME_THREAD = 0.35  # rad: a root farther from where the thread leads belongs to another one
_NEWTON_DONE = 1e-13
_LAST_STEP = 1e-11  # rad: poses are to be good to 1e-10, and near the end of what a jig can do roots are nearly double
_XZ = np.array([[1.0], [0.0], [1.0]])

Twist = tuple[Floats, Floats]
Floats3 = tuple[Floats, Floats, Floats]


def _solve3(rows: tuple[Floats, Floats, Floats], right: tuple[Floats, Floats, Floats]) -> Floats:
    """(3, n): solutions of n systems of three equations with coefficient rows (3, n) each, by Cramer's rule."""
    a, b, c = rows
    bc, ca, ab = cross(b, c), cross(c, a), cross(a, b)
    return (right[0] * bc + right[1] * ca + right[2] * ab) / dot(a, bc)


def _contact_place(m2: Floats, rim: float, k: float) -> tuple[Floats, Floats]:
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
        omega = _solve3((cross(q, normal), across, k * cross(q, flat) + cross(tangent, normal)), right)
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
        rates = _solve3(
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


@dataclass(frozen=True)
class FootSolver:
    """Closed form: a triangle places the edge point on the wheel, one turn about the line to the pocket is left."""

    jig: FootJig
    wheel: Wheel
    contact: float
    root: float = 1.0

    def place(self, edge: Floats, along: Floats, s: Floats) -> tuple[Pose, Floats, Motions]:
        """As `Solver` says; edge and along (3, n), s (n,)."""
        k, rim, c = self.wheel.curvature, self.jig.rim, self.contact
        foot, pivot = self.jig.foot[:, None], np.array([[rim], [0.0], [0.0]])
        a = edge - foot
        length2 = dot(a, a)
        length = np.sqrt(length2)
        x, z = _contact_place(length2 - c * c, rim, k)
        contact = np.empty(a.shape)
        contact[0], contact[1], contact[2] = x, c, z
        q = contact - pivot
        normal = self.wheel.face_normal(contact)
        e, f = _frame(a, length, 0, 1.0), _frame(q, length, 1, -1.0)
        w, n = [dot(i, along) for i in e], [dot(i, normal) for i in f]
        # The tangent stays square to the normal: big_a cos ψ + big_b sin ψ = big_c.
        big_a, big_b, big_c = w[1] * n[1] + w[2] * n[2], w[1] * n[2] - w[2] * n[1], -w[0] * n[0]
        size2 = big_a**2 + big_b**2
        other = self.root * np.sqrt(size2 - big_c**2)
        cos, sin = (big_a * big_c - big_b * other) / size2, (big_b * big_c + big_a * other) / size2
        g1, g2 = cos * f[1] + sin * f[2], cos * f[2] - sin * f[1]
        turn = f[0][:, None] * e[0] + g1[:, None] * e[1] + g2[:, None] * e[2]
        return Pose(turn, pivot - apply(turn, foot)), contact, Ball(pivot)


def _frame(v: Floats, length: Floats, axis: int, sense: float) -> list[Floats]:
    """Orthonormal frame: along v, then the coordinate axis made square to it, then their cross product."""
    one = v / length
    two = -sense * one[axis] * one
    two[axis] += sense
    two = two / np.sqrt(1 - one[axis] ** 2)
    return [one, two, cross(one, two)]


@dataclass(frozen=True)
class RollSolver:
    """Rod jig and table: given the roll, everything else follows; the roll solves one scalar equation."""

    jig: RodJig | Table
    wheel: Wheel
    contact: float
    known_s: Floats = field(default_factory=lambda: np.zeros(0))
    known_roll: Floats = field(default_factory=lambda: np.zeros(0))

    def at_roll(self, edge: Floats, roll: Floats) -> tuple[Pose, Floats, Motions]:
        """As `Solver.place`, at a given roll (n,)."""
        if isinstance(self.jig, RodJig):
            return on_rod(self.jig, self.wheel, self.contact, edge, roll)
        return on_table(self.jig, self.wheel, self.contact, edge, roll)

    def miss(self, edge: Floats, along: Floats, roll: Floats) -> tuple[Floats, Floats]:
        """N · E′ at a roll, and its derivative by the roll (both (n,))."""
        if isinstance(self.jig, RodJig):
            return _miss_on_rod(self.jig, self.wheel, edge, along, roll)
        pose, contact, motions = on_table(self.jig, self.wheel, self.contact, edge, roll)
        normal, k = self.wheel.face_normal(contact), self.wheel.curvature
        tangent = apply(pose.turn, along)
        speed = [cross(o, contact) + d for o, d in motions.fields]
        # Rolling by one, the two other motions keep the point on the face at the same place across it.
        zero, one = np.zeros_like(roll), np.ones_like(roll)
        rates = _solve3(
            (
                np.stack([dot(normal, v) for v in speed]),
                np.stack([v[1] for v in speed]),
                np.stack([one, zero, zero]),
            ),
            (zero, zero, one),
        )
        moved = sum(r * v for r, v in zip(rates, speed, strict=True))
        turned = sum(r * o for r, (o, _) in zip(rates, motions.fields, strict=True))
        slope = k * (moved[0] * tangent[0] + moved[2] * tangent[2]) + dot(normal, cross(turned, tangent))
        return dot(normal, tangent), slope

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


def rotation(axis: Floats, angle: Floats) -> Floats:
    """(3, 3, n): turns about a unit axis (3,) by angles (n,), Rodrigues' formula."""
    x = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    return (
        np.eye(3)[:, :, None] * np.cos(angle)
        + x[:, :, None] * np.sin(angle)
        + np.outer(axis, axis)[:, :, None] * (1 - np.cos(angle))
    )


def on_rod(jig: RodJig, wheel: Wheel, contact: float, edge: Floats, roll: Floats) -> tuple[Pose, Floats, Hinged]:
    """Rod jig: at a given roll (n,) the dip about the rod puts the point on the face, the slide at its place."""
    rot = rotation(jig.axis, roll)
    v = apply(rot, edge - jig.hinge[:, None])
    v[1] += jig.shoe
    m2 = v[1] ** 2 + v[2] ** 2
    x, z = _contact_place(m2, jig.rim, wheel.curvature)
    x0, z0, x1, z1 = -v[2], v[1], x - jig.rim, z
    c, s, o = (x0 * x1 + z0 * z1) / m2, (x1 * z0 - z1 * x0) / m2, np.zeros_like(x)
    # Dip and base orientation in one: (x, y, z) of the tool go to (s y - c z, -x, c y + s z).
    turn = np.stack([s * rot[1] - c * rot[2], -rot[0], c * rot[1] + s * rot[2]])
    hinge_at = np.stack([s * jig.shoe + jig.rim, contact + v[0], c * jig.shoe])  # v[0] is the slide along the rod
    shift = hinge_at - apply(turn, jig.hinge[:, None])
    point = np.stack([x, np.full_like(x, contact), z])
    axis = np.stack([s * jig.axis[1] - c * jig.axis[2], o - jig.axis[0], c * jig.axis[1] + s * jig.axis[2]])
    return Pose(turn, shift), point, Hinged(axis, hinge_at, jig.rim)


def _miss_on_rod(jig: RodJig, wheel: Wheel, edge: Floats, along: Floats, roll: Floats) -> tuple[Floats, Floats]:
    """As `RollSolver.miss`, in the plane square to the rod: there dip turns the rolled tool from v to q.

    With both of length m, n · E′ = ((w · v) (n · q) + (v × w) (q × n)) / m², w the rolled tangent.
    """
    k, rim = wheel.curvature, jig.rim
    cos, sin = np.cos(roll), np.sin(roll)

    def rolled(u: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """The y and z components of a turned vector, and their derivatives by the roll."""
        _, ay, az = jig.axis
        along_axis = ay * u[1] + az * u[2]
        py, pz = u[1] - ay * along_axis, u[2] - az * along_axis
        ky, kz = az * u[0], -ay * u[0]
        y, z = ay * along_axis + py * cos + ky * sin, az * along_axis + pz * cos + kz * sin
        return y, z, ky * cos - py * sin, kz * cos - pz * sin

    vy, vz, dvy, dvz = rolled(edge - jig.hinge[:, None])
    wy, wz, dwy, dwz = rolled(along)
    vy = vy + jig.shoe
    m2, dm2 = vy * vy + vz * vz, 2 * (vy * dvy + vz * dvz)
    x, z = _contact_place(m2, rim, k)
    far = 1 + k * rim
    dx = -k / (2 * far) * dm2
    dz = (dm2 / 2 - (x - rim) * dx) / z
    even, odd = -far * x - rim, -far * z  # n · q and q × n
    w_v, v_w = wy * vy + wz * vz, vy * wz - vz * wy
    value = (w_v * even + v_w * odd) / m2
    dw_v, dv_w = dwy * vy + wy * dvy + dwz * vz + wz * dvz, dvy * wz + vy * dwz - dvz * wy - vz * dwy
    slope = (dw_v * even - w_v * far * dx + dv_w * odd - v_w * far * dz - value * dm2) / m2
    return value, slope


def on_table(jig: Table, wheel: Wheel, contact: float, edge: Floats, roll: Floats) -> tuple[Pose, Floats, Three]:
    """Table: at a given roll (n,) the feed puts the point on the face, the swing at its place across it."""
    up, ahead, base = table_frame(jig)
    centre = table_centre(jig)
    c, s = np.cos(roll), np.sin(roll)
    xr, yr = c * edge[0] - s * edge[1], s * edge[0] + c * edge[1]
    o = centre[:, None] + yr * up[:, None]
    along, _ = wheel.face_roots(o[0], o[2], ahead[0], ahead[2])
    length = np.sqrt(along**2 + contact**2 - xr**2)
    swing = np.arctan2(-contact, along) - np.arctan2(xr, length)
    turned = np.einsum("ijn,jk->ikn", rotation(up, swing), base)
    turn = np.einsum("ijn,jkn->ikn", turned, rotation(np.array([0.0, 0.0, 1.0]), roll))
    bar = turned[:, 2]
    shift = centre[:, None] + (length - edge[2]) * bar
    point = o + along * ahead[:, None]
    point[1] = contact
    still = np.zeros_like(bar)
    upward = np.broadcast_to(up[:, None], bar.shape)
    motions = [
        (bar, -cross(bar, shift)),
        (still, bar),
        (upward, -cross(upward, np.broadcast_to(centre[:, None], bar.shape))),
    ]
    return Pose(turn, shift), point, Three(motions)


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
