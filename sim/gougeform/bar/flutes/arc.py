"""A flute of one circle."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from gougeform.bar.flute import CurvedFlute
from gougeform.quantity import Quantity

if TYPE_CHECKING:
    from gougeform.bar.curves import HalfCurve


class ArcFlute(CurvedFlute):
    """A flute cut with a round-nosed cutter: one circle."""

    noun: ClassVar[str] = "an arc flute"
    rank: ClassVar[int] = 10
    words: ClassVar[str] = "arc"
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
