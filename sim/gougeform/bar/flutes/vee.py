"""A V-shaped flute."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from gougeform.bar.flute import FLOOR_RADIUS, CurvedFlute
from gougeform.quantity import Quantity

if TYPE_CHECKING:
    from gougeform.bar.curves import HalfCurve


class VeeFlute(CurvedFlute):
    """Two flat flanks with a round floor between them."""

    noun: ClassVar[str] = "a vee flute"
    rank: ClassVar[int] = 40
    words: ClassVar[str] = "V"
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
