"""A bar whose outline was measured."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from gougeform.bar.bar import Bar
from gougeform.part import POINTS_ALLOWED, Points
from gougeform.quantity import Words

if TYPE_CHECKING:
    from gougeform.bar.outline import Outline


class PointsBar(Bar):
    """A bar with a measured closed outline: points (n, 2) in order around it, from the bar axis."""

    noun: ClassVar[str] = "a bar from points"
    rank: ClassVar[int] = 90
    outline: Literal["points"] = "points"
    points_mm: Annotated[
        Points,
        Words(
            "outline",
            "closed outline of the bar in mm, as a list of [x, y]",
            "In order round the bar, x from the middle of the flute, y up from the axis",
            POINTS_ALLOWED,
        ),
    ]

    def build(self) -> Outline:
        """As `Bar` says."""
        import numpy as np

        from gougeform.bar.outline import free_outline

        return free_outline(np.asarray(self.points_mm, float))

    @property
    def words(self) -> str:
        """As `Bar` says."""
        return "measured bar"

    @property
    def short(self) -> str:
        """As `Bar` says."""
        return "points"
