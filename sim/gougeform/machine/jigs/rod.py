"""A jig that rides on a rod."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from gougeform.machine.jig import CANT, CENTRE_DISTANCE, RIM_DISTANCE, ClampedJig, Drawn, Step, called
from gougeform.part import Table
from gougeform.quantity import Quantity

if TYPE_CHECKING:
    from gougeform.bar.marks import Mark
    from gougeform.bar.section import Section
    from gougeform.machine.bodies import Obstacle
    from gougeform.machine.rig import Pivot, Rig, RodRig
    from gougeform.machine.solid import WheelSolid

_ROD_LONG_MM = 1000.0
"""To either side: longer than any wheel is wide, so that the rod's ends never count."""


class RodJig(ClampedJig):
    """A clamp hinged to a shoe that rides on a straight rod parallel to the wheel's axis."""

    noun: ClassVar[str] = "a rod jig"
    rank: ClassVar[int] = 20
    pivot_noun: ClassVar[str] = "rod"
    fit: ClassVar[str] = "shoe"
    kind: Literal["rod"] = "rod"
    centre_distance_mm: Annotated[float | None, called(CENTRE_DISTANCE, "centre to rod")] = None
    rim_distance_mm: Annotated[float | None, called(RIM_DISTANCE, "rim to rod")] = None
    hinge_cant_deg: Annotated[
        float,
        called(
            CANT,
            "hinge axis to bar axis",
            "angle of the hinge to the bar axis in degrees",
            "Protractor between bar and hinge axis; above 0 it rises toward the nose",
            usual=(0, 70),
        ),
    ]
    shoe_mm: Annotated[
        float,
        Quantity(
            "hinge to rod centre", "hinge point to the rod's centre in mm", gt=0, le=1000, usual=(10, 80),
            span=(5, 100), step=0.5,
            how="Square to the bar from that pin to the rod's surface, and half the rod's diameter",
            search=(5, 120), setting="shoe", called="the shoe's height",
        ),
    ]  # fmt: skip
    rod_diameter_mm: Annotated[
        float,
        Quantity(
            "rod diameter",
            "diameter of the rod in mm",
            gt=0,
            le=200,
            usual=(6, 30),
            span=(6, 30),
            step=0.5,
            how="Calliper across the rod",
        ),
    ]
    shoe_size_mm: Annotated[
        tuple[float, float, float],
        Quantity(
            "size of the shoe",
            "size of the shoe on the rod in mm, [across, high, along the bar]",
            gt=0,
            le=500,
            usual=(10, 60),
            step=1,
            how="Ruler across, up and along the shoe",
        ),
    ] = (30.0, 20.0, 25.0)

    @property
    def pivot_thick_mm(self) -> float:
        """As `Jig` says: half the rod."""
        return self.rod_diameter_mm / 2

    def steps(self) -> list[Step]:
        """As `Jig` says."""
        help_ = f"shoe {self.shoe_mm:g} mm to rod centre; {self.hinge_words}"
        return [*super().steps(), Step("Hinge axis to bar axis", f"{self.hinge_cant_deg:g}°", help_, "axis")]

    def drawn(self, section: Section) -> Drawn:
        """As `Jig` says."""
        import numpy as np

        cant = np.radians(self.hinge_cant_deg)
        return replace(super().drawn(section), axis=np.array([np.sin(cant), np.cos(cant)]))

    def marks(self, section: Section) -> list[Mark]:
        """As `Jig` says."""
        import numpy as np

        from gougeform.bar.marks import angle, length

        drawn = self.drawn(section)
        assert drawn.hinge is not None
        assert drawn.axis is not None
        hinge, ahead = drawn.hinge, np.array([0.0, 30.0])
        rod, half = hinge - [self.shoe_mm, 0.0], np.array([0.0, self.rod_diameter_mm / 2])
        return [
            *super().marks(section),
            length("jig.shoe_mm", "shoe, pin to the rod's middle", hinge, rod),
            angle("jig.hinge_cant_deg", "cant, bar to hinge axis", hinge + ahead, hinge, hinge + 30.0 * drawn.axis),
            length("jig.rod_diameter_mm", "diameter of the rod", rod - half, rod + half),
        ]

    @classmethod
    def first(cls, clamp: str, *, rolls: bool, belt: bool) -> Table:
        """As `Jig` says."""
        own = {"hinge_cant_deg": 0.0 if rolls else 50.0, "shoe_mm": 30.0 if rolls else 40.0, "rod_diameter_mm": 12.0}
        # A belt is a plane: nearer to the nose the usual clamp would stand in it.
        far = {"projection_mm": 70.0} if belt and not rolls else {}
        height = {} if belt else {"height_mm": 70.0}
        nose = {"nose_angle_deg": 40.0 if rolls or belt else 35.0}
        return super().first(clamp, rolls=rolls, belt=belt) | far | own | height | nose

    def pivot(self, section: Section) -> Pivot:
        """As `Jig` says."""
        from gougeform.machine.rig import Pivot

        return Pivot(
            float(self.projection_mm + self.hinge_back_mm), float(section.y_floor + self.drop(section) + self.shoe_mm)
        )

    def set_up(self, section: Section, wheel: WheelSolid, contact: float = 0.0) -> RodRig:
        """As `Jig` says."""
        import numpy as np

        from gougeform.machine.rig import RodRig

        pivot, cant = self.pivot(section), np.radians(self.hinge_cant_deg)
        rim = self.at_rim(section, wheel, contact)
        hinge = np.array([0.0, section.y_floor - pivot.above + self.shoe_mm, -pivot.along])
        return RodRig(hinge, np.array([0.0, np.sin(cant), np.cos(cant)]), self.shoe_mm, rim, pivot)

    def bodies(self, section: Section, rig: Rig) -> tuple[Obstacle, ...]:
        """The clamp, the rod, and the shoe: a box that lies on the rod, on the side of the hinge."""
        import numpy as np

        from gougeform.machine.bodies import Box, Obstacle, Round
        from gougeform.machine.rig import RodRig

        assert isinstance(rig, RodRig)
        half, thick = np.array(self.shoe_size_mm) / 2, self.rod_diameter_mm / 2
        left, right = (np.array([rig.rim, side * _ROD_LONG_MM, 0.0]) for side in (-1.0, 1.0))
        return (
            *super().bodies(section, rig),
            Obstacle("the shoe", Box(np.array([0.0, thick + half[1], 0.0]), half), rig.shoe_pose),
            Obstacle("the rod", Round(left, right, thick), rig.rod_pose),
        )
