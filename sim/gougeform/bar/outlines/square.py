"""A square bar."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from pydantic import model_validator

from gougeform.bar.bar import Bar
from gougeform.part import at_most_half
from gougeform.quantity import Quantity

if TYPE_CHECKING:
    from gougeform.bar.marks import Mark
    from gougeform.bar.outline import Outline
    from gougeform.bar.section import Section


class SquareBar(Bar):
    """A bar with a square outline, a side on top; the axis is the square's centre."""

    noun: ClassVar[str] = "a square bar"
    rank: ClassVar[int] = 20
    shear: ClassVar[tuple[float, float, float, float]] = (10, 10, 12, 11)
    outline: Literal["square"] = "square"
    side_mm: Annotated[
        float,
        Quantity(
            "side of the square", "side of the square in mm", gt=0, le=200, usual=(6, 16), span=(5, 20), step=0.1,
            how="Calliper across two opposite sides, behind the flute",
        ),
    ]  # fmt: skip
    corner_radius_mm: Annotated[
        float,
        Quantity(
            "corner radius", "radius of the bar's four corners in mm", ge=0, le=100, usual=(0, 2), span=(0, 5),
            step=0.1, how="Radius gauge, or half a drill whose round fits the corner; 0 is sharp",
        ),
    ] = 0.0  # fmt: skip

    @model_validator(mode="after")
    def _corners_fit(self) -> SquareBar:
        at_most_half("corner_radius_mm", self.corner_radius_mm, "side_mm", self.side_mm)
        return self

    def build(self) -> Outline:
        """As `Bar` says."""
        from gougeform.bar.outline import square_outline

        return square_outline(self.side_mm, self.corner_radius_mm)

    def marks(self, section: Section) -> list[Mark]:
        """As `Bar` says."""
        import numpy as np

        from gougeform.bar.marks import length, side_to_side

        side = side_to_side("bar.side_mm", "side of the square bar", section)
        if not self.corner_radius_mm:
            return [side]
        middle = np.array([side.points[1, 0], section.underside]) + self.corner_radius_mm * np.array([-1.0, 1.0])
        end = middle + self.corner_radius_mm * np.array([1.0, -1.0]) / np.sqrt(2)
        return [side, length("bar.corner_radius_mm", "radius of its corners", middle, end)]

    @property
    def words(self) -> str:
        """As `Bar` says."""
        return f"square bar {self.side_mm:g} mm"

    @property
    def short(self) -> str:
        """As `Bar` says."""
        return f"square {self.side_mm:g}"
