"""A jig whose arm ends in a foot."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from gougeform.errors import InputError
from gougeform.machine.jig import CANT, ClampedJig, Readings, Step, called
from gougeform.part import Table
from gougeform.quantity import Quantity

if TYPE_CHECKING:
    from gougeform.bar.marks import Mark
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
    fit: ClassVar[str] = "cant"
    readings: ClassVar[Readings | None] = Readings(
        {
            "foot_back_mm": "along the bar, clamp's front face back to the point the foot stands on",
            "foot_down_mm": "square to the bar, from what it is held against down to the point the foot stands on",
        },
        ("arm_length_mm", "arm_cant_deg"),
        "the foot's place takes both readings",
        "With a foot jig only the place of its foot counts",
    )
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
            "arm below the bar axis",
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

    def steps(self) -> list[Step]:
        """As `Jig` says."""
        help_ = f"arm {self.arm_length_mm:g} mm; {self.hinge_words}"
        return [*super().steps(), Step("Arm below the bar axis", f"{self.arm_cant_deg:g}°", help_, "cant")]

    def marks(self, section: Section) -> list[Mark]:
        """As `Jig` says."""
        import numpy as np

        from gougeform.bar.marks import angle, length

        cant, hinge = np.radians(self.arm_cant_deg), self.drawn(section).hinge
        assert hinge is not None
        foot = hinge - self.arm_length_mm * np.array([np.sin(cant), np.cos(cant)])
        made = [*super().marks(section), length("jig.arm_length_mm", "arm, pin to the foot's point", hinge, foot)]
        behind = hinge - np.array([0.0, 0.6 * self.arm_length_mm])
        return [*made, angle("jig.arm_cant_deg", "cant, bar to arm", behind, hinge, foot)]

    @classmethod
    def first(cls, clamp: str, *, rolls: bool, belt: bool) -> Table:
        """As `Jig` says."""
        # A belt is a plane: nearer to the nose, or less canted, the usual clamp would stand in it.
        flat = belt and not rolls
        own = {"arm_length_mm": 90.0, "arm_cant_deg": 60.0 if flat else 40.0}
        usual = super().first(clamp, rolls=rolls, belt=belt) | ({"projection_mm": 100.0} if flat else {}) | own
        height = {} if belt else {"height_mm": -130.0}
        return usual | height | {"nose_angle_deg": 40.0 if rolls or belt else 35.0}

    @classmethod
    def from_readings(cls, table: Table, read: Mapping[str, float]) -> Table:
        """As `Jig` says: arm and cant from where the foot's point lies. Raises InputError where it lies reversed."""
        along, down = (read["foot_back_mm"] - table["hinge_back_mm"], read["foot_down_mm"] - table["hinge_drop_mm"])
        if not along > 0:
            raise InputError(
                "jig.foot_back_mm",
                f"given {read['foot_back_mm']:g}, allowed is above jig.hinge_back_mm = {table['hinge_back_mm']:g} mm",
                "measure along the bar from the clamp's front face back to the foot's point",
            )
        length, cant = math.hypot(along, down), math.degrees(math.atan2(down, along))
        return {"arm_length_mm": round(length, 2), "arm_cant_deg": round(cant, 2)}

    def remark(self) -> str:
        """As `Jig` says."""
        cant = math.radians(self.arm_cant_deg)
        back = self.hinge_back_mm + self.arm_length_mm * math.cos(cant)
        down = self.hinge_drop_mm + self.arm_length_mm * math.sin(cant)
        return (
            f"Only where the foot stands counts: here {back:.1f} mm behind the clamp's front face along the bar and"
            f" {down:.1f} mm square below what the bar is held against. Lay the jig on its side on paper, mark bar,"
            " face and foot, and measure these two; `gougeform start` works arm and cant out from them:"
        )

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
