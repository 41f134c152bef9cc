"""A V-shaped flute."""

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


class VeeFlute(CurvedFlute):
    """Two flat flanks with a round floor between them."""

    noun: ClassVar[str] = "a vee flute"
    rank: ClassVar[int] = 40
    words: ClassVar[str] = "V"
    shares: ClassVar[Shares] = Shares(0.68, 0.74, 0.36, 0.13)
    by_width: ClassVar[tuple[str, ...]] = ("flank_angle_deg",)
    wing_share: ClassVar[float] = 0.8
    shape: Literal["vee"] = "vee"
    floor_radius_mm: Annotated[float, FLOOR_RADIUS]
    flank_angle_deg: Annotated[
        float,
        Quantity(
            "flank to middle plane", "angle of each flank to the flute's middle plane in degrees", gt=0, lt=90,
            usual=(10, 45), span=(5, 60), step=0.5,
            how="Bevel gauge on one flank, against a square held upright in the middle",
        ),
    ]  # fmt: skip

    def curve(self, size: float) -> HalfCurve:
        """As `Flute` says."""
        import numpy as np

        from gougeform.bar.curves import VeeCurve

        return VeeCurve(self.floor_radius_mm, np.radians(self.flank_angle_deg), reach=8 * size)

    @classmethod
    def through(cls, width: float, depth: float, floor_radius: float) -> dict[str, float]:
        """As `Flute` says: a flank that touches the floor's circle and goes through the lip.

        Raises InputError where there is none.
        """
        half = width / 2
        reach = math.hypot(half, depth - floor_radius)
        angle = 0.0
        if floor_radius < reach:
            angle = math.acos(floor_radius / reach) - math.atan2(depth - floor_radius, half)
        if not (angle > 0 and floor_radius * math.cos(angle) <= half):
            raise InputError(
                "flute.floor_radius_mm",
                f"given {floor_radius:g}: no straight flank leads from that round to lips {width:g} mm apart and"
                f" {depth:.2f} mm above the floor",
                f"a radius below {half:g}, or `flute` arc",
            )
        return {"floor_radius_mm": floor_radius, "flank_angle_deg": math.degrees(angle)}

    @property
    def chosen_floor_mm(self) -> float:
        """As `Flute` says."""
        return self.floor_radius_mm

    def marks(self, section: Section) -> list[Mark]:
        """As `Flute` says."""
        import numpy as np

        from gougeform.bar.marks import angle, floor_radius

        rho, lean = self.floor_radius_mm, np.radians(self.flank_angle_deg)
        up = np.array([np.sin(lean), np.cos(lean)])
        touch = np.array([0.0, section.y_floor + rho]) + rho * np.array([np.cos(lean), -np.sin(lean)])
        corner = touch - up * touch[0] / up[0]  # where the flank's line meets the middle
        reach = (section.lip(1) - corner) @ up
        above = corner + np.array([0.0, reach])
        flank = angle("flute.flank_angle_deg", "flank to the middle", above, corner, corner + reach * up)
        return [floor_radius(rho, section.y_floor), flank]
