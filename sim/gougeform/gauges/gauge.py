"""What a gauge is before it is a solid: a plan in mm with heights, its text, and the dimensions it must hold.

A plan is seen from above, the way the gauge lies on the printer's bed, so that no wall leans and nothing needs support.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

LEAST_WALL_MM = 1.2
TEXT_DEPTH_MM = 0.6
ARC_TOLERANCE_MM = 0.001
"""Largest distance of a chord from the circle it stands for."""


@dataclass(frozen=True, eq=False)
class Lettering:
    """Text or marks on a level face: shapes (plan, mm) and the height `top` of the face. marks are always sunk."""

    shape: BaseGeometry
    top: float
    mark: bool = False


@dataclass(frozen=True)
class Span:
    """What must be found on the printed part: how much of a straight cut through it is material, or gap.

    dimension: which of the gauge's it shows. height: of the cut above the bed, mm. start, end: of the cut on the plan,
    mm. length: mm.
    """

    dimension: str
    height: float
    start: tuple[float, float]
    end: tuple[float, float]
    length: float
    gap: bool = False


@dataclass(frozen=True, eq=False)
class Gauge:
    """One gauge.

    kind: the word for it. name: tells several of a kind apart, part of a file's name. outline: plan, mm.
    thickness: mm. lowered: (region, height) pairs: there the plate ends at that height. lettering: text and marks.
    says: the text. dimensions: functional sizes as they must be found on the print before scale, units in the names.
    use: how to use it, one sentence. notes: what a person should know about this one. spans: how its dimensions are
    found again on the file.
    """

    kind: str
    name: str
    outline: Polygon
    thickness: float
    lettering: tuple[Lettering, ...]
    says: tuple[str, ...]
    dimensions: dict[str, float]
    use: str
    lowered: tuple[tuple[BaseGeometry, float], ...] = ()
    notes: tuple[str, ...] = ()
    spans: tuple[Span, ...] = ()

    @property
    def size(self) -> tuple[float, float]:
        """Width and depth on the bed, mm."""
        left, low, right, high = self.outline.bounds
        return right - left, high - low


def disc(x: float, y: float, radius: float) -> Polygon:
    """A circle as a polygon whose corners lie on it and whose chords leave it by ARC_TOLERANCE_MM at most."""
    steps = int(np.ceil(np.pi / np.arccos(1 - min(ARC_TOLERANCE_MM / radius, 0.5))))
    phi = np.linspace(0, 2 * np.pi, 4 * max(int(np.ceil(steps / 4)), 8), endpoint=False)
    return Polygon(np.stack([x + radius * np.cos(phi), y + radius * np.sin(phi)], -1))


def rounded(shape: BaseGeometry, radius: float, inner: float = 0.0) -> Polygon:
    """The shape with its outer corners rounded, and its inner ones where `inner` is given (mm).

    Raises ValueError where the shape is too thin for them.
    """
    soft = shape.buffer(-radius, quad_segs=12).buffer(radius, quad_segs=12)
    if inner:
        soft = soft.buffer(inner, quad_segs=12).buffer(-inner, quad_segs=12)
    if not isinstance(soft, Polygon) or soft.is_empty:
        raise ValueError("the shape is too thin for these corners")
    return soft


def mm(value: float, digits: int = 2) -> str:
    """A length as it stands on a gauge; number and unit are never parted."""
    return f"{plain(value, digits)}\u00a0mm"


def plain(value: float, digits: int = 2) -> str:
    """A number as it stands on a gauge: no zeros at the end."""
    return f"{round(value, digits) + 0.0:.{digits}f}".rstrip("0").rstrip(".")
