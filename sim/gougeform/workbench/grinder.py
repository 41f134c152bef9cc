"""The grinder from the side: wheel, contact, tool, jig, pocket or rod in the plane through the nose, as measured there.

Machine frame: origin at the wheel's centre (for a belt on its face), X toward the person, Z up; mm.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gougeform.grind.gouge import Gouge
from gougeform.machine.jig import Drawn, Jig
from gougeform.machine.pose import machine_turn

Floats = NDArray[np.float64]
Seen = Callable[[Any], list[list[float]]]

_DOWN = 25
_BAR_BEHIND = 70.0  # mm of bar drawn behind the clamp
_CLAMP_LONG, _CLAMP_OVER = 14.0, 5.0
_AXIS_DRAWN = 22.0


def grinder_view(gouge: Gouge, number: int = 0) -> dict[str, Any]:
    """One grind at the nose, from the side: polylines and circles, and distances as pairs of points with a value."""
    one, jig, setting = gouge.ground.passes[number], gouge.jigs[number], gouge.settings[number]
    fields = gouge.recipe.grinds[number].jig
    k, lift = one.wheel.curvature, setting.pivot_angle or 0.0
    radius = 0.0 if k == 0 else 1 / k
    seen = _seen(gouge, number, lift, radius)
    bottom, top, floor = gouge.section.underside, gouge.section.lip_plane, gouge.section.y_floor
    projection = fields.projection_mm
    rear, clamp = -(projection + _BAR_BEHIND), -projection
    low, high = bottom - _CLAMP_OVER, top + _CLAMP_OVER
    nose = seen([[floor, 0.0]])[0]
    out: dict[str, Any] = {
        "wheel": None if k == 0 else {"radius": radius, "width": 2 * one.wheel.half_width},
        "tool": seen(_silhouette(gouge, rear)),
        "floor": seen([[floor, 0.0], [floor, rear]]),
        "clamp": seen([[low, clamp], [high, clamp], [high, clamp - _CLAMP_LONG], [low, clamp - _CLAMP_LONG]]),
        "nose": nose,
        "contact_deg": None if setting.contact is None else float(np.degrees(setting.contact)),
        "jig": [],
        "pivot": None,
        "thick_mm": fields.pivot_thick_mm,
        "support": None,
        "height_mm": None,
        "nose_angle_deg": None,
        "sizes": [_size("projection", *_both(seen([[top + 9, 0.0], [top + 9, clamp]])), projection)],
    }
    drawn = fields.drawn(gouge.section)
    if not fields.clamps:
        out["support"] = seen(drawn.body)
    if jig.pivot is None or setting.rim_distance is None:
        out["nose_angle_deg"] = float(np.degrees(jig.nose(k)))
        return out
    pivot = ((radius + setting.rim_distance) * np.array([np.cos(lift), np.sin(lift)])).tolist()
    out |= {"pivot": pivot, "height_mm": pivot[1], "jig": _arm(drawn, pivot, seen)}
    out["sizes"] += [
        *_rim_sizes(fields, setting.rim_distance, radius, lift, pivot),
        _size(f"{fields.pivot_noun} to nose", pivot, nose, jig.pivot.length),
    ]
    return out


def _seen(gouge: Gouge, number: int, lift: float, radius: float) -> Seen:
    """From tool points (n, 2), (y, z) in the middle plane, to machine (X, Z) with the nose on the wheel."""
    pose = gouge.ground.passes[number].path.pose(np.zeros(1))
    turn, centre = machine_turn(lift), np.array([[radius], [0.0], [0.0]])

    def place(points: Any) -> list[list[float]]:
        p = np.asarray(points, float).reshape(-1, 2)
        at = turn @ (pose.turn[:, :, 0] @ np.stack([np.zeros(len(p)), p[:, 0], p[:, 1]]) + pose.shift + centre)
        return np.stack([at[0], at[2]], -1).round(3).tolist()

    return place


def _silhouette(gouge: Gouge, rear: float) -> list[list[float]]:
    """The tool in its middle plane (y, z) with the lips' line on top, cut off at `rear`."""
    section = gouge.section
    y = np.linspace(section.y_floor, section.outline.on_middle_plane(below=True), _DOWN)
    bevel = np.stack([y, gouge.ground.heights(np.stack([np.zeros(_DOWN), y], -1)).z], -1)
    lip = float(gouge.ground.heights(section.lip(1)[None]).z[0])
    return [*bevel.tolist(), [section.underside, rear], [section.lip_plane, rear], [section.lip_plane, lip]]


def _arm(drawn: Drawn, pivot: list[float], seen: Seen) -> list[list[list[float]]]:
    """From the bar over the hinge to the pivot, and the hinge's axis where it has one."""
    if drawn.hinge is None:
        return []
    made = [[*seen([[0.0, drawn.hinge[1]], drawn.hinge]), pivot]]
    if drawn.axis is not None:
        axis = drawn.axis * _AXIS_DRAWN
        made.append(seen([drawn.hinge - axis / 2, drawn.hinge + axis]))
    return made


def _rim_sizes(jig: Jig, rim: float, radius: float, lift: float, pivot: list[float]) -> list[dict[str, Any]]:
    along, noun, thick = np.array([np.cos(lift), np.sin(lift)]), jig.pivot_noun, jig.pivot_thick_mm
    edge = (radius * along).tolist()
    sizes = [_size(f"rim to {noun}{' centre' if thick else ''}", edge, pivot, rim)]
    if thick:
        near = rim - thick
        sizes.append(_size(f"rim to {noun} surface", edge, ((radius + near) * along).tolist(), near))
    if radius:
        sizes.append(_size(f"centre to {noun}", [0.0, 0.0], pivot, radius + rim))
    return sizes


def _both(points: list[list[float]]) -> tuple[list[float], list[float]]:
    start, stop = points
    return start, stop


def _size(name: str, start: list[float], stop: list[float], value: float) -> dict[str, Any]:
    return {"name": name, "from": start, "to": stop, "value_mm": float(value)}
