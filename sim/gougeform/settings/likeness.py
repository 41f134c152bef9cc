"""An outline for a traced grind that follows an edge ground in another way."""

from __future__ import annotations

from typing import Any

import numpy as np

from gougeform.bar.section import build_section
from gougeform.machine.paths.traced import TracedPath
from gougeform.measure.edge import Edge
from gougeform.recipe.model import Recipe


def traced_like(recipe: Recipe, edge: Edge) -> tuple[dict[str, Any], float]:
    """Fields of a traced path whose outline is nearest to an edge seen from above, and how far off it is (mm, most).

    The wing length is the edge's; fullness and shoulder are fitted in least squares, along the bar.
    """
    from scipy.optimize import least_squares

    section = build_section(recipe.bar, recipe.flute)
    length = sum(edge.wing_length(side) for side in (-1, 1)) / 2
    right = edge.point[:, edge.wing(1)]
    want_x, want_z = right[0], right[2] - right[2, 0]
    order = np.argsort(want_x)
    t = np.linspace(0.0, 1.0, 401)

    def path(x: np.ndarray) -> TracedPath:
        return TracedPath(wing_length_mm=length, fullness=float(x[0]), shoulder=float(x[1]))

    def off(x: np.ndarray) -> np.ndarray:
        point = path(x).outline(section).at(t)[0]
        return np.asarray(np.interp(want_x[order], point[0], point[2]) - want_z[order])

    run = least_squares(off, [0.4142, 0.8], bounds=([0.05, 0.05], [0.95, 1.0]), xtol=1e-10, ftol=1e-10)
    fields = {"path": "traced", "wing_length_mm": length, "fullness": float(run.x[0]), "shoulder": float(run.x[1])}
    return fields, float(np.abs(run.fun).max())
