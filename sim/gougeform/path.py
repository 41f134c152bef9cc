"""The path of a grind: the continuous family of poses, exact at any place along it, and its velocity.

A path runs over s in [first, last]; `pose(s)` gives the placements, `moving(s)` also the tool's velocity field per
unit of s, x ↦ omega × x + drift, from which the envelope condition follows. Traced paths take s as the parameter of
the edge outline, -1 at the left lip, 0 at the nose, +1 at the right lip; steady ones take s as the roll angle.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.jig import BASE, AnyJig, FootJig, Pose, RodJig, Table, apply, cross, dot, table_centre, table_frame
from gougeform.recipe import TracedPath
from gougeform.section import Section
from gougeform.wheel import Wheel

Floats = NDArray[np.float64]

_ROLL_GRID = np.radians(np.arange(-150.0, 150.1, 2.5))
_NEWTON_DONE = 1e-13
_XZ = np.array([[1.0], [0.0], [1.0]])

Twist = tuple[Floats, Floats]
Floats3 = tuple[Floats, Floats, Floats]


@dataclass(frozen=True)
class Moving:
    """Poses with the tool's velocity field per unit of s: x ↦ omega × x + drift (both (3, n))."""

    pose: Pose
    omega: Floats
    drift: Floats

    def velocity(self, p: Floats) -> Floats:
        """(3, n): velocity of the tool points now at p (3, n)."""
        return cross(self.omega, p) + self.drift


class Path(Protocol):
    """A continuous family of poses."""

    @property
    def knots(self) -> Floats:
        """(K,): places close enough together to start a search from; the first and last are the path's ends."""
        ...

    def pose(self, s: Floats) -> Pose:
        """The placements at s (n,)."""
        ...

    def moving(self, s: Floats) -> Moving:
        """The placements at s (n,) and how they change."""
        ...


@dataclass(frozen=True)
class EdgeOutline:
    """The wanted edge seen from above: one conic a side, nose (0, 0), ends (x_left, -wing) and (x_right, -wing).

    A rational quadratic Bézier with control point (shoulder·x_end, 0) and middle weight fullness / (1 - fullness).
    """

    section: Section
    x_left: float
    x_right: float
    wing: float
    fullness: float
    shoulder: float

    def at(self, s: Floats) -> tuple[Floats, Floats, Floats]:
        """Point, first and second derivative by s (each (3, n)) of the edge in the tool frame."""
        t, sign = np.abs(s), np.where(s < 0, -1.0, 1.0)
        w = self.fullness / (1 - self.fullness)
        x_end = np.where(s < 0, -self.x_left, self.x_right)
        # Numerators and the common denominator are quadratics in t: value, first, second derivative.
        den, den1, den2 = 1 + (2 * w - 2) * t * (1 - t), (2 * w - 2) * (1 - 2 * t), -2 * (2 * w - 2)
        k = 2 * w * self.shoulder
        x0, x1, x2 = k * t + (1 - k) * t * t, k + 2 * (1 - k) * t, 2 * (1 - k)
        x = x0 / den
        dx = (x1 - x * den1) / den
        ddx = (x2 - 2 * dx * den1 - x * den2) / den
        z = t * t / den
        dz = (2 * t - z * den1) / den
        ddz = (2 - 2 * dz * den1 - z * den2) / den
        x, dx, ddx = x * x_end, dx * x_end, ddx * x_end
        z, dz, ddz = -self.wing * z, -self.wing * dz, -self.wing * ddz
        y, slope, bend = self.section.flute.height(x)
        return (
            np.stack([sign * x, y + self.section.y_floor, z]),
            np.stack([dx, sign * slope * dx, sign * dz]),
            np.stack([sign * ddx, bend * dx * dx + slope * ddx, ddz]),
        )


def edge_outline(section: Section, path: TracedPath) -> EdgeOutline:
    """The outline a traced grind asks for on this section."""
    # Where a wall leans inward the outline ends at the flute's widest place: further out is not seen from above.
    widest = section.flute.widest * (1 - 1e-6)
    return EdgeOutline(
        section,
        x_left=-min(-float(section.lip(-1)[0]), widest) if section.u_left else 0.0,
        x_right=min(float(section.lip(1)[0]), widest),
        wing=path.wing_length_mm,
        fullness=path.fullness,
        shoulder=path.shoulder,
    )


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
        """omega and drift (3, n) of the combination that keeps an edge point on the face, tangent, and in place."""
        ...


class _Solver(Protocol):
    """What a traced path needs of a jig."""

    def place(self, edge: Floats, along: Floats, s: Floats) -> tuple[Pose, Floats, Motions]:
        """Poses that put `edge` (3, n) on the wheel with tangent `along` square to its normal.

        Returns them, the contact points (3, n) and the jig's three motions there.
        """
        ...


@dataclass(frozen=True)
class _Ball:
    """Motions of a ball joint at `pivot` (3, 1): any turn about it."""

    pivot: Floats

    def keep_trace(self, k: float, contact: Floats, normal: Floats, tangent: Floats, right: Floats3) -> Twist:
        """omega and drift (3, n) that keep the three conditions of a trace while s grows by one."""
        q = contact - self.pivot
        flat = tangent * _XZ
        across = np.stack([-q[2], np.zeros_like(q[0]), q[0]])
        omega = _solve3((cross(q, normal), across, k * cross(q, flat) + cross(tangent, normal)), right)
        return omega, -cross(omega, self.pivot)


@dataclass(frozen=True)
class _Three:
    """Three separate motions, each a velocity field omega × x + drift."""

    fields: list[Twist]

    def keep_trace(self, k: float, contact: Floats, normal: Floats, tangent: Floats, right: Floats3) -> Twist:
        """As `_Ball.keep_trace`."""
        flat = tangent * _XZ
        speed = [cross(o, contact) + d for o, d in self.fields]
        bend = [k * dot(v, flat) + dot(normal, cross(o, tangent)) for v, (o, _) in zip(speed, self.fields, strict=True)]
        rates = _solve3(
            (np.stack([dot(normal, v) for v in speed]), np.stack([v[1] for v in speed]), np.stack(bend)), right
        )
        omega, drift = (sum(r * f[i] for r, f in zip(rates, self.fields, strict=True)) for i in (0, 1))
        return omega, drift  # type: ignore[return-value]


@dataclass(frozen=True)
class _Foot:
    """Closed form: a triangle places the edge point on the wheel, one turn about the line to the pocket is left."""

    jig: FootJig
    wheel: Wheel
    contact: float
    root: float = 1.0

    def place(self, edge: Floats, along: Floats, s: Floats) -> tuple[Pose, Floats, Motions]:
        k, rim, c = self.wheel.curvature, self.jig.rim, self.contact
        foot, pivot = self.jig.foot[:, None], np.array([[rim], [0.0], [0.0]])
        a = edge - foot
        length2 = dot(a, a)
        length = np.sqrt(length2)
        x, z = _contact_place(length2 - c * c, rim, k)
        contact = np.stack([x, np.full_like(x, c), z])
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
        return Pose(turn, pivot - apply(turn, foot)), contact, _Ball(pivot)


def _frame(v: Floats, length: Floats, axis: int, sense: float) -> list[Floats]:
    """Orthonormal frame: along v, then the coordinate axis made square to it, then their cross product."""
    one = v / length
    two = -sense * one[axis] * one
    two[axis] += sense
    two = two / np.sqrt(1 - one[axis] ** 2)
    return [one, two, cross(one, two)]


@dataclass(frozen=True)
class _Rolled:
    """Rod jig and table: given the roll, everything else follows; the roll solves one scalar equation."""

    jig: RodJig | Table
    wheel: Wheel
    contact: float
    known_s: Floats = field(default_factory=lambda: np.zeros(0))
    known_roll: Floats = field(default_factory=lambda: np.zeros(0))

    def at_roll(self, edge: Floats, roll: Floats) -> tuple[Pose, Floats, _Three]:
        """As `_Solver.place`, at a given roll (n,)."""
        if isinstance(self.jig, RodJig):
            return _on_rod(self.jig, self.wheel, self.contact, edge, roll)
        return _on_table(self.jig, self.wheel, self.contact, edge, roll)

    def miss(self, edge: Floats, along: Floats, roll: Floats) -> tuple[Floats, Floats]:
        """n · E′ at a roll, and its derivative by the roll (both (n,))."""
        pose, contact, motions = self.at_roll(edge, roll)
        normal, k = self.wheel.face_normal(contact), self.wheel.curvature
        tangent = apply(pose.turn, along)
        speed = [cross(o, contact) + d for o, d in motions.fields]
        # Rolling by one, the two other motions keep the point on the face at the same place across it.
        zero, one = np.zeros_like(roll), np.ones_like(roll)
        rates = _solve3(
            (np.stack([dot(normal, v) for v in speed]), np.stack([v[1] for v in speed]), np.stack([one, zero, zero])),
            (zero, zero, one),
        )
        moved = sum(r * v for r, v in zip(rates, speed, strict=True))
        turned = sum(r * o for r, (o, _) in zip(rates, motions.fields, strict=True))
        slope = k * (moved[0] * tangent[0] + moved[2] * tangent[2]) + dot(normal, cross(turned, tangent))
        return dot(normal, tangent), slope

    def place(self, edge: Floats, along: Floats, s: Floats) -> tuple[Pose, Floats, Motions]:
        roll = np.interp(s, self.known_s, self.known_roll)
        for _ in range(12):
            f, slope = self.miss(edge, along, roll)
            step = f / slope
            roll = roll - np.clip(step, -0.1, 0.1)
            if not (np.abs(step) > _NEWTON_DONE).any():
                break
        return self.at_roll(edge, roll)


def _rotation(axis: Floats, angle: Floats) -> Floats:
    """(3, 3, n): turns about a unit axis (3,) by angles (n,), Rodrigues' formula."""
    x = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    return (
        np.eye(3)[:, :, None] * np.cos(angle)
        + x[:, :, None] * np.sin(angle)
        + np.outer(axis, axis)[:, :, None] * (1 - np.cos(angle))
    )


def _on_rod(
    jig: RodJig, wheel: Wheel, contact: float, edge: Floats, roll: Floats
) -> tuple[Pose, Floats, _Three]:
    rot = _rotation(jig.axis, roll)
    shoe = np.array([0.0, jig.shoe, 0.0])[:, None]
    v = apply(rot, edge - jig.hinge[:, None]) + shoe
    m2 = v[1] ** 2 + v[2] ** 2
    x, z = _contact_place(m2, jig.rim, wheel.curvature)
    x0, z0, x1, z1 = -v[2], v[1], x - jig.rim, z
    c, s, o = (x0 * x1 + z0 * z1) / m2, (x1 * z0 - z1 * x0) / m2, np.zeros_like(x)
    lift = np.array([[c, o, s], [o, o + 1, o], [-s, o, c]])
    raised = np.einsum("ijn,jk->ikn", lift, BASE)
    turn = np.einsum("ijn,jkn->ikn", raised, rot)
    rod = np.array([jig.rim, 0.0, 0.0])[:, None]
    hinge_at = apply(raised, np.broadcast_to(shoe, v.shape)) + rod
    hinge_at[1] += contact + v[0]  # the slide along the rod
    shift = hinge_at - apply(turn, np.broadcast_to(jig.hinge[:, None], v.shape))
    point = np.stack([x, np.full_like(x, contact), z])
    axis = apply(raised, np.broadcast_to(jig.axis[:, None], v.shape))
    across = np.stack([o, o + 1, o])
    motions = [
        (axis, -cross(axis, hinge_at)),
        (across, -cross(across, np.broadcast_to(rod, v.shape))),
        (np.zeros_like(v), across),
    ]
    return Pose(turn, shift), point, _Three(motions)


def _on_table(
    jig: Table, wheel: Wheel, contact: float, edge: Floats, roll: Floats
) -> tuple[Pose, Floats, _Three]:
    up, ahead, base = table_frame(jig)
    centre = table_centre(jig)
    c, s = np.cos(roll), np.sin(roll)
    xr, yr = c * edge[0] - s * edge[1], s * edge[0] + c * edge[1]
    o = centre[:, None] + yr * up[:, None]
    along, _ = wheel.face_roots(o[0], o[2], ahead[0], ahead[2])
    length = np.sqrt(along**2 + contact**2 - xr**2)
    swing = np.arctan2(-contact, along) - np.arctan2(xr, length)
    turned = np.einsum("ijn,jk->ikn", _rotation(up, swing), base)
    turn = np.einsum("ijn,jkn->ikn", turned, _rotation(np.array([0.0, 0.0, 1.0]), roll))
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
    return Pose(turn, shift), point, _Three(motions)


@dataclass(frozen=True)
class Traced:
    """A traced path: at every s the jig holds the edge outline's point on the wheel, tangent to it."""

    outline: EdgeOutline
    wheel: Wheel
    solver: _Solver
    knots: Floats

    def pose(self, s: Floats) -> Pose:
        """The placements at s (n,)."""
        point, along, _ = self.outline.at(s)
        return self.solver.place(point, along, s)[0]

    def contact(self, s: Floats) -> tuple[Pose, Floats]:
        """The placements at s (n,) and where on the wheel the edge is (3, n)."""
        point, along, _ = self.outline.at(s)
        return self.solver.place(point, along, s)[:2]

    def moving(self, s: Floats) -> Moving:
        """Differentiates the three conditions of the trace: on the face, tangent to it, at one place across it."""
        point, along, bend = self.outline.at(s)
        pose, contact, motions = self.solver.place(point, along, s)
        k = self.wheel.curvature
        normal = self.wheel.face_normal(contact)
        tangent, bend = apply(pose.turn, along), apply(pose.turn, bend)
        right = (np.zeros_like(s), -tangent[1], -k * (tangent[0] ** 2 + tangent[2] ** 2) - dot(normal, bend))
        omega, drift = motions.keep_trace(k, contact, normal, tangent, right)
        return Moving(pose, omega, drift)


@dataclass(frozen=True)
class Steady:
    """A steady path: the nose touches at roll 0, then only the roll changes; s is the roll, rad."""

    axis: Floats  # (3,) roll axis direction in the tool frame
    through: Floats  # (3,) a point of it
    turn0: Floats  # (3, 3)
    shift0: Floats  # (3,)
    roll_max: float

    @property
    def knots(self) -> Floats:
        """Every 2.5° or closer, an odd number so that roll 0 is one."""
        return np.linspace(-self.roll_max, self.roll_max, 2 * max(16, int(np.ceil(np.degrees(self.roll_max) / 2.5))) + 1)

    def pose(self, s: Floats) -> Pose:
        """The placements at rolls s (n,)."""
        rot = _rotation(self.axis, s)
        turn = np.einsum("ij,jkn->ikn", self.turn0, rot)
        pivot = self.turn0 @ self.through + self.shift0
        at = np.broadcast_to(self.through[:, None], (3, len(s)))
        return Pose(turn, pivot[:, None] - apply(turn, at))

    def moving(self, s: Floats) -> Moving:
        """The placements at rolls s (n,) and the turn about the roll axis."""
        axis = np.broadcast_to((self.turn0 @ self.axis)[:, None], (3, len(s)))
        pivot = np.broadcast_to((self.turn0 @ self.through + self.shift0)[:, None], (3, len(s)))
        return Moving(self.pose(s), axis, -cross(axis, pivot))


def steady_path(jig: RodJig | Table, wheel: Wheel, y_floor: float, roll_max: float, contact: float = 0.0) -> Steady:
    """The path that holds dip (table: feed) where the nose touches at roll 0. roll_max in rad."""
    nose = np.array([[0.0], [y_floor], [0.0]])
    if isinstance(jig, Table):
        base = table_frame(jig)[2]
        shift = -base[:, 1] * y_floor
        shift[1] += contact
        return Steady(np.array([0.0, 0.0, 1.0]), np.zeros(3), base, shift, roll_max)
    pose, _, _ = _on_rod(jig, wheel, contact, nose, np.zeros(1))
    return Steady(jig.axis, jig.hinge, pose.turn[:, :, 0], pose.shift[:, 0], roll_max)


def traced_path(outline: EdgeOutline, jig: AnyJig, wheel: Wheel, contact: float, knots: int = 65) -> Traced:
    """The path that traces an outline with a jig; contact: place across the wheel's face, mm.

    Raises InputError where for some place of the outline no pose exists.
    """
    s = np.linspace(-1.0, 1.0, knots)
    point, along, _ = outline.at(s)
    middle = knots // 2
    with np.errstate(invalid="ignore"):
        if isinstance(jig, FootJig):
            solver: _Solver = _Foot(jig, wheel, contact)
            upright = solver.place(point[:, [middle]], along[:, [middle]], s[[middle]])[0]
            if upright.turn[1, 0, 0] > 0:  # tool x must come out toward -Y at the nose
                solver = _Foot(jig, wheel, contact, -1.0)
            good = np.isfinite(solver.place(point, along, s)[0].turn).all((0, 1))
        else:
            roll = _follow_roll(_Rolled(jig, wheel, contact), point, along)
            good = np.isfinite(roll)
            solver = _Rolled(jig, wheel, contact, s, roll)
    if not good.all():
        near = s[~good][np.abs(s[~good]).argmin()]
        z = float(outline.at(np.array([near]))[0][2, 0])
        raise InputError(
            "grind.wing_length_mm",
            f"the jig has no pose that grinds the {'left' if near < 0 else 'right'} wing"
            f" {-z:.1f} mm behind the nose (asked: {outline.wing:g} mm)",
            "a shorter wing, another cant, or another projection",
        )
    return Traced(outline, wheel, solver, s)


def _follow_roll(jig: _Rolled, point: Floats, along: Floats) -> Floats:
    """Rolls (K,) that trace the outline at the knots, followed outward from the nose; NaN where the thread ends."""
    grid = np.concatenate([_ROLL_GRID])
    k, g = point.shape[1], len(grid)
    wide = [np.repeat(a, g, axis=1) for a in (point, along)]
    f = jig.miss(wide[0], wide[1], np.tile(grid, k))[0].reshape(k, g)
    with np.errstate(invalid="ignore", divide="ignore"):
        change = f[:, :-1] * f[:, 1:] <= 0
        root = grid[:-1] - f[:, :-1] * np.diff(grid) / (f[:, 1:] - f[:, :-1])
    root = np.where(change & np.isfinite(root), root, np.nan)
    roll = np.full(k, np.nan)
    middle = k // 2
    for way in (1, -1):
        last, before = 0.0, 0.0
        for i in range(middle, k if way > 0 else -1, way):
            off = np.abs(root[i] - (2 * last - before if i != middle else 0.0))
            if not np.isfinite(off).any() or np.nanmin(off) > 0.35:
                break
            before, last = last, float(root[i][np.nanargmin(off)])
            roll[i] = last
            if i == middle:
                before = last
    # Sharpen the crossings of the grid to full precision.
    ok = np.isfinite(roll)
    fine = _Rolled(jig.jig, jig.wheel, jig.contact)
    r = roll[ok]
    for _ in range(20):
        value, slope = fine.miss(point[:, ok], along[:, ok], r)
        step = value / slope
        r = r - np.clip(step, -0.05, 0.05)
        if not (np.abs(step) > _NEWTON_DONE).any():
            break
    roll[ok] = r
    return roll
