"""Where the tool is: placements, and the turns they are made of.

Tool frame: z along the bar toward the tip, y up, x = y × z; the nose at (0, y_floor, 0). Angles in rad, lengths mm.
Arrays carry their components first: vectors (3, n), matrices (3, 3, n).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

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


def rotation(axis: Floats, angle: Floats) -> Floats:
    """(3, 3, n): turns about a unit axis (3,) by angles (n,), Rodrigues' formula."""
    x = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    return (
        np.eye(3)[:, :, None] * np.cos(angle)
        + x[:, :, None] * np.sin(angle)
        + np.outer(axis, axis)[:, :, None] * (1 - np.cos(angle))
    )


def machine_turn(pivot_angle: float) -> Floats:
    """(3, 3): from the rim frame's directions to the machine's, for a pivot seen at that angle (rad) over X."""
    c, s = np.cos(pivot_angle), np.sin(pivot_angle)
    return np.array([[c, 0.0, -s], [0.0, 1.0, 0.0], [s, 0.0, c]])
