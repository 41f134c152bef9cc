"""The lengths a person measures, as places in the drawings: taken from the ground tool itself, so that they cannot lie.

The bar is seen from its end (x sideways, y up, from the bar axis) and from above (z along the bar, nose at 0, x
sideways); wheel and jig from the side (X toward the person, Z up, from the wheel's centre or the belt's face). mm.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from gougeform.bar.marks import Mark, angle, length
from gougeform.card.views import on_machine
from gougeform.grind.gouge import Gouge
from gougeform.measure.measures import Measures

Floats = NDArray[np.float64]

_FLAT_DEG = 1.0  # an angle smaller than this cannot be drawn


def from_the_end(gouge: Gouge) -> list[Mark]:
    """The section's lengths, seen from the bar's end: bar, flute, web."""
    section, bar = gouge.section, gouge.recipe.bar
    left, right = section.lip(-1), section.lip(1)
    low, high = section.underside, section.outline.on_middle_plane(below=False)
    west, east = -section.outline.support((-1.0, 0.0)), section.outline.support((1.0, 0.0))
    floor = section.y_floor
    named = []
    if bar.outline == "points":
        named += [
            length("", "bar, side to side", [west, 0], [east, 0]),
            length("", "bar, over the flat", [east, low], [east, high]),
        ]
    elif bar.outline == "round":
        named.append(length("bar.diameter_mm", "diameter of the bar", [west, 0], [east, 0]))
    else:
        named.append(length("bar.side_mm", "side of the square bar", [west, 0], [east, 0]))
        c = bar.corner_radius_mm
        if c > 0:
            middle = np.array([east - c, low + c])
            end = middle + c * np.array([1.0, -1.0]) / np.sqrt(2)
            named.append(length("bar.corner_radius_mm", "radius of its corners", middle, end))
    named += [
        length("", "flute, width from lip to lip", left, right),
        length("", "flute, depth below the lips", [0, (left[1] + right[1]) / 2], [0, floor]),
        length("flute.web_mm" if gouge.recipe.flute.web_mm else "", "web, floor to underside", [0, floor], [0, low]),
        *gouge.recipe.flute.marks(section),
    ]
    return named


def from_above(measures: Measures) -> list[Mark]:
    """Lengths along the bar, (z, x) seen from above: bar, flute, wing."""
    gouge, edge = measures.gouge, measures.edge
    bar, flute = gouge.recipe.bar, gouge.recipe.flute
    wide = gouge.section.outline.support((1.0, 0.0))
    lip = edge.point[:, edge.wing(1)][:, -1]
    traced = gouge.recipe.grinds[0].path.path == "traced"
    return [
        length("bar.length_mm", "bar, ferrule to nose", [-bar.length_mm, -wide], [0, -wide]),
        length("flute.length_mm", "flute at its full depth", [-flute.length_mm, wide], [0, wide]),
        length("grind.wing_length_mm" if traced else "", "wing length, nose to lip", [lip[2], lip[0]], [0, lip[0]]),
    ]


def at_the_wheel(gouge: Gouge) -> list[Mark]:
    """Lengths and angles of jig and wheel from the side, the first grind's nose on the wheel."""
    section, jig, setting = gouge.section, gouge.recipe.grinds[0].jig, gouge.settings[0]
    put = on_machine(gouge)

    def at(y: float, z: float) -> Floats:
        return put(np.array([[y, z]]))[0]

    top, p = section.lip_plane, jig.projection_mm
    radius = gouge.recipe.wheel.radius_mm
    named = []
    if np.isfinite(radius):
        # Across the far side, where nothing else is drawn.
        named.append(length("wheel.diameter_mm", "diameter of the wheel, today", [0, -radius], [0, radius]))
    if jig.kind == "table":
        return [
            *named,
            length("jig.projection_mm", "nose to where the fingers hold", at(top, 0), at(top, -p)),
            _nose(gouge, at),
        ]
    hinge_y, hinge_z = -jig.drop(section), -(p + jig.hinge_back_mm)
    held = hinge_y + jig.hinge_drop_mm
    hinge = at(hinge_y, hinge_z)
    named += [
        length("jig.projection_mm", "projection, clamp's face to nose", at(top, 0), at(top, -p)),
        length("jig.hinge_back_mm", "face back to the pin", at(top, -p), at(top, hinge_z)),
        length("jig.hinge_drop_mm", _DROP_WORDS[jig.clamp], at(held, hinge_z), hinge),
    ]
    if jig.kind == "foot":
        foot = put(gouge.jigs[0].foot[None, 1:])[0]  # type: ignore[union-attr]
        named.append(length("jig.arm_length_mm", "arm, pin to the foot's point", hinge, foot))
        if abs(jig.arm_cant_deg) > _FLAT_DEG:
            behind = at(hinge_y, hinge_z - 0.6 * jig.arm_length_mm)
            named.append(angle("jig.arm_cant_deg", "cant, bar to arm", behind, hinge, foot))
    else:
        rod = at(hinge_y - jig.shoe_mm, hinge_z)
        named.append(length("jig.shoe_mm", "shoe, pin to the rod's middle", hinge, rod))
        if abs(jig.hinge_cant_deg) > _FLAT_DEG:
            cant = np.radians(jig.hinge_cant_deg)
            axis = at(hinge_y + 30 * np.sin(cant), hinge_z + 30 * np.cos(cant))
            ahead = at(hinge_y, hinge_z + 30)
            named.append(angle("jig.hinge_cant_deg", "cant, bar to hinge axis", ahead, hinge, axis))
        named.append(length("jig.rod_diameter_mm", "diameter of the rod", *_across(rod, at, jig.rod_diameter_mm)))
    pivot = pivot_place(gouge)
    assert pivot is not None
    assert setting.rim_distance is not None
    assert setting.pivot_angle is not None
    noun = "pocket" if jig.kind == "foot" else "rod's middle"
    rim = "rim" if np.isfinite(radius) else "belt's face"
    along = np.array([np.cos(setting.pivot_angle), np.sin(setting.pivot_angle)])
    named.append(
        length("jig.rim_distance_mm", f"{rim} to {noun}, straight", pivot - setting.rim_distance * along, pivot)
    )
    if np.isfinite(radius):
        named.append(length("jig.centre_distance_mm", f"wheel's centre to {noun}", [0, 0], pivot))
        named.append(length("jig.height_mm", f"height of {noun} to the centre", [pivot[0], 0], pivot))
    return [*named, _nose(gouge, at)]


_DROP_WORDS = {
    "axis": "bar's middle, down to the pin",
    "below": "flat under the bar, down to the pin",
    "above": "plate over the lips, down to the pin",
    "vee": "bottom of the V, down to the pin",
}


def pivot_place(gouge: Gouge) -> Floats | None:
    """(2,) mm: pocket or rod's middle on the machine; None for a table."""
    setting = gouge.settings[0]
    if setting.rim_distance is None or setting.pivot_angle is None:
        return None
    radius = gouge.recipe.wheel.radius_mm
    far = setting.rim_distance + (radius if np.isfinite(radius) else 0.0)
    return far * np.array([np.cos(setting.pivot_angle), np.sin(setting.pivot_angle)])


def _across(rod: Floats, at: object, diameter: float) -> tuple[Floats, Floats]:
    half = np.array([diameter / 2, 0.0])
    return rod - half, rod + half


def _nose(gouge: Gouge, at: object) -> Mark:
    """The steel's angle at the nose: flute floor back along the bar, and the wheel's tangent down the bevel."""
    assert callable(at)
    floor = gouge.section.y_floor
    nose, back, up = at(floor, 0.0), at(floor, -28.0), at(floor + 1.0, 0.0)
    belt = gouge.recipe.wheel.diameter_mm is None
    out = np.array([1.0, 0.0]) if belt else nose / np.linalg.norm(nose)
    along = np.array([-out[1], out[0]])
    down = along if along @ (up - nose) < 0 else -along
    return angle("jig.nose_angle_deg", "nose angle, the steel at the nose", back, nose, nose + 28.0 * down)
