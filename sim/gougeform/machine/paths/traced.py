"""Grinding until the edge has an outline."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, ClassVar, Literal, Self

from gougeform.machine.path import Path
from gougeform.part import Table
from gougeform.quantity import Quantity

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

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
    outlined: ClassVar[bool] = True
    usual_extent: ClassVar[float] = 8.0
    remark: ClassVar[str] = "The edge you grind to, seen from above; the nose angle stands in [jig]."
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

    @classmethod
    def first(cls, extent: float, more: Mapping[str, float]) -> Table:
        """As `Path` says."""
        usual = {name: round(cls.model_fields[name].default, 3) for name in ("fullness", "shoulder")}
        return {"path": "traced", "wing_length_mm": round(extent, 1)} | usual | dict(more)

    def step(self, nose: float, wing: float) -> tuple[str, str, str]:
        """As `Path` says."""
        return "Grind to the outline", f"{wing:.1f} mm", f"wings behind the nose; nose angle {nose:.1f}°"

    @classmethod
    def like(cls, section: Section, wing: NDArray[np.float64], length: float) -> tuple[Table, float]:
        """As `Path` says, wing (3, n) in mm; fullness and shoulder are fitted in least squares, along the bar."""
        import numpy as np
        from scipy.optimize import least_squares

        want_x, want_z = wing[0], wing[2] - wing[2, 0]
        order = np.argsort(want_x)
        t = np.linspace(0.0, 1.0, 401)

        def off(x: NDArray[np.float64]) -> NDArray[np.float64]:
            path = cls(wing_length_mm=length, fullness=float(x[0]), shoulder=float(x[1]))
            point = path.outline(section).at(t)[0]
            return np.asarray(np.interp(want_x[order], point[0], point[2]) - want_z[order])

        run = least_squares(off, [0.4142, 0.8], bounds=([0.05, 0.05], [0.95, 1.0]), xtol=1e-10, ftol=1e-10)
        fields = {"path": "traced", "wing_length_mm": length, "fullness": float(run.x[0]), "shoulder": float(run.x[1])}
        return fields, float(np.abs(run.fun).max())

    def in_the_middle(self) -> Self:
        """As `Path` says."""
        return self.model_copy(update={"contact_mm": 0.0})

    @property
    def asked_mm(self) -> float:
        """As `Path` says."""
        return self.wing_length_mm

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
