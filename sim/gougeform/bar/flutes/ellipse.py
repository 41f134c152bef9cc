"""A flute of one ellipse."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from gougeform.bar.flute import FLOOR_RADIUS, CurvedFlute, Shares
from gougeform.errors import InputError
from gougeform.quantity import Quantity

if TYPE_CHECKING:
    from gougeform.bar.curves import HalfCurve
    from gougeform.bar.marks import Mark
    from gougeform.bar.section import Section


class EllipseFlute(CurvedFlute):
    """An upright ellipse: half its width, and the radius at its floor (half width² / half height)."""

    noun: ClassVar[str] = "an ellipse flute"
    rank: ClassVar[int] = 30
    words: ClassVar[str] = "elliptical"
    shares: ClassVar[Shares] = Shares(0.68, 0.76, 0.36, 0.17)
    by_width: ClassVar[tuple[str, ...]] = ("half_width_mm",)
    wing_share: ClassVar[float] = 0.8
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

    @classmethod
    def through(cls, width: float, depth: float, floor_radius: float) -> dict[str, float]:
        """As `Flute` says: ρ = a²/b, x²/a² + (y − b)²/b² = 1 solved for a. Raises InputError where there is none."""
        half = width / 2
        parabola = half * half / (2 * depth)
        if not floor_radius > parabola:
            raise InputError(
                "flute.floor_radius_mm",
                f"given {floor_radius:g}, but an ellipse {width:g} mm wide and {depth:.2f} mm deep at its lips has a"
                f" floor radius above {parabola:.3f} mm",
                "a larger radius, or `flute` vee or parabola",
            )
        tall = depth * floor_radius
        return {"floor_radius_mm": floor_radius, "half_width_mm": tall / math.sqrt(2 * (tall - half * half / 2))}

    @property
    def chosen_floor_mm(self) -> float:
        """As `Flute` says."""
        return self.floor_radius_mm

    def marks(self, section: Section) -> list[Mark]:
        """As `Flute` says."""
        from gougeform.bar.marks import floor_radius, length

        a, rho = self.half_width_mm, self.floor_radius_mm
        y = section.y_floor + a * a / rho  # the ellipse's widest: b = a²/ρ above the floor
        half = length("flute.half_width_mm", "half the flute's widest", [0, y], [a, y])
        return [floor_radius(rho, section.y_floor), half]
