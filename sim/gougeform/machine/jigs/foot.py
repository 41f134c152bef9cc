"""A jig whose arm ends in a foot."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from gougeform.machine.jig import CANT, ClampedJig, called
from gougeform.quantity import Quantity

if TYPE_CHECKING:
    from gougeform.bar.section import Section
    from gougeform.machine.bodies import Obstacle
    from gougeform.machine.rig import FootRig, Pivot, Rig
    from gougeform.machine.solid import WheelSolid


class FootJig(ClampedJig):
    """An arm that ends in a foot, which stands in a pocket."""

    noun: ClassVar[str] = "a foot jig"
    rank: ClassVar[int] = 10
    pivot_noun: ClassVar[str] = "pocket"
    loose: ClassVar[str] = "whose ball joint holds nothing steady"
    kind: Literal["foot"] = "foot"
    arm_length_mm: Annotated[
        float,
        Quantity(
            "arm length", "hinge to the foot in mm", gt=0, le=1000, usual=(40, 200), span=(30, 200), step=0.5,
            how="Straight from that pin to the point the foot stands on",
            search=(20, 250), setting="arm_length", called="the arm's length",
        ),
    ]  # fmt: skip
    arm_cant_deg: Annotated[
        float,
        called(
            CANT,
            "arm below bar axis",
            "angle of the arm below the bar axis in degrees",
            "Protractor between bar and that straight line; 0 is along the bar",
            usual=(-10, 70),
        ),
    ]
    arm_diameter_mm: Annotated[
        float,
        Quantity(
            "arm diameter",
            "thickness of the arm in mm",
            gt=0,
            le=100,
            usual=(5, 15),
            step=0.5,
            how="Calliper across the arm",
        ),
    ] = 8.0

    def pivot(self, section: Section) -> Pivot:
        """As `Jig` says."""
        import numpy as np

        from gougeform.machine.rig import Pivot

        cant = np.radians(self.arm_cant_deg)
        return Pivot(
            float(self.projection_mm + self.hinge_back_mm + self.arm_length_mm * np.cos(cant)),
            float(section.y_floor + self.drop(section) + self.arm_length_mm * np.sin(cant)),
        )

    def across(self, contact: float) -> float:
        """As `Jig` says: the pocket stays where it is."""
        return contact

    def set_up(self, section: Section, wheel: WheelSolid, contact: float = 0.0) -> FootRig:
        """As `Jig` says."""
        import numpy as np

        from gougeform.machine.rig import FootRig

        pivot = self.pivot(section)
        foot = np.array([0.0, section.y_floor - pivot.above, -pivot.along])
        return FootRig(foot, self.at_rim(section, wheel, contact), pivot)

    def bodies(self, section: Section, rig: Rig) -> tuple[Obstacle, ...]:
        """The clamp, and the arm from its hinge to the foot."""
        import numpy as np

        from gougeform.machine.bodies import Obstacle, Round
        from gougeform.machine.rig import FootRig

        assert isinstance(rig, FootRig)
        hinge = np.array([0.0, -self.drop(section), -self.projection_mm - self.hinge_back_mm])
        return (*super().bodies(section, rig), Obstacle("the arm", Round(hinge, rig.foot, self.arm_diameter_mm / 2)))
