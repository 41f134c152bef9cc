"""A path of one pose, and gouges ground by it: the plain cuts for which closed formulas exist."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gougeform.bar.section import build_section
from gougeform.grind.gouge import Gouge
from gougeform.grind.ground import Ground, Pass
from gougeform.machine.pose import Pose
from gougeform.machine.solid import WheelSolid
from gougeform.machine.sweep import Moving


@dataclass(frozen=True)
class Still:
    """The placement x ↦ turn·x + shift, whatever the place on the path."""

    turn: np.ndarray
    shift: np.ndarray
    knots: np.ndarray

    def pose(self, s):
        return Pose(np.repeat(self.turn[:, :, None], len(s), 2), np.repeat(self.shift[:, None], len(s), 1))

    def moving(self, s):
        zero = np.zeros((3, len(s)))
        return Moving(self.pose(s), zero, zero)


def still(x_row, y_row, shift) -> Still:
    """The rim frame's X and Y directions in the tool frame, and where the tool's origin lies in the rim frame."""
    x, y = (np.asarray(r, float) / np.linalg.norm(r) for r in (x_row, y_row))
    return Still(np.stack([x, y, np.cross(x, y)]), np.asarray(shift, float), np.linspace(-1.0, 1.0, 9))


def plane_cut(slope: float) -> Ground:
    """What a belt leaves that lies along z = slope · y, as one pose."""
    return Ground((Pass(still([0, slope, -1], [-1, 0, 0], [0, 0, 0]), WheelSolid(0.0, 500.0, 0.0)),))


def ground_by(recipe, ground: Ground) -> Gouge:
    """A gouge of the recipe's bar and flute, ground by something else."""
    return Gouge(recipe, build_section(recipe.bar, recipe.flute), (), ground, None)


def gauss(low: float, high: float, count: int = 60):
    """Nodes and weights of Gauss–Legendre quadrature."""
    x, w = np.polynomial.legendre.leggauss(count)
    return (high - low) / 2 * x + (high + low) / 2, (high - low) / 2 * w
