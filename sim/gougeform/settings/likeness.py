"""An outline for a grind by hand that follows an edge ground in another way."""

from __future__ import annotations

from gougeform.bar.section import build_section
from gougeform.machine.paths import PATHS
from gougeform.measure.edge import Edge
from gougeform.part import Table
from gougeform.recipe.model import Recipe


def traced_like(recipe: Recipe, edge: Edge) -> tuple[Table, float]:
    """Fields of a path that any jig can follow, its outline nearest to an edge seen from above, and how far off (mm).

    The wing length is the edge's.
    """
    assert PATHS.default is not None
    length = sum(edge.wing_length(side) for side in (-1, 1)) / 2
    path = PATHS.classes[PATHS.default]
    return path.like(build_section(recipe.bar, recipe.flute), edge.point[:, edge.wing(1)], length)
