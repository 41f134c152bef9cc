"""The lengths a person measures, as places in the drawings: taken from the ground tool itself, so that they cannot lie.

The bar is seen from its end (x sideways, y up, from the bar axis) and from above (z along the bar, nose at 0, x
sideways); wheel and jig from the side (X toward the person, Z up, from the wheel's centre or the belt's face). mm.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from gougeform.bar.marks import Mark, angle, length
from gougeform.card.views import Place, on_machine
from gougeform.grind.gouge import Gouge
from gougeform.measure.measures import Measures

Floats = NDArray[np.float64]

_FLAT_DEG = 1.0  # an angle smaller than this cannot be drawn


def from_the_end(gouge: Gouge) -> list[Mark]:
    """The section's lengths, seen from the bar's end: bar, flute, web."""
    section = gouge.section
    left, right, low, floor = section.lip(-1), section.lip(1), section.underside, section.y_floor
    return [
        *gouge.recipe.bar.marks(section),
        length("", "flute, width from lip to lip", left, right),
        length("", "flute, depth below the lips", [0, (left[1] + right[1]) / 2], [0, floor]),
        length("flute.web_mm" if gouge.recipe.flute.web_mm else "", "web, floor to underside", [0, floor], [0, low]),
        *gouge.recipe.flute.marks(section),
    ]


def from_above(measures: Measures) -> list[Mark]:
    """Lengths along the bar, (z, x) seen from above: bar, flute, wing."""
    gouge, edge = measures.gouge, measures.edge
    bar, flute = gouge.recipe.bar, gouge.recipe.flute
    wide = gouge.section.outline.support((1.0, 0.0))
    lip = edge.point[:, edge.wing(1)][:, -1]
    path = gouge.recipe.grinds[0].path
    asked = f"grind.{path.extent}" if path.outlined else ""
    return [
        length("bar.length_mm", "bar, ferrule to nose", [-bar.length_mm, -wide], [0, -wide]),
        length("flute.length_mm", "flute at its full depth", [-flute.length_mm, wide], [0, wide]),
        length(asked, "wing length, nose to lip", [lip[2], lip[0]], [0, lip[0]]),
    ]


def at_the_wheel(gouge: Gouge) -> list[Mark]:
    """Lengths and angles of jig and wheel from the side, the first grind's nose on the wheel."""
    section, jig, setting = gouge.section, gouge.recipe.grinds[0].jig, gouge.settings[0]
    put = on_machine(gouge)
    radius = gouge.recipe.wheel.radius_mm
    named = []
    if np.isfinite(radius):
        # Across the far side, where nothing else is drawn.
        named.append(length("wheel.diameter_mm", "diameter of the wheel, today", [0, -radius], [0, radius]))
    marks = [replace(mark, points=put(mark.points)) for mark in jig.marks(section)]
    named += [mark for mark in marks if not mark.angle or mark.value > _FLAT_DEG]
    pivot = pivot_place(gouge)
    if pivot is not None and setting.rim_distance is not None and setting.pivot_angle is not None:
        noun = f"{jig.pivot_noun}'s middle" if jig.pivot_thick_mm else jig.pivot_noun
        rim = "rim" if np.isfinite(radius) else "belt's face"
        along = np.array([np.cos(setting.pivot_angle), np.sin(setting.pivot_angle)])
        named.append(
            length("jig.rim_distance_mm", f"{rim} to {noun}, straight", pivot - setting.rim_distance * along, pivot)
        )
        if np.isfinite(radius):
            named.append(length("jig.centre_distance_mm", f"wheel's centre to {noun}", [0, 0], pivot))
            named.append(length("jig.height_mm", f"height of {noun} to the centre", [pivot[0], 0], pivot))
    return [*named, _nose(gouge, put)]


def pivot_place(gouge: Gouge) -> Floats | None:
    """(2,) mm: pocket or rod's middle on the machine; None for a table."""
    setting = gouge.settings[0]
    if setting.rim_distance is None or setting.pivot_angle is None:
        return None
    radius = gouge.recipe.wheel.radius_mm
    far = setting.rim_distance + (radius if np.isfinite(radius) else 0.0)
    return far * np.array([np.cos(setting.pivot_angle), np.sin(setting.pivot_angle)])


def _nose(gouge: Gouge, put: Place) -> Mark:
    """The steel's angle at the nose: flute floor back along the bar, and the wheel's tangent down the bevel."""
    floor = gouge.section.y_floor
    nose, back, up = put(np.array([[floor, 0.0], [floor, -28.0], [floor + 1.0, 0.0]]))
    belt = gouge.recipe.wheel.diameter_mm is None
    out = np.array([1.0, 0.0]) if belt else nose / np.linalg.norm(nose)
    along = np.array([-out[1], out[0]])
    down = along if along @ (up - nose) < 0 else -along
    return angle("jig.nose_angle_deg", "nose angle, the steel at the nose", back, nose, nose + 28.0 * down)
