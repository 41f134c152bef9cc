"""A bar whose outline was measured."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from gougeform.bar.bar import Bar
from gougeform.part import POINTS_ALLOWED, Points
from gougeform.quantity import Words

if TYPE_CHECKING:
    from gougeform.bar.marks import Mark
    from gougeform.bar.outline import Outline
    from gougeform.bar.section import Section


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

    smooth: Annotated[
        bool,
        Words(
            "smooth",
            "whether the bar runs smoothly through its points, or straight from one to the next",
            "true for a bar with a round outside; where it turns sharply at one point that stays a corner",
        ),
    ] = False

    def build(self) -> Outline:
        """As `Bar` says."""
        import numpy as np

        from gougeform.bar.outline import free_outline
        from gougeform.bar.smooth import smooth_outline

        return (smooth_outline if self.smooth else free_outline)(np.asarray(self.points_mm, float))

    @property
    def coarse_mm(self) -> float:
        """As `Bar` says."""
        import numpy as np

        from gougeform.bar.smooth import coarse_mm

        return coarse_mm(np.asarray(self.points_mm, float)) if self.smooth else 0.0

    def marks(self, section: Section) -> list[Mark]:
        """As `Bar` says."""
        from gougeform.bar.marks import length, side_to_side

        side, top = side_to_side("", "bar, side to side", section), section.outline.on_middle_plane(below=False)
        east = side.points[1, 0]
        return [side, length("", "bar, underside to top", [east, section.underside], [east, top])]

    @property
    def words(self) -> str:
        """As `Bar` says."""
        return "measured bar"

    @property
    def short(self) -> str:
        """As `Bar` says."""
        return "points"
