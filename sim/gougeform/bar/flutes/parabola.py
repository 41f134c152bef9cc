"""A flute of one parabola."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from gougeform.bar.flute import FLOOR_RADIUS, CurvedFlute, Shares

if TYPE_CHECKING:
    from gougeform.bar.curves import HalfCurve
    from gougeform.bar.marks import Mark
    from gougeform.bar.section import Section


class ParabolaFlute(CurvedFlute):
    """y = y_floor + x² / (2 floor_radius)."""

    noun: ClassVar[str] = "a parabola flute"
    rank: ClassVar[int] = 20
    words: ClassVar[str] = "parabolic"
    shares: ClassVar[Shares] = Shares(0.86, 0.86, 0.46)
    by_width: ClassVar[tuple[str, ...]] = ("floor_radius_mm",)
    shape: Literal["parabola"] = "parabola"
    floor_radius_mm: Annotated[float, FLOOR_RADIUS]

    def curve(self, size: float) -> HalfCurve:
        """As `Flute` says."""
        from gougeform.bar.curves import ParabolaCurve

        return ParabolaCurve(self.floor_radius_mm, reach=4 * size)

    @classmethod
    def through(cls, width: float, depth: float, floor_radius: float) -> dict[str, float]:
        """As `Flute` says: y = x² / 2ρ."""
        return {"floor_radius_mm": width * width / (8 * depth)}

    def marks(self, section: Section) -> list[Mark]:
        """As `Flute` says."""
        from gougeform.bar.marks import floor_radius

        return [floor_radius(self.floor_radius_mm, section.y_floor)]
