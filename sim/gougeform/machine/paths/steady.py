"""Rolling at one setting."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from gougeform.machine.path import Path
from gougeform.quantity import Quantity

if TYPE_CHECKING:
    from gougeform.bar.section import Section
    from gougeform.machine.rig import Rig
    from gougeform.machine.solid import WheelSolid
    from gougeform.machine.sweep import Sweep


class SteadyPath(Path):
    """The jig's dip or feed is held and the bar rolled to both sides."""

    noun: ClassVar[str] = "a steady path"
    rank: ClassVar[int] = 20
    words: ClassVar[str] = "rolled at one setting"
    holds: ClassVar[bool] = True
    extent: ClassVar[str] = "roll_max_deg"
    shorter: ClassVar[str] = "less roll"
    usual_extent: ClassVar[float] = 90.0
    suits: ClassVar[str] = "parabola"
    remark: ClassVar[str] = "The tool is rolled to both sides at one setting; the nose angle stands in [jig]."
    path: Literal["steady"] = "steady"
    roll_max_deg: Annotated[
        float,
        Quantity(
            "roll to either side", "roll to either side in degrees", gt=0, le=180, usual=(60, 120), span=(20, 120),
            step=1, how="As far as you turn the handle from upright",
            search=(10, 180), setting="roll", called="the roll",
        ),
    ]  # fmt: skip

    def step(self, nose: float, wing: float) -> tuple[str, str, str]:
        """As `Path` says."""
        return "Roll to both sides", f"{self.roll_max_deg:g}°", f"until the bevel meets the edge: {nose:.1f}°"

    def sweep(self, section: Section, rig: Rig, wheel: WheelSolid) -> Sweep:
        """As `Path` says."""
        import numpy as np

        from gougeform.machine.sweep import Steady

        return Steady(*rig.hold(wheel, self.contact, section.y_floor), float(np.radians(self.roll_max_deg)))
