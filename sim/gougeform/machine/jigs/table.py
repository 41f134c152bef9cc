"""A flat table, tilted."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from gougeform.machine.jig import NOSE_ANGLE, PROJECTION, Drawn, Jig, Step, called
from gougeform.part import Table

if TYPE_CHECKING:
    from gougeform.bar.marks import Mark
    from gougeform.bar.section import Section
    from gougeform.machine.bodies import Obstacle
    from gougeform.machine.rig import Rig, TableRig
    from gougeform.machine.solid import WheelSolid


class TableJig(Jig):
    """A flat table, tilted for a nose angle; the bar rolls on it and swings about where fingers hold it."""

    noun: ClassVar[str] = "a table"
    rank: ClassVar[int] = 30
    clamps: ClassVar[bool] = False
    set_by: ClassVar[str] = "its tilt"
    worn: ClassVar[str] = "A table: tilt it anew when the wheel has worn. The nose angle is set, not the distance."
    usual_path: ClassVar[str] = "steady"
    edge: ClassVar[Mapping[str, float]] = {"wing": 0.25, "shoulder": 0.3}
    kind: Literal["table"] = "table"
    projection_mm: Annotated[
        float,
        called(
            PROJECTION,
            "projection",
            "how far behind the nose the fingers hold the bar, in mm",
            "Ruler along the bar, nose back to the fingers",
        ),
    ] = 65.0
    nose_angle_deg: Annotated[
        float | None,
        called(
            NOSE_ANGLE,
            "nose angle",
            "the nose angle the table is tilted for, in degrees",
            "Set the table so that bar and a straight edge touching the wheel at the nose make it",
            search=(10, 90),
            setting="tilt",
            ways=("steeper", "flatter"),
            by_hand=True,
            called="the table's tilt",
        ),
    ] = None

    def steps(self) -> list[Step]:
        """As `Jig` says."""
        tilt = "bar to the wheel's tangent where the nose touches"
        return [
            Step("Hold the bar", f"{self.projection_mm:g} mm", "fingers behind the nose; flute up", "projection"),
            Step("Tilt the table", f"{self.nose_angle_deg:g}°", tilt),
        ]

    def drawn(self, section: Section) -> Drawn:
        """As `Jig` says: the table under the bar, from just behind the nose to beyond the fingers."""
        import numpy as np

        low, p = section.underside, -self.projection_mm
        end = p - 24.0
        return Drawn(np.array([[low, -12.0], [low, end], [low - 5, end], [low - 5, -12.0]]), np.array([low, p]))

    def marks(self, section: Section) -> list[Mark]:
        """As `Jig` says."""
        from gougeform.bar.marks import length

        top = section.lip_plane
        words = "nose to where the fingers hold"
        return [length("jig.projection_mm", words, [top, 0], [top, -self.projection_mm])]

    @classmethod
    def first(cls, clamp: str, *, rolls: bool, belt: bool) -> Table:
        """As `Jig` says."""
        return {"kind": "table", "projection_mm": 65.0, "nose_angle_deg": 40.0}

    def set_up(self, section: Section, wheel: WheelSolid, contact: float = 0.0) -> TableRig:
        """As `Jig` says."""
        import numpy as np

        from gougeform.machine.rig import TableRig

        if self.nose_angle_deg is None:
            raise self.without_distance("jig")

        return TableRig(float(np.radians(self.nose_angle_deg)), section.y_floor, self.projection_mm)

    def shown(self, section: Section, rig: Rig) -> tuple[Obstacle, ...]:
        """As `Jig` says: the table, from behind the heel to beyond the fingers; how wide and thick is usual."""
        import numpy as np

        from gougeform.machine.bodies import Box, Obstacle
        from gougeform.machine.pose import Pose
        from gougeform.machine.rig import TableRig

        assert isinstance(rig, TableRig)
        low, base = section.underside, rig.frame[2]
        front = (low - section.y_floor) / np.tan(rig.nose_angle) - 6.0
        back = min(-self.projection_mm, front) - 25.0
        plate = Box(np.array([0.0, low - 4.0, (front + back) / 2]), np.array([45.0, 4.0, (front - back) / 2]))
        shift = -base[:, 1:2] * rig.y_floor

        def still(pose: Pose) -> Pose:
            """It stays where the bar lies on it when the nose is ground."""
            n = pose.shift.shape[1]
            return Pose(np.repeat(base[:, :, None], n, axis=2), np.repeat(shift, n, axis=1))

        return (Obstacle("the table", plate, still),)
