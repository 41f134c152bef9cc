"""Numbers of a recipe that can be ground and are most likely not meant: inches, half for whole, depth for web.

The limits are common practice in turners' workshops, from memory; a doubt never stops anything.
"""

from __future__ import annotations

import math

from gougeform.bar.section import build_section
from gougeform.errors import InputError
from gougeform.read.inches import INCH_MM, WHEEL_MM
from gougeform.recipe.model import Recipe

_SMALL = {
    "bar.length_mm": 15.0,
    "flute.length_mm": 6.0,
    "jig.projection_mm": 8.0,
    "jig.arm_length_mm": 12.0,
}
"""Below these a length in mm is none that a turner has, and the same number of inches is one.

Bar and wheel are looked at by `gougeform.read.inches`.
"""

_SMALL_WHEEL_MM = 110.0
_THIN_WEB = 0.25
_SHARP_DEG, _BLUNT_DEG = 15.0, 90.0
_CLAMP_ROOM_MM = 5.0


def doubts(recipe: Recipe) -> list[str]:
    """Sentences, without a full stop, about numbers that look like a slip; empty where none does."""
    first = recipe.grinds[0]
    found = [
        f"{name} = {value:g} looks like inches: in mm that would be {value * INCH_MM:.1f}"
        for name, least in _SMALL.items()
        if (value := _value(recipe, name)) is not None and value < least
    ]
    diameter = recipe.wheel.diameter_mm
    if diameter is not None and WHEEL_MM <= diameter < _SMALL_WHEEL_MM:
        found.append(f"wheel.diameter_mm = {diameter:g} is a small wheel: the whole diameter is meant, not the radius")
    nose = next((g.jig.nose_angle_deg for g in recipe.grinds if (g.jig.nose_angle_deg or 0) >= _BLUNT_DEG), None)
    if nose is not None:
        found.append(
            f"nose_angle_deg = {nose:g} is no edge that cuts: it is the angle of the steel at the nose, smaller is"
            f" sharper (seen from the other side {180 - nose:g})"
        )
    found += _other_end(recipe)
    web, whole = recipe.flute.web_mm, _thickness(recipe)
    if web is not None and whole is not None and web < _THIN_WEB * whole:
        found.append(
            f"flute.web_mm = {web:g} leaves little of a bar {whole:g} mm thick: it is the steel under the flute, not"
            " the flute's depth"
        )
    back = first.path.asked_mm
    if first.jig.projection_mm < back + _CLAMP_ROOM_MM:
        found.append(
            f"jig.projection_mm = {first.jig.projection_mm:g}, but the edge alone reaches {back:g} mm behind the nose:"
            " clamp or fingers would be in the way of the wheel"
        )
    return found


_SWAPPED = {"rim_distance_mm": "centre_distance_mm", "centre_distance_mm": "rim_distance_mm"}


def _other_end(recipe: Recipe) -> list[str]:
    """A distance from the rim given as one from the centre, or the other way round: the nose it makes tells."""
    jig, wheel, radius = recipe.grinds[0].jig, recipe.grinds[0].wheel.build(), recipe.grinds[0].wheel.radius_mm
    name = jig.distance
    if name not in _SWAPPED or not math.isfinite(radius):
        return []
    try:
        pivot = jig.pivot(build_section(recipe.bar, recipe.flute))
    except InputError:
        return []
    assert pivot is not None
    given, swapped = getattr(jig, name), _SWAPPED[name]
    rim, other = (given, given - radius) if jig.rim_mm is not None else (given - radius, given)
    here, there = (math.degrees(pivot.nose_angle(at, wheel.curvature)) for at in (rim, other))
    if _SHARP_DEG < here < _BLUNT_DEG or not _SHARP_DEG < there < _BLUNT_DEG:
        return []
    return [f"jig.{name} = {given:g} makes no nose that cuts, but as {swapped} it would make one of {there:.0f}°"]


def _value(recipe: Recipe, name: str) -> float | None:
    table, _, field = name.partition(".")
    value = getattr(recipe.grinds[0].jig if table == "jig" else getattr(recipe, table), field, None)
    return None if value is None else float(value)


def _thickness(recipe: Recipe) -> float | None:
    """Underside to top in the bar's middle, mm; None where bar and flute do not even fit together."""
    try:
        section = build_section(recipe.bar, recipe.flute)
    except InputError:
        return None
    return section.outline.on_middle_plane(below=False) - section.outline.on_middle_plane(below=True)
