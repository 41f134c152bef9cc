"""A flute of one parabola."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from gougeform.bar.flute import FLOOR_RADIUS, CurvedFlute

if TYPE_CHECKING:
    from gougeform.bar.curves import HalfCurve


class ParabolaFlute(CurvedFlute):
    """y = y_floor + x² / (2 floor_radius)."""

    noun: ClassVar[str] = "a parabola flute"
    rank: ClassVar[int] = 20
    words: ClassVar[str] = "parabolic"
    shape: Literal["parabola"] = "parabola"
    floor_radius_mm: Annotated[float, FLOOR_RADIUS]

    def curve(self, size: float) -> HalfCurve:
        """As `Flute` says."""
        from gougeform.bar.curves import ParabolaCurve

        return ParabolaCurve(self.floor_radius_mm, reach=4 * size)
