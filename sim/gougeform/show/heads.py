"""The heads: the ground end of a tool from three sides and once at an angle; the edge of a second tool over it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from gougeform.grind.gouge import Gouge
from gougeform.mesh.solid import Solid, build_solid
from gougeform.show.scene import WHOLE, Camera, Moment, Scene, Segments, Thing
from gougeform.show.tool import TOLERANCE_MM, steel, tool_lines
from gougeform.tool.picture import HEIGHT, WIDTH, head_views

Floats = NDArray[np.float64]

SIZE = (WIDTH, HEIGHT)
SECOND = "edge of the second tool"


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
    """The views of a head's picture, as cameras."""
    views = head_views(points, ground, gap=70, foot=150)
    return tuple(Camera(one.name, one.right, one.up, one.middle, one.scale, one.box) for one in views)
