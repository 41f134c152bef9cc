"""The path of a grind: the continuous family of poses, exact at any place along it, and its velocity.

A path runs over s in [first, last]; `pose(s)` gives the placements, `moving(s)` also the tool's velocity field per
unit of s, x ↦ omega × x + drift, from which the envelope condition follows. Traced paths take s as the parameter of
the edge outline, -1 at the left lip, 0 at the nose, +1 at the right lip; steady ones take s as the roll angle.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.machine.edgeoutline import EdgeOutline
from gougeform.machine.pose import Pose, apply, cross, dot, rotation
from gougeform.machine.rig import Rig
from gougeform.machine.solid import WheelSolid
from gougeform.machine.trace import Solver

Floats = NDArray[np.float64]

_LARGEST_TURN = 0.3  # rad between knots: the kernel's search needs valleys of several knots
_MOST_KNOTS = 1025


@dataclass(frozen=True)
class Moving:
    """Poses with the tool's velocity field per unit of s: x ↦ omega × x + drift (both (3, n))."""

    pose: Pose
    omega: Floats
    drift: Floats

    def velocity(self, p: Floats) -> Floats:
        """(3, n): velocity of the tool points now at p (3, n)."""
        return cross(self.omega, p) + self.drift


class Sweep(Protocol):
    """A continuous family of poses."""

    @property
    def outline(self) -> EdgeOutline | None:
        """The edge that was asked for and that the poses hold on the wheel, the nose at z = 0; None without one."""
        ...

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
class Traced:
    """A traced path: at every s the jig holds the edge outline's point on the wheel, tangent to it."""

    outline: EdgeOutline
    wheel: WheelSolid
    solver: Solver
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
        """At s (n,): derivatives of the three conditions of the trace (on the face, tangent, at one place across)."""
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
    outline: None = None

    @property
    def knots(self) -> Floats:
        """(K,) rad, every 2.5° or closer, an odd number so that roll 0 is one."""
        return np.linspace(
            -self.roll_max, self.roll_max, 2 * max(16, int(np.ceil(np.degrees(self.roll_max) / 2.5))) + 1
        )

    def pose(self, s: Floats) -> Pose:
        """The placements at rolls s (n,)."""
        rot = rotation(self.axis, s)
        turn = np.einsum("ij,jkn->ikn", self.turn0, rot)
        pivot = self.turn0 @ self.through + self.shift0
        at = np.broadcast_to(self.through[:, None], (3, len(s)))
        return Pose(turn, pivot[:, None] - apply(turn, at))

    def moving(self, s: Floats) -> Moving:
        """The placements at rolls s (n,) and the turn about the roll axis."""
        axis = np.broadcast_to((self.turn0 @ self.axis)[:, None], (3, len(s)))
        pivot = np.broadcast_to((self.turn0 @ self.through + self.shift0)[:, None], (3, len(s)))
        return Moving(self.pose(s), axis, -cross(axis, pivot))


def traced(outline: EdgeOutline, rig: Rig, wheel: WheelSolid, contact: float, knots: int = 65) -> Traced:
    """The path that traces an outline with a jig; contact: place across the wheel's face, mm.

    Takes more knots where the tool turns far from one to the next, as it does round a pointed nose.
    Raises InputError where for some place of the outline no pose exists.
    """
    path, good, lost = _traced(outline, rig, wheel, contact, knots)
    while knots < _MOST_KNOTS and (lost or (good.all() and _largest_turn(path) > _LARGEST_TURN)):
        knots = 4 * knots - 3
        path, good, lost = _traced(outline, rig, wheel, contact, knots)
    if not good.all():
        s = path.knots
        near = s[~good][np.abs(s[~good]).argmin()]
        z = float(outline.at(np.array([near]))[0][2, 0])
        raise InputError(
            "grind.wing_length_mm",
            f"the jig has no pose that grinds the {'left' if near < 0 else 'right'} wing"
            f" {-z:.1f} mm behind the nose (asked: {outline.wing:g} mm)",
            "a shorter wing, another cant, or another projection",
        )
    return path


def _traced(
    outline: EdgeOutline, rig: Rig, wheel: WheelSolid, contact: float, knots: int
) -> tuple[Traced, NDArray[np.bool_], bool]:
    """The path on so many knots, at which of them there is a pose, and whether the thread of poses was lost."""
    s = np.linspace(-1.0, 1.0, knots)
    point, along, _ = outline.at(s)
    with np.errstate(invalid="ignore"):
        solver, good, lost = rig.follow(wheel, contact, s, point, along)
    return Traced(outline, wheel, solver, s), good, lost


def _largest_turn(path: Traced) -> float:
    """Largest angle (rad) between the tool's placements at two knots in a row."""
    turn = path.pose(path.knots).turn
    trace = np.einsum("ijn,ijn->n", turn[:, :, 1:], turn[:, :, :-1])
    return float(np.arccos(np.clip((trace - 1) / 2, -1.0, 1.0)).max())
