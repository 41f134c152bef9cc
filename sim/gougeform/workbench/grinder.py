"""The grinder from the side: wheel, contact, tool, jig, pocket or rod in the plane through the nose, as measured there.

Machine frame: origin at the wheel's centre (for a belt on its face), X toward the person, Z up; mm.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from gougeform.gouge import Gouge
from gougeform.jig import FootJig, RodJig, Table, machine_turn

Floats = NDArray[np.float64]

_DOWN = 25
_BAR_BEHIND = 70.0  # mm of bar and handle drawn behind the clamp


def grinder_view(gouge: Gouge, number: int = 0) -> dict[str, Any]:
    """One grind at the nose, from the side: shapes as polylines and circles, distances as pairs of points with a value."""
    one, jig, setting = gouge.ground.passes[number], gouge.jigs[number], gouge.settings[number]
    k = one.wheel.curvature
    lift = setting.pivot_angle or 0.0
    turn = machine_turn(lift)
    centre = np.zeros((3, 1)) if k == 0 else np.array([[1 / k], [0.0], [0.0]])
    pose = one.path.pose(np.zeros(1))

    def seen(points: Any) -> list[list[float]]:
        """Tool points (n, 2) as (y, z) in the middle plane, as machine (X, Z)."""
        p = np.asarray(points, float).reshape(-1, 2)
        tool = np.stack([np.zeros(len(p)), p[:, 0], p[:, 1]])
        at = turn @ (np.einsum("ij,jn->in", pose.turn[:, :, 0], tool) + pose.shift + centre)
        return [[round(float(x), 3), round(float(z), 3)] for x, z in zip(at[0], at[2], strict=True)]

    field = gouge.recipe.grinds[number]
    section = gouge.section
    bottom, top = section.underside, section.lip_plane
    projection = field.jig.projection_mm
    y = np.linspace(section.y_floor, section.outline.on_middle_plane(below=True), _DOWN)
    z = gouge.ground.heights(np.stack([np.zeros(_DOWN), y], -1)).z
    lip_z = -float(max(0.0, gouge.ground.heights(section.lip(1)[None]).z[0] * -1))
    rear = -(projection + _BAR_BEHIND)
    bevel = np.stack([y, z], -1)
    body = [*bevel.tolist(), [bottom, rear], [top, rear], [top, lip_z]]
    nose = seen([[section.y_floor, 0.0]])[0]
    out: dict[str, Any] = {
        "wheel": None if k == 0 else {"radius": 1 / k, "width": 2 * one.wheel.half_width},
        "tool": seen(body),
        "floor": seen([[section.y_floor, 0.0], [section.y_floor, rear]]),
        "clamp": seen([[bottom - 5, -projection], [top + 5, -projection], [top + 5, -projection - 14], [bottom - 5, -projection - 14]]),
        "nose": nose,
        "contact_deg": None if setting.contact is None else float(np.degrees(setting.contact)),
        "jig": [], "pivot": None, "rod": None, "table": None, "sizes": [],
    }  # fmt: skip
    out["sizes"].append(_size("projection", seen([[top + 9, 0.0]])[0], seen([[top + 9, -projection]])[0], projection))
    if isinstance(jig, Table):
        ahead, behind = -(one.wheel.half_width * 0 + 6.0), -(projection + 10)
        out["table"] = seen([[bottom, ahead], [bottom, behind], [bottom - 8, behind], [bottom - 8, ahead]])
        out["nose_angle_deg"] = float(np.degrees(jig.nose_angle))
        return out
    rim, cd = setting.rim_distance, setting.centre_distance
    assert rim is not None
    radius = 0.0 if k == 0 else 1 / k
    along = np.array([np.cos(lift), np.sin(lift)])
    pivot = ((radius + rim) * along).tolist()
    out["pivot"] = pivot
    if isinstance(jig, FootJig):
        hinge_y = section.y_floor - jig.pivot.above + field.jig.arm_length_mm * np.sin(np.radians(field.jig.arm_cant_deg))  # type: ignore[union-attr]
        hinge = [hinge_y, -(projection + field.jig.hinge_back_mm)]  # type: ignore[union-attr]
        out["jig"] = [seen([[0.0, hinge[1]], hinge, [jig.foot[1], jig.foot[2]]])]
    elif isinstance(jig, RodJig):
        hinge = [float(jig.hinge[1]), float(jig.hinge[2])]
        out["jig"] = [seen([[0.0, hinge[1]], hinge])[0:2] + [pivot]]
        axis = np.array([jig.axis[1], jig.axis[2]]) * 22
        out["jig"].append(seen([np.array(hinge) - axis * 0.5, np.array(hinge) + axis]))
        out["rod"] = field.jig.rod_diameter_mm / 2  # type: ignore[union-attr]
    rim_point = (radius * along).tolist()
    what = "rim to pocket" if isinstance(jig, FootJig) else "rim to rod centre"
    out["sizes"].append(_size(what, rim_point, pivot, rim))
    if isinstance(jig, RodJig):
        surface = ((radius + rim - field.jig.rod_diameter_mm / 2) * along).tolist()  # type: ignore[union-attr]
        out["sizes"].append(_size("rim to rod surface", rim_point, surface, rim - field.jig.rod_diameter_mm / 2))  # type: ignore[union-attr]
    if cd is not None:
        out["sizes"].append(_size("wheel centre to pocket" if isinstance(jig, FootJig) else "wheel centre to rod", [0.0, 0.0], pivot, cd))
    out["sizes"].append(_size("pocket to nose" if isinstance(jig, FootJig) else "rod to nose", pivot, nose, jig.pivot.length))
    out["height_mm"] = pivot[1]
    return out


def _size(name: str, start: list[float], stop: list[float], value: float) -> dict[str, Any]:
    return {"name": name, "from": start, "to": stop, "value_mm": float(value)}
