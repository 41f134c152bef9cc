"""A flat table, tilted."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from gougeform.machine.jig import NOSE_ANGLE, PROJECTION, Jig, called

if TYPE_CHECKING:
    from gougeform.bar.section import Section
    from gougeform.machine.rig import TableRig
    from gougeform.machine.solid import WheelSolid


class TableJig(Jig):
    """A flat table, tilted for a nose angle; the bar rolls on it and swings about where fingers hold it."""

    noun: ClassVar[str] = "a table"
    rank: ClassVar[int] = 30
    clamps: ClassVar[bool] = False
    set_by: ClassVar[str] = "its tilt"
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

    def set_up(self, section: Section, wheel: WheelSolid, contact: float = 0.0) -> TableRig:
        """As `Jig` says."""
        import numpy as np

        from gougeform.machine.rig import TableRig

        if self.nose_angle_deg is None:
            raise self.without_distance("jig")

        return TableRig(float(np.radians(self.nose_angle_deg)), section.y_floor, self.projection_mm)
