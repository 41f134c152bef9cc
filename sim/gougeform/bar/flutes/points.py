"""A flute that was measured."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from gougeform.bar.flute import WEB, Flute, Shares
from gougeform.part import POINTS_ALLOWED, Points
from gougeform.quantity import Words

if TYPE_CHECKING:
    from gougeform.bar.curves import HalfCurve, SplineCurve


_A_SIDE = 8  # points of a first list, to be overwritten


class PointsFlute(Flute):
    """A measured flute: points (n, 2) from lip to lip or from the floor outward.

    Without web_mm their y are heights over the bar axis; with it they are shifted to that web.
    """

    noun: ClassVar[str] = "a flute from points"
    rank: ClassVar[int] = 90
    words: ClassVar[str] = "measured"
    shares: ClassVar[Shares] = Shares(0.70, 0.84, 0.65)
    shape: Literal["points"] = "points"
    points_mm: Annotated[
        Points,
        Words(
            "curve",
            "the flute's curve in mm, as a list of [x, y]",
            "Calliper's depth rod every half millimetre, from lip to lip and the same to both sides",
            POINTS_ALLOWED,
        ),
    ]
    web_mm: Annotated[float | None, WEB] = None

    @cached_property
    def _measured(self) -> tuple[SplineCurve, float]:
        import numpy as np

        from gougeform.bar.curves import measured_curve

        return measured_curve(np.asarray(self.points_mm, float))

    def curve(self, size: float) -> HalfCurve:
        """As `Flute` says."""
        return self._measured[0]

    @property
    def read(self) -> Points:
        """As `Flute` says."""
        return self.points_mm

    @property
    def floor_mm(self) -> float | None:
        """As `Flute` says."""
        return self._measured[1] if self.web_mm is None else None

    @classmethod
    def through(cls, width: float, depth: float, floor_radius: float) -> dict[str, list[list[float]]]:
        """As `Flute` says: a parabola's heights over the floor, the outermost points just outside the bar."""
        rho = width * width / (8 * depth)
        x = [round(k / _A_SIDE * 1.08 * width / 2, 2) for k in range(-_A_SIDE, _A_SIDE + 1)]
        return {"points_mm": [[at, round(at * at / (2 * rho), 3)] for at in x]}
