"""The curves a section is made of, as signed distances: outlines of bars, and flutes with the floor at (0, 0).

Each family is what a recipe's table can hold. Distances are exact (circle, square, vee) or exact to first order in
the distance (parabola, ellipse: value over gradient), which points on a curve never leave. Lengths in mm, angles in rad
inside; `fields` turns parameters into the recipe's fields with their units.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Family:
    """A kind of curve.

    kind: as the recipe calls it. fields: names of the recipe's fields, one for each parameter. distance(x, y, p):
    signed distance (n,) of points, positive out of the steel. start(points): parameters to begin from, one or
    several sets. least, most: what each may be, of the size of the points. turns: whether turning changes it.
    """

    kind: str
    fields: tuple[str, ...]
    distance: Callable[[Floats, Floats, Floats], Floats]
    start: Callable[[Floats], list[list[float]]]
    least: tuple[float, ...]
    most: tuple[float, ...]
    turns: bool = True

    def table(self, p: Floats) -> dict[str, float]:
        """The parameters as fields of a recipe, angles in degrees."""
        return {
            name: float(np.degrees(v) if name.endswith("_deg") else v) for name, v in zip(self.fields, p, strict=True)
        }

    def reach(self, p: Floats) -> float:
        """How far the curve of an outline reaches down from its middle, mm: its distance is exact outside."""
        far = 1e4
        return far - float(self.distance(np.zeros(1), np.array([-far]), np.asarray(p, float))[0])

    def units(self) -> Floats:
        """What a parameter is multiplied with to be in its field's unit."""
        return np.array([180 / np.pi if name.endswith("_deg") else 1.0 for name in self.fields])


def round_distance(x: Floats, y: Floats, p: Floats) -> Floats:
    """Out of a circle of diameter p[0] about (0, 0)."""
    return np.hypot(x, y) - p[0] / 2


def square_distance(x: Floats, y: Floats, p: Floats) -> Floats:
    """Out of a square of side p[0] about (0, 0), its corners rounded by p[1]."""
    r = np.clip(p[1], 0.0, p[0] / 2)
    a, b = np.abs(x) - (p[0] / 2 - r), np.abs(y) - (p[0] / 2 - r)
    return np.hypot(np.maximum(a, 0), np.maximum(b, 0)) + np.minimum(np.maximum(a, b), 0) - r


def arc_distance(x: Floats, y: Floats, p: Floats) -> Floats:
    """Into a circle of radius p[0] that stands on (0, 0)."""
    return p[0] - np.hypot(x, y - p[0])


def parabola_distance(x: Floats, y: Floats, p: Floats) -> Floats:
    """Over y = x² / (2 p[0])."""
    slope = x / p[0]
    return (y - x * slope / 2) / np.sqrt(1 + slope**2)


def ellipse_distance(x: Floats, y: Floats, p: Floats) -> Floats:
    """Into an upright ellipse on (0, 0): radius at its floor p[0], half width p[1]."""
    a, b = p[1], p[1] ** 2 / p[0]
    u, v = x / a, (y - b) / b
    return (1 - u * u - v * v) / np.maximum(2 * np.hypot(u / a, v / b), 1e-12)


def vee_distance(x: Floats, y: Floats, p: Floats) -> Floats:
    """Over a floor of radius p[0] between flanks at p[1] rad to the middle plane."""
    r, bend = p[0], np.pi / 2 - p[1]
    x = np.abs(x)
    c, s = np.cos(bend), np.sin(bend)
    on_flank = (x - r * s) * c + (y - r * (1 - c)) * s > 0
    return np.where(on_flank, c * (y - r * (1 - c)) - s * (x - r * s), r - np.hypot(x, y - r))


def _half_width(points: Floats) -> float:
    return max(float(np.ptp(points[:, 0])) / 2, 1e-6)


def _floor_radius(points: Floats) -> float:
    """From the parabola through the lower half of the points."""
    x, y = points.T
    low = np.abs(x) <= 0.6 * np.abs(x).max()
    bend = np.polyfit(x[low], y[low], 2)[0] if low.sum() >= 5 else 0.5 / _half_width(points)
    return float(np.clip(0.5 / max(bend, 1e-9), 0.05 * _half_width(points), 20 * _half_width(points)))


def _chord_radius(points: Floats) -> float:
    """Of the circle through the floor and the ends: half width w and height h give (w² + h²) / 2h."""
    w, h = _half_width(points), max(float(np.ptp(points[:, 1])), 1e-6)
    return (w * w + h * h) / (2 * h)


def _vee_starts(points: Floats) -> list[list[float]]:
    x, y = np.abs(points[:, 0]), points[:, 1]
    high = y > 0.6 * y.max()
    slope = np.polyfit(x[high], y[high], 1)[0] if high.sum() >= 4 and np.ptp(x[high]) > 1e-9 else 1.0
    flank = float(np.clip(np.arctan2(1.0, max(slope, 1e-3)), 0.05, 1.5))
    return [[share * _half_width(points), flank] for share in (0.2, 0.7)]


OUTLINES = (
    Family(
        "round",
        ("diameter_mm",),
        round_distance,
        lambda p: [[2 * float(np.hypot(*p.T).mean())]],
        (0.5,),
        (4.0,),
        turns=False,
    ),
    Family(
        "square",
        ("side_mm", "corner_radius_mm"),
        square_distance,
        lambda p: [[2 * float(np.abs(p).max()), share * float(np.abs(p).max())] for share in (0.15, 0.5)],
        (0.5, 0.0),
        (4.0, 1.0),
    ),
)
FLUTES = (
    Family("arc", ("radius_mm",), arc_distance, lambda p: [[_chord_radius(p)]], (0.02,), (50.0,), turns=False),
    Family("parabola", ("floor_radius_mm",), parabola_distance, lambda p: [[_floor_radius(p)]], (0.01,), (50.0,)),
    Family(
        "ellipse",
        ("floor_radius_mm", "half_width_mm"),
        ellipse_distance,
        lambda p: [[_floor_radius(p), 1.1 * _half_width(p)], [_chord_radius(p), 1.5 * _half_width(p)]],
        (0.01, 0.5),
        (50.0, 20.0),
    ),
    Family("vee", ("floor_radius_mm", "flank_angle_deg"), vee_distance, _vee_starts, (0.005, 0.0), (50.0, 1e9)),
)
"""Smooth points are the family of no formula: `gougeform.take.fits` adds them."""
