"""The heads: the ground end of a tool from three sides and once at an angle; the edge of a second tool over it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from gougeform.grind.gouge import Gouge
from gougeform.mesh.solid import Solid, build_solid
from gougeform.show.scene import WHOLE, Camera, Moment, Scene, Segments, Thing
from gougeform.show.tool import TOLERANCE_MM, steel, tool_lines

Floats = NDArray[np.float64]

SIZE = (2000, 1500)
SECOND = "edge of the second tool"
_MARGIN, _TOP, _GAP, _BETWEEN, _FOOT, _PAD = 70, 240, 70, 95, 150, 14


def heads(
    gouge: Gouge,
    solid: Solid | None = None,
    *,
    beside: Gouge | None = None,
    lines: Sequence[str] = (),
    tolerance: float = TOLERANCE_MM,
) -> Scene:
    """The scene of one ground head; of `beside` edge and heel are drawn over it, nose on nose.

    solid: its mesh, where it is made already. lines: at most two, under the title. Raises InputError where a tool
    cannot be meshed.
    """
    solid = solid or build_solid(gouge, tolerance)
    bodies = [steel(solid, len(gouge.ground.passes))]
    title = gouge.recipe.title or gouge.recipe.name or "Ground tool"
    if beside is not None:
        over = [
            Segments(SECOND, line.ends, line.width, through=True)
            for line in tool_lines(build_solid(beside, tolerance))
            if line.meaning != "crease"
        ]
        bodies.append(Thing("second tool", (), tuple(over)))
        title = f"{title} · over it the edge and heel of: {beside.recipe.title or beside.recipe.name}"
    frame = Moment({body.name: WHOLE for body in bodies})
    ground = solid.vertices[np.unique(solid.faces[solid.surface < len(gouge.ground.passes)])]
    return Scene(
        title,
        tuple(lines[:2]),
        tuple(bodies),
        _views(solid.vertices, ground),
        (frame,),
        np.array([0.0, 1.0, 0.0]),
        size=SIZE,
    )


def _views(points: Floats, ground: Floats) -> tuple[Camera, ...]:
    """Laid out as on a drawing: from above, below it from the left side, beside that looking at the tip."""
    low, high = points.min(0), points.max(0)
    wide, tall, whole = (float(v) for v in high - low)
    tip = float(ground[:, 2].max())
    bevel = tip - float(ground[:, 2].min())
    length = min(max(1.35 * bevel, 2.0 * max(wide, tall)), whole)
    room_wide, room_tall = SIZE[0] - 2 * _MARGIN - _GAP, SIZE[1] - _TOP - _BETWEEN - _FOOT
    scale = min(room_wide / (length + 1.9 * wide), room_tall / (wide + tall))
    long_px, wide_px, tall_px = (round(scale * v) + 2 * _PAD for v in (length, wide, tall))
    left, top = _MARGIN, _TOP
    below, beside = top + wide_px + _BETWEEN, left + long_px + _GAP
    middle = (low + high) / 2
    side_on = np.array([middle[0], middle[1], tip - length / 2 + _PAD / scale / 2])
    x, y, z = np.eye(3)
    return (
        Camera("from above", z, x, side_on, scale, (left, top, long_px, wide_px)),
        Camera("from the left side", z, y, side_on, scale, (left, below, long_px, tall_px)),
        Camera("looking at the tip", x, y, middle, scale, (beside, below, wide_px, tall_px)),
        _at_an_angle(ground, (beside, top, SIZE[0] - _MARGIN - beside, wide_px), scale),
    )


def _at_an_angle(ground: Floats, box: tuple[int, int, int, int], most: float) -> Camera:
    """From ahead, to the left and a little above, as large as shows the whole ground head but not over `most` px/mm."""
    turn, rise = np.radians(50.0), np.radians(20.0)
    right = np.array([np.cos(turn), 0.0, np.sin(turn)])
    up = np.array([np.sin(turn) * np.sin(rise), np.cos(rise), -np.cos(turn) * np.sin(rise)])
    seen = np.stack([ground @ right, ground @ up], -1)
    low, high = seen.min(0), seen.max(0)
    size = np.array(box[2:]) - 2 * _PAD
    scale = min(most, float((size / (high - low)).min()))
    # The head stands at the right end of its box: the bar runs out of it on the left.
    middle = (low + high) / 2
    middle[0] = high[0] + _PAD / scale - box[2] / scale / 2
    return Camera("at an angle", right, up, middle[0] * right + middle[1] * up, scale, box)
