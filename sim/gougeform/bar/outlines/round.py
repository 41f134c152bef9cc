"""A round bar."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from gougeform.bar.bar import Bar
from gougeform.quantity import Quantity

if TYPE_CHECKING:
    from gougeform.bar.marks import Mark
    from gougeform.bar.outline import Outline
    from gougeform.bar.section import Section


class RoundBar(Bar):
    """A bar with a circle as its outline; the axis is the circle's centre."""

    noun: ClassVar[str] = "a round bar"
    rank: ClassVar[int] = 10
    rolls: ClassVar[bool] = True
    outline: Literal["round"] = "round"
    diameter_mm: Annotated[
        float,
        Quantity(
            "diameter", "diameter of the bar in mm", gt=0, le=200, usual=(6, 20), span=(5, 20), step=0.1,
            how="Calliper across the shank, behind the flute",
        ),
    ]  # fmt: skip

    def build(self) -> Outline:
        """As `Bar` says."""
        from gougeform.bar.outline import round_outline

        return round_outline(self.diameter_mm)

    def marks(self, section: Section) -> list[Mark]:
        """As `Bar` says."""
        from gougeform.bar.marks import side_to_side

        return [side_to_side("bar.diameter_mm", "diameter of the bar", section)]

    @property
    def words(self) -> str:
        """As `Bar` says."""
        return f"round bar Ø{self.diameter_mm:g} mm"

    @property
    def short(self) -> str:
        """As `Bar` says."""
        return f"round {self.diameter_mm:g}"
