"""A flute that was measured."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from gougeform.bar.flute import WEB, Flute
from gougeform.part import POINTS_ALLOWED, Points
from gougeform.quantity import Words

if TYPE_CHECKING:
    from gougeform.bar.curves import HalfCurve, SplineCurve


class PointsFlute(Flute):
    """A measured flute: points (n, 2) from lip to lip or from the floor outward.

    Without web_mm their y are heights over the bar axis; with it they are shifted to that web.
    """

    noun: ClassVar[str] = "a flute from points"
    rank: ClassVar[int] = 90
    words: ClassVar[str] = "measured"
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
    def floor_mm(self) -> float | None:
        """As `Flute` says."""
        return self._measured[1] if self.web_mm is None else None
