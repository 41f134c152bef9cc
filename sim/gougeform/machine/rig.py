"""Jigs set up at the wheel: how each lets the tool move, in the rim frame of `gougeform.machine.solid`.

Only the distance from the wheel's centre to the pocket (or rod) matters for the shape, so that pivot lies on the
X axis here, at the rim distance; the real height of the pivot only turns the result about the wheel's axis.
Angles in rad, lengths mm; tool frame and arrays as in `gougeform.machine.pose`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Protocol, cast

import numpy as np
from numpy.typing import NDArray

from gougeform.machine.pose import BASE, Pose, apply, cross, dot, machine_turn, rotation, tilt
from gougeform.machine.solid import WheelSolid
from gougeform.machine.trace import (
    Ball,
    Hinged,
    Motions,
    Rolled,
    RollSolver,
    Solver,
    Three,
    contact_place,
    follow_roll,
    solve3,
)

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Hold = tuple[Floats, Floats, Floats, Floats]


@dataclass(frozen=True)
class Pivot:
    """What the nose angle needs of a foot or rod jig: the line from pivot to nose in the middle plane.

    along: distance pivot to nose along the bar, above: square to it, mm.
    """

    along: float
    above: float

    @property
    def length(self) -> float:
        """r, mm."""
        return float(np.hypot(self.along, self.above))

    @property
    def slope(self) -> float:
        """ε, rad: angle at the nose between the bar axis and the line to the pivot."""
        return float(np.arctan2(self.above, self.along))

    def rim_distance(self, nose_angle: float, curvature: float, across: float = 0.0) -> float:
        """Distance rim to pivot (mm) for a nose angle (rad): the law of cosines, written without the centre.

        across: how far from the pocket's plane along the wheel's axis a foot jig's contact lies, mm (a rod jig slides
        there, so it stays 0).
        """
        r = self.length
        q = curvature * (r * r - across * across) / 2 + r * np.sin(nose_angle - self.slope)
        inner = 1 + 2 * curvature * q
        return float(2 * q / (1 + np.sqrt(inner))) if inner > 0 else float("nan")

    def nose_angle(self, rim: float, curvature: float, across: float = 0.0) -> float:
        """The nose angle (rad) at a rim distance (mm); NaN where the nose cannot touch the wheel."""
        r = self.length
        sine = (rim + curvature * (rim * rim - r * r + across * across) / 2) / r
        return float(np.arcsin(sine) + self.slope) if abs(sine) <= 1 else float("nan")


class Rig(Protocol):
    """What the rest of the program asks of a jig that is set up.

    pivot: the line from pocket or rod to the nose, and rim: how far that stands from the wheel's rim (mm); both None
    where the bar turns about no fixed place. rolled: itself where its pose follows from the roll, so that a solver may
    start from rolls that are known; None where the pose is known in closed form.
    """

    @property
    def pivot(self) -> Pivot | None:
        """See above."""
        ...

    @property
    def rim(self) -> float | None:
        """See above."""
        ...

    @property
    def rolled(self) -> Rolled | None:
        """See above."""
        ...

    def nose(self, curvature: float) -> float:
        """The nose angle (rad) it is set for with the nose in the middle of a wheel's face; NaN where none touches."""
        ...

    def solver(self, wheel: WheelSolid, contact: float, s: Floats, point: Floats, along: Floats) -> Solver:
        """What `follow` solves with."""
        ...

    def follow(
        self, wheel: WheelSolid, contact: float, s: Floats, point: Floats, along: Floats
    ) -> tuple[Solver, Flags, bool]:
        """The solver that holds edge points (3, n) on the wheel with tangents along (3, n), from the nose outward.

        contact: place across the wheel's face, mm. Also at which of the places s (n,) there is a pose, and whether the
        thread of poses was lost although there are some, so that closer places may help.
        """
        ...

    def hold(self, wheel: WheelSolid, contact: float, y_floor: float) -> Hold:
        """Where only the roll is left while the nose touches: axis and a point of it (3,) in the tool frame, and turn
        (3, 3) and shift (3,) of the placement at roll 0. Raises NotImplementedError for a jig that holds nothing.
        """
        ...

    def motions(self, pose: Pose, pivot_angle: float) -> dict[str, Floats]:
        """The three motions (n,) at poses, named with their units (deg, mm); pivot_angle (rad) as in `machine_turn`."""
        ...


class Pivoted:
    """A rig that turns about a pivot at a distance from the rim, mm."""

    rim: float
    pivot: Pivot

    def nose(self, curvature: float) -> float:
        """As `Rig` says; curvature per mm."""
        return self.pivot.nose_angle(self.rim, curvature)


class ByRoll:
    """A rig whose pose follows from the roll: it brings `placed` and `miss`, see `Rolled`."""

    @property
    def rolled(self) -> Rolled:
        """As `Rig` says."""
        return cast(Rolled, self)

    def follow(
        self, wheel: WheelSolid, contact: float, s: Floats, point: Floats, along: Floats
    ) -> tuple[Solver, Flags, bool]:
        """As `Rig` says, s (n,), point and along (3, n)."""
        roll, lost = follow_roll(RollSolver(self.rolled, wheel, contact), point, along)
        return RollSolver(self.rolled, wheel, contact, s, roll), np.isfinite(roll), lost

    def solver(self, wheel: WheelSolid, contact: float, s: Floats, point: Floats, along: Floats) -> Solver:
        """As `Rig` says, s (n,), point and along (3, n), mm."""
        return self.follow(wheel, contact, s, point, along)[0]


@dataclass(frozen=True)
class FootRig(Pivoted):
    """foot: the ball joint in the tool frame (3,), rim: its distance from the wheel's rim, mm."""

    foot: Floats
    rim: float
    pivot: Pivot
    rolled: None = None

    def follow(
        self, wheel: WheelSolid, contact: float, s: Floats, point: Floats, along: Floats
    ) -> tuple[Solver, Flags, bool]:
        """As `Rig` says, s (n,), point and along (3, n); the pose is known in closed form, so no thread is lost."""
        solver = self.solver(wheel, contact, s, point, along)
        return solver, np.asarray(np.isfinite(solver.place(point, along, s)[0].turn).all((0, 1))), False

    def solver(self, wheel: WheelSolid, contact: float, s: Floats, point: Floats, along: Floats) -> FootSolver:
        """The root of the closed form that is upright at the nose; s (n,), point and along (3, n), mm."""
        nose = [int(np.abs(s).argmin())]
        solver = FootSolver(self, wheel, contact)
        upright = solver.place(point[:, nose], along[:, nose], s[nose])[0]
        if upright.turn[1, 0, 0] > 0:  # tool x must come out toward -Y at the nose
            return FootSolver(self, wheel, contact, -1.0)
        return solver

    def hold(self, wheel: WheelSolid, contact: float, y_floor: float) -> Hold:
        """As `Rig` says: a ball joint holds nothing, so this raises NotImplementedError; (3,) and mm elsewhere."""
        raise NotImplementedError("a ball joint holds nothing steady")

    def motions(self, pose: Pose, pivot_angle: float) -> dict[str, Floats]:
        """As `Rig` says, (n,) each."""
        turn = np.einsum("ij,jkn->ikn", machine_turn(pivot_angle), pose.turn)
        return {
            "roll_deg": np.degrees(np.arctan2(turn[2, 0], turn[2, 1])),
            "dip_deg": np.degrees(np.arcsin(np.clip(turn[2, 2], -1, 1))),
            "swing_deg": np.degrees(np.arctan2(-turn[1, 2], -turn[0, 2])),
        }


@dataclass(frozen=True)
class FootSolver:
    """Closed form: a triangle places the edge point on the wheel, one turn about the line to the pocket is left."""

    jig: FootRig
    wheel: WheelSolid
    contact: float
    root: float = 1.0

    def place(self, edge: Floats, along: Floats, s: Floats) -> tuple[Pose, Floats, Motions]:
        """As `Solver` says; edge and along (3, n), s (n,)."""
        k, rim, c = self.wheel.curvature, self.jig.rim, self.contact
        foot, pivot = self.jig.foot[:, None], np.array([[rim], [0.0], [0.0]])
        a = edge - foot
        length2 = dot(a, a)
        length = np.sqrt(length2)
        x, z = contact_place(length2 - c * c, rim, k)
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
class RodRig(Pivoted, ByRoll):
    """hinge: a point of the hinge axis (3,), axis: its direction (3,), shoe: mm, rim: rod centre from the rim, mm."""

    hinge: Floats
    axis: Floats
    shoe: float
    rim: float
    pivot: Pivot

    def placed(self, wheel: WheelSolid, contact: float, edge: Floats, roll: Floats) -> tuple[Pose, Floats, Hinged]:
        """At a roll (n,) the dip about the rod puts edge (3, n) on the face, the slide at its place; see `Rolled`."""
        rot = rotation(self.axis, roll)
        v = apply(rot, edge - self.hinge[:, None])
        v[1] += self.shoe
        m2 = v[1] ** 2 + v[2] ** 2
        x, z = contact_place(m2, self.rim, wheel.curvature)
        x0, z0, x1, z1 = -v[2], v[1], x - self.rim, z
        c, s, o = (x0 * x1 + z0 * z1) / m2, (x1 * z0 - z1 * x0) / m2, np.zeros_like(x)
        # Dip and base orientation in one: (x, y, z) of the tool go to (s y - c z, -x, c y + s z).
        turn = np.stack([s * rot[1] - c * rot[2], -rot[0], c * rot[1] + s * rot[2]])
        slide = contact + v[0]
        hinge_at = np.stack([s * self.shoe + self.rim, slide, c * self.shoe])
        shift = hinge_at - apply(turn, self.hinge[:, None])
        point = np.stack([x, np.full_like(x, contact), z])
        axis = np.stack([s * self.axis[1] - c * self.axis[2], o - self.axis[0], c * self.axis[1] + s * self.axis[2]])
        return Pose(turn, shift), point, Hinged(axis, hinge_at, self.rim)

    def miss(
        self, wheel: WheelSolid, contact: float, edge: Floats, along: Floats, roll: Floats
    ) -> tuple[Floats, Floats]:
        """As `Rolled` says, (n,), in the plane square to the rod: there dip turns the rolled tool from v to q.

        With both of length m, n · E′ = ((w · v) (n · q) + (v × w) (q × n)) / m², w the rolled tangent.
        """
        k, rim = wheel.curvature, self.rim
        cos, sin = np.cos(roll), np.sin(roll)

        def rolled(u: Floats) -> tuple[Floats, Floats, Floats, Floats]:
            """The y and z components of a turned vector, and their derivatives by the roll."""
            _, ay, az = self.axis
            along_axis = ay * u[1] + az * u[2]
            py, pz = u[1] - ay * along_axis, u[2] - az * along_axis
            ky, kz = az * u[0], -ay * u[0]
            y, z = ay * along_axis + py * cos + ky * sin, az * along_axis + pz * cos + kz * sin
            return y, z, ky * cos - py * sin, kz * cos - pz * sin

        vy, vz, dvy, dvz = rolled(edge - self.hinge[:, None])
        wy, wz, dwy, dwz = rolled(along)
        vy = vy + self.shoe
        m2, dm2 = vy * vy + vz * vz, 2 * (vy * dvy + vz * dvz)
        x, z = contact_place(m2, rim, k)
        far = 1 + k * rim
        dx = -k / (2 * far) * dm2
        dz = (dm2 / 2 - (x - rim) * dx) / z
        even, odd = -far * x - rim, -far * z  # n · q and q × n
        w_v, v_w = wy * vy + wz * vz, vy * wz - vz * wy
        value = (w_v * even + v_w * odd) / m2
        dw_v, dv_w = dwy * vy + wy * dvy + dwz * vz + wz * dvz, dvy * wz + vy * dwz - dvz * wy - vz * dwy
        slope = (dw_v * even - w_v * far * dx + dv_w * odd - v_w * far * dz - value * dm2) / m2
        return value, slope

    def hold(self, wheel: WheelSolid, contact: float, y_floor: float) -> Hold:
        """As `Rig` says: the hinge axis (3,), with the dip held where the nose touches; mm."""
        pose, _, _ = self.placed(wheel, contact, np.array([[0.0], [y_floor], [0.0]]), np.zeros(1))
        return self.axis, self.hinge, pose.turn[:, :, 0], pose.shift[:, 0]

    def motions(self, pose: Pose, pivot_angle: float) -> dict[str, Floats]:
        """As `Rig` says, (n,) each."""
        turn = np.einsum("ij,jkn->ikn", machine_turn(pivot_angle), pose.turn)
        dip = self._dip(turn)
        rolled = np.einsum("jin,jkn->ikn", np.einsum("ijn,jk->ikn", tilt(dip), BASE), turn)
        skew = np.stack([rolled[2, 1] - rolled[1, 2], rolled[0, 2] - rolled[2, 0], rolled[1, 0] - rolled[0, 1]])
        roll = np.arctan2(self.axis @ skew, np.trace(rolled) - 1)
        return {"roll_deg": np.degrees(roll), "dip_deg": np.degrees(dip), "slide_mm": self._slide(pose)}

    def _dip(self, turn: Floats) -> Floats:
        """(n,) rad: how far the shoe is turned about the rod at turns (3, 3, n) of the tool."""
        axis = np.einsum("ikn,k->in", turn, self.axis)
        return np.asarray(np.arctan2(axis[2], -axis[0]) - np.arctan2(self.axis[1], self.axis[2]))

    def _slide(self, pose: Pose) -> Floats:
        """(n,) mm: how far the shoe is moved along the rod."""
        return np.asarray(pose.shift[1] + np.einsum("kn,k->n", pose.turn[1], self.hinge))

    def shoe_pose(self, pose: Pose) -> Pose:
        """Where the shoe is when the tool is placed so: its frame's origin in the rod's centre, y toward the hinge."""
        turn = np.einsum("ijn,jk->ikn", tilt(self._dip(pose.turn)), BASE)
        slide = self._slide(pose)
        return Pose(turn, np.stack([np.full_like(slide, self.rim), slide, np.zeros_like(slide)]))

    def rod_pose(self, pose: Pose) -> Pose:
        """The rod stays where it is: placements in the rim frame itself."""
        n = pose.shift.shape[1]
        return Pose(np.repeat(np.eye(3)[:, :, None], n, axis=2), np.zeros((3, n)))


@dataclass(frozen=True)
class TableRig(ByRoll):
    """nose_angle: rad; y_floor, and behind (the swing's centre behind the nose): mm."""

    nose_angle: float
    y_floor: float
    behind: float
    pivot: None = None
    rim: None = None

    def nose(self, curvature: float) -> float:
        """As `Rig` says; curvature per mm."""
        return self.nose_angle

    @cached_property
    def frame(self) -> tuple[Floats, Floats, Floats]:
        """Table normal (3,), direction of the bar toward the tip (3,) and base placement (3, 3)."""
        base = tilt(np.pi / 2 - self.nose_angle) @ BASE
        return base[:, 1], base[:, 2], base

    @cached_property
    def centre(self) -> Floats:
        """(3,) mm: the place on the bar axis where the fingers hold the bar and about which it swings."""
        up, ahead, _ = self.frame
        return -self.y_floor * up - self.behind * ahead

    def placed(self, wheel: WheelSolid, contact: float, edge: Floats, roll: Floats) -> tuple[Pose, Floats, Three]:
        """At a roll (n,) the feed puts edge (3, n) on the face, the swing at its place across it; see `Rolled`."""
        up, ahead, base = self.frame
        centre = self.centre
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

    def miss(
        self, wheel: WheelSolid, contact: float, edge: Floats, along: Floats, roll: Floats
    ) -> tuple[Floats, Floats]:
        """As `Rolled` says, (n,)."""
        pose, point, motions = self.placed(wheel, contact, edge, roll)
        normal, k = wheel.face_normal(point), wheel.curvature
        tangent = apply(pose.turn, along)
        speed = [cross(o, point) + d for o, d in motions.fields]
        # Rolling by one, the two other motions keep the point on the face at the same place across it.
        zero, one = np.zeros_like(roll), np.ones_like(roll)
        rates = solve3(
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

    def hold(self, wheel: WheelSolid, contact: float, y_floor: float) -> Hold:
        """As `Rig` says: the bar's own axis (3,), with the feed held where the nose touches; mm."""
        base = self.frame[2]
        shift = -base[:, 1] * y_floor
        shift[1] += contact
        return np.array([0.0, 0.0, 1.0]), np.zeros(3), base, shift

    def motions(self, pose: Pose, pivot_angle: float) -> dict[str, Floats]:
        """As `Rig` says, (n,) each."""
        up, ahead, base = self.frame
        bar = pose.turn[:, 2]
        centre = self.centre
        return {
            "roll_deg": np.degrees(np.arctan2(up @ pose.turn[:, 0], up @ pose.turn[:, 1])),
            "feed_mm": np.linalg.norm(pose.shift - centre[:, None], axis=0) - self.behind,
            "swing_deg": np.degrees(np.arctan2(base[:, 0] @ bar, ahead @ bar)),
        }
