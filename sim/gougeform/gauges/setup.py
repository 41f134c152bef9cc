"""What gauges are made from: a ground tool and how it is printed."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from shapely.geometry.base import BaseGeometry

from gougeform.errors import InputError
from gougeform.gauges import lettering
from gougeform.gauges.gauge import Lettering, plain
from gougeform.gauges.options import Printing
from gougeform.grind.gouge import Gouge
from gougeform.measure.edge import Edge, measure_edge


@dataclass(frozen=True, eq=False)
class Setup:
    """A ground tool, and how its gauges are printed."""

    gouge: Gouge
    printing: Printing = field(default_factory=Printing)

    @cached_property
    def edge(self) -> Edge:
        """The measured edge."""
        return measure_edge(self.gouge)

    @property
    def wheel_words(self) -> str:
        """The first grind's wheel, as it stands on gauges."""
        return wheel_words(self.gouge.recipe.grinds[0].wheel.diameter_mm)

    def text(
        self, lines: list[str], middle: tuple[float, float], top: float, *, turned: bool = False, cap: float = 0.0
    ) -> Lettering:
        """Lines of text round a point of a level face."""
        return Lettering(lettering.block(lines, cap or self.printing.text_mm, middle, turned), top)

    def room(self, lines: list[str], margin: float = 2.0, cap: float = 0.0) -> tuple[float, float]:
        """Width and height (mm) of a face that holds these lines."""
        wide, high = lettering.size(lines, cap or self.printing.text_mm)
        return wide + 2 * margin, high + 2 * margin + 0.25 * (cap or self.printing.text_mm)

    def wrapped(self, parts: list[str], room: float) -> list[str]:
        """Parts on as few lines as `room` mm allows."""
        return lettering.wrapped(parts, self.printing.text_mm, room)

    def on_bed(self, wide: float, deep: float, what: str, hint: str) -> None:
        """Raise InputError where a plate of this size fits the bed in neither direction."""
        bed, scale = self.printing.bed_mm, self.printing.scale
        long, short = max(wide, deep) * scale, min(wide, deep) * scale
        if long > max(bed) + 1e-6 or short > min(bed) + 1e-6:
            raise InputError(
                "bed", f"{what} needs {long:.0f} x {short:.0f} mm, the bed is {bed[0]:g} x {bed[1]:g} mm", hint
            )


def wheel_words(diameter: float | None) -> str:
    """A wheel as it stands on gauges."""
    return "BELT" if diameter is None else f"WHEEL\u00a0Ø{plain(diameter, 1)}"


def mark_line(points: list[tuple[float, float]], width: float = 0.8) -> BaseGeometry:
    """A sunk line of that width (mm) through points."""
    from shapely.geometry import LineString

    return LineString(points).buffer(width / 2, cap_style="flat", join_style="mitre")


def unique(values: list[float], apart: float) -> list[float]:
    """Growing values that differ by at least `apart`."""
    kept: list[float] = []
    for value in np.sort(np.asarray(values, float)):
        if not kept or value - kept[-1] >= apart:
            kept.append(float(value))
    return kept
