"""Jigs: how each kind of jig lets the tool move, in the rim frame of `gougeform.machine.wheel`.

Tool frame: z along the bar toward the tip, y up, x = y × z; the nose at (0, y_floor, 0). Angles in rad, lengths mm.
Arrays carry their components first: vectors (3, n), matrices (3, 3, n).

Only the distance from the wheel's centre to the pocket (or rod) matters for the shape, so that pivot lies on the
X axis here, at the rim distance; the real height of the pivot only turns the result about the wheel's axis.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gougeform.bar.section import Section
from gougeform.errors import InputError
from gougeform.machine.wheel import Wheel
from gougeform.read.parts import FootJig as FootFields
from gougeform.read.parts import RodJig as RodFields
from gougeform.read.recipe import Jig as JigFields

Floats = NDArray[np.float64]

BASE = np.array([[0.0, 0.0, -1.0], [-1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
"""Columns are the images of tool x, y, z at roll = dip = swing = 0."""


def tilt(dip: float | Floats) -> Floats:
    """(3, 3[, n]): the turn about Y that raises the tip by `dip` (rad)."""
    c, s, o = np.cos(dip), np.sin(dip), np.zeros_like(np.asarray(dip, float))
    return np.array([[c, o, s], [o, o + 1, o], [-s, o, c]])


def cross(a: Floats, b: Floats) -> Floats:
    """(3, n): a × b, components first."""
    out = np.empty((3, max(a.shape[1], b.shape[1])))  # twice as fast as stacking for a few hundred vectors
    out[0] = a[1] * b[2] - a[2] * b[1]
    out[1] = a[2] * b[0] - a[0] * b[2]
    out[2] = a[0] * b[1] - a[1] * b[0]
    return out


def dot(a: Floats, b: Floats) -> Floats:
    """(n,): a · b, components first."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def apply(m: Floats, v: Floats) -> Floats:
    """(3, n): matrices (3, 3, n) times vectors (3, n)."""
    return m[:, 0] * v[0] + m[:, 1] * v[1] + m[:, 2] * v[2]


def apply_back(m: Floats, v: Floats) -> Floats:
    """(3, n): the same with the transposed matrices."""
    return m[0] * v[0] + m[1] * v[1] + m[2] * v[2]


@dataclass(frozen=True)
class Pose:
    """Placements x ↦ turn·x + shift of the tool. turn: (3, 3, n), shift: (3, n) mm."""

    turn: Floats
    shift: Floats

    def place(self, points: Floats) -> Floats:
        """(3, n): tool points (3, n) in the rim frame."""
        return apply(self.turn, points) + self.shift


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


@dataclass(frozen=True)
class FootJig:
    """foot: the ball joint in the tool frame (3,), rim: its distance from the wheel's rim, mm."""

    foot: Floats
    rim: float
    pivot: Pivot


@dataclass(frozen=True)
class RodJig:
    """hinge: a point of the hinge axis (3,), axis: its direction (3,), shoe: mm, rim: rod centre from the rim, mm."""

    hinge: Floats
    axis: Floats
    shoe: float
    rim: float
    pivot: Pivot


@dataclass(frozen=True)
class Table:
    """nose_angle: rad; y_floor, and hold (the swing's centre behind the nose): mm."""

    nose_angle: float
    y_floor: float
    hold: float


AnyJig = FootJig | RodJig | Table


def clamp_drop(section: Section, fields: FootFields | RodFields) -> float:
    """How far the hinge lies below the bar axis, mm, from what the bar is held against."""
    if fields.clamp == "axis":
        return fields.hinge_drop_mm
    if fields.clamp == "below":
        datum = section.underside
    elif fields.clamp == "above":
        datum = section.lip_plane
    else:
        assert fields.vee_deg is not None
        datum = section.vee_apex(float(np.radians(fields.vee_deg)))
    return fields.hinge_drop_mm - datum


def pivot_of(section: Section, fields: FootFields | RodFields) -> Pivot:
    """The line from pocket or rod to the nose for a foot or rod jig of a recipe."""
    drop = clamp_drop(section, fields)
    if fields.kind == "foot":
        cant = np.radians(fields.arm_cant_deg)
        return Pivot(
            float(fields.projection_mm + fields.hinge_back_mm + fields.arm_length_mm * np.cos(cant)),
            float(section.y_floor + drop + fields.arm_length_mm * np.sin(cant)),
        )
    return Pivot(float(fields.projection_mm + fields.hinge_back_mm), float(section.y_floor + drop + fields.shoe_mm))


def rim_setting(pivot: Pivot, fields: FootFields | RodFields, wheel: Wheel, contact: float = 0.0) -> float:
    """The rim distance (mm) a foot or rod jig is set to, given or from the nose angle.

    contact: place of the contact across the wheel's face, mm.

    Raises InputError where the nose cannot touch the wheel, or the pivot lies inside it.
    """
    k, across = wheel.curvature, contact if fields.kind == "foot" else 0.0
    if fields.rim_distance_mm is not None:
        name, given, rim = "rim_distance_mm", fields.rim_distance_mm, fields.rim_distance_mm
    elif fields.centre_distance_mm is not None:
        name, given = "centre_distance_mm", fields.centre_distance_mm
        if k == 0:
            raise InputError(
                "jig.centre_distance_mm",
                "a belt has no centre to measure from",
                "give rim_distance_mm instead",
            )
        rim = given - 1 / k
    else:
        assert fields.nose_angle_deg is not None  # the reader sees to it that one of the three is given
        name, given = "nose_angle_deg", fields.nose_angle_deg
        rim = pivot.rim_distance(float(np.radians(given)), k, across)
    reach = pivot.length
    thick = 0.0 if fields.kind == "foot" else fields.rod_diameter_mm / 2
    if not (rim > thick):
        raise InputError(
            f"jig.{name}",
            f"given {given:g}: the {'pocket' if fields.kind == 'foot' else 'rod'} would lie inside the wheel",
            "blunter nose angle or larger distance, a longer projection, or a smaller wheel",
        )
    if not np.isfinite(pivot.nose_angle(rim, k, across)):
        raise InputError(
            f"jig.{name}",
            f"given {given:g}: rim to pivot is {rim:.1f} mm, but pivot to nose is only {reach:.1f} mm",
            "a smaller distance, or a longer projection",
        )
    return rim


def build_jig(section: Section, fields: JigFields, wheel: Wheel, contact: float = 0.0) -> AnyJig:
    """The jig of a recipe, set up for this bar and wheel; contact: place across the wheel's face, mm."""
    if fields.kind == "table":
        return Table(float(np.radians(fields.nose_angle_deg)), section.y_floor, fields.projection_mm)
    pivot = pivot_of(section, fields)
    rim = rim_setting(pivot, fields, wheel, contact)
    if fields.kind == "foot":
        foot = np.array([0.0, section.y_floor - pivot.above, -pivot.along])
        return FootJig(foot, rim, pivot)
    cant = np.radians(fields.hinge_cant_deg)
    hinge = np.array([0.0, section.y_floor - pivot.above + fields.shoe_mm, -pivot.along])
    return RodJig(hinge, np.array([0.0, np.sin(cant), np.cos(cant)]), fields.shoe_mm, rim, pivot)


def machine_turn(pivot_angle: float) -> Floats:
    """(3, 3): from the rim frame's directions to the machine's, for a pivot seen at that angle (rad) over X."""
    c, s = np.cos(pivot_angle), np.sin(pivot_angle)
    return np.array([[c, 0.0, -s], [0.0, 1.0, 0.0], [s, 0.0, c]])


def motions(jig: AnyJig, pose: Pose, pivot_angle: float) -> dict[str, Floats]:
    """The jig's three motions (n,) at poses given in the rim frame, named with their units (deg, mm)."""
    turn = np.einsum("ij,jkn->ikn", machine_turn(pivot_angle), pose.turn)
    if isinstance(jig, FootJig):
        return {
            "roll_deg": np.degrees(np.arctan2(turn[2, 0], turn[2, 1])),
            "dip_deg": np.degrees(np.arcsin(np.clip(turn[2, 2], -1, 1))),
            "swing_deg": np.degrees(np.arctan2(-turn[1, 2], -turn[0, 2])),
        }
    if isinstance(jig, RodJig):
        axis = np.einsum("ikn,k->in", turn, jig.axis)
        dip = np.arctan2(axis[2], -axis[0]) - np.arctan2(jig.axis[1], jig.axis[2])
        rolled = np.einsum("jin,jkn->ikn", np.einsum("ijn,jk->ikn", tilt(dip), BASE), turn)
        skew = np.stack([rolled[2, 1] - rolled[1, 2], rolled[0, 2] - rolled[2, 0], rolled[1, 0] - rolled[0, 1]])
        roll = np.arctan2(jig.axis @ skew, np.trace(rolled) - 1)
        slide = pose.shift[1] + np.einsum("kn,k->n", pose.turn[1], jig.hinge)
        return {"roll_deg": np.degrees(roll), "dip_deg": np.degrees(dip), "slide_mm": slide}
    up, ahead, base = table_frame(jig)
    bar = pose.turn[:, 2]
    centre = table_centre(jig)
    return {
        "roll_deg": np.degrees(np.arctan2(up @ pose.turn[:, 0], up @ pose.turn[:, 1])),
        "feed_mm": np.linalg.norm(pose.shift - centre[:, None], axis=0) - jig.hold,
        "swing_deg": np.degrees(np.arctan2(base[:, 0] @ bar, ahead @ bar)),
    }


def table_frame(jig: Table) -> tuple[Floats, Floats, Floats]:
    """Table normal (3,), direction of the bar toward the tip (3,) and base placement (3, 3)."""
    base = tilt(np.pi / 2 - jig.nose_angle) @ BASE
    return base[:, 1], base[:, 2], base


def table_centre(jig: Table) -> Floats:
    """(3,) mm: the place on the bar axis where the fingers hold the bar and about which it swings."""
    up, ahead, _ = table_frame(jig)
    return -jig.y_floor * up - jig.hold * ahead
