"""A flute of one circle."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from gougeform.bar.flute import CurvedFlute, Shares
from gougeform.quantity import Quantity

if TYPE_CHECKING:
    from gougeform.bar.curves import HalfCurve
    from gougeform.bar.marks import Mark
    from gougeform.bar.section import Section


class ArcFlute(CurvedFlute):
    """A flute cut with a round-nosed cutter: one circle."""

    noun: ClassVar[str] = "an arc flute"
    rank: ClassVar[int] = 10
    words: ClassVar[str] = "arc"
    shares: ClassVar[Shares] = Shares(0.70, 0.84, 0.65)
    by_width: ClassVar[tuple[str, ...]] = ("radius_mm",)
    shape: Literal["arc"] = "arc"
    radius_mm: Annotated[
        float,
        Quantity(
            "flute radius", "radius of the flute in mm", gt=0, le=1000, usual=(2, 10), span=(1.5, 12), step=0.1,
            how="Half the thickness of the drill that fills the flute without rocking",
        ),
    ]  # fmt: skip

    def curve(self, size: float) -> HalfCurve:
        """As `Flute` says."""
        from gougeform.bar.curves import EllipseCurve

        return EllipseCurve(self.radius_mm, self.radius_mm)

    @classmethod
    def through(cls, width: float, depth: float, floor_radius: float) -> dict[str, float]:
        """As `Flute` says: the circle through lips and floor."""
        half = width / 2
        return {"radius_mm": (half * half + depth * depth) / (2 * depth)}

    def marks(self, section: Section) -> list[Mark]:
        """As `Flute` says."""
        import numpy as np

        from gougeform.bar.marks import length

        centre = np.array([0.0, section.y_floor + self.radius_mm])
        end = centre + self.radius_mm * np.array([np.sin(0.75), -np.cos(0.75)])
        return [length("flute.radius_mm", "radius of the flute", centre, end)]
