"""A flute of one ellipse."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from gougeform.bar.flute import FLOOR_RADIUS, CurvedFlute
from gougeform.quantity import Quantity

if TYPE_CHECKING:
    from gougeform.bar.curves import HalfCurve


class EllipseFlute(CurvedFlute):
    """An upright ellipse: half its width, and the radius at its floor (half width² / half height)."""

    noun: ClassVar[str] = "an ellipse flute"
    rank: ClassVar[int] = 30
    words: ClassVar[str] = "elliptical"
    shape: Literal["ellipse"] = "ellipse"
    floor_radius_mm: Annotated[float, FLOOR_RADIUS]
    half_width_mm: Annotated[
        float,
        Quantity(
            "half width", "half the full width of the ellipse in mm", gt=0, le=1000, usual=(2, 8), span=(1, 12),
            step=0.1, how="Half of what an inside calliper reads at the flute's widest",
        ),
    ]  # fmt: skip

    def curve(self, size: float) -> HalfCurve:
        """As `Flute` says."""
        from gougeform.bar.curves import EllipseCurve

        return EllipseCurve(self.half_width_mm, self.half_width_mm**2 / self.floor_radius_mm)
