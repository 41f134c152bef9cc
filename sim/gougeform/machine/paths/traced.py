"""Grinding until the edge has an outline."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from gougeform.machine.path import Path
from gougeform.quantity import Quantity

if TYPE_CHECKING:
    from gougeform.bar.section import Section
    from gougeform.machine.edgeoutline import EdgeOutline
    from gougeform.machine.rig import Rig
    from gougeform.machine.solid import WheelSolid
    from gougeform.machine.sweep import Sweep


class TracedPath(Path):
    """The person grinds until the edge has this outline, and the jig decides the angles."""

    noun: ClassVar[str] = "a traced path"
    rank: ClassVar[int] = 10
    words: ClassVar[str] = "traced along an outline"
    extent: ClassVar[str] = "wing_length_mm"
    shorter: ClassVar[str] = "a shorter wing"
    path: Literal["traced"] = "traced"
    wing_length_mm: Annotated[
        float,
        Quantity(
            "wing length", "how far the lips lie behind the nose, in mm", gt=0, le=200, usual=(2, 25), span=(1, 25),
            step=0.1, how="Ruler along the bar, nose back to where the edge ends at the lip",
            search=(1, 40), setting="wing_length", called="the wing length",
        ),
    ]  # fmt: skip
    fullness: Annotated[
        float,
        Quantity(
            "fullness", "how full the edge is between nose and lip, seen from above", gt=0, lt=1, usual=(0.3, 0.6),
            span=(0.1, 0.9), step=0.01,
            how="0.41 is a quarter of an ellipse; less runs straighter to the lip, like a spear, more is like a spade",
            search=(0.05, 0.95), setting="fullness", called="the outline's fullness",
        ),
    ] = math.sqrt(2) - 1  # fmt: skip
    shoulder: Annotated[
        float,
        Quantity(
            "shoulder", "how far out the edge is led before it turns back, as a share of the way to the lip", gt=0,
            le=1, usual=(0.3, 1), span=(0.3, 1), step=0.01,
            how="1 is broad and square-shouldered at the nose, 0.3 pointed. Lay the drawing on the tool and compare",
            search=(0.2, 1), setting="shoulder", called="the outline's shoulder",
        ),
    ] = 0.8  # fmt: skip
    contact_mm: Annotated[
        float,
        Quantity(
            "contact across",
            "place of the contact across the wheel's face, 0 the middle, in mm",
            ge=-500,
            le=500,
            usual=(-15, 15),
            span=(-15, 15),
            step=0.5,
            how="Ruler across the face from its middle",
        ),
    ] = 0.0

    @property
    def contact(self) -> float:
        """As `Path` says."""
        return self.contact_mm

    def outline(self, section: Section) -> EdgeOutline:
        """As `Path` says."""
        from gougeform.machine.edgeoutline import edge_outline

        return edge_outline(section, self.wing_length_mm, self.fullness, self.shoulder)

    def sweep(self, section: Section, rig: Rig, wheel: WheelSolid) -> Sweep:
        """As `Path` says."""
        from gougeform.machine.sweep import traced

        return traced(self.outline(section), rig, wheel, self.contact_mm)
