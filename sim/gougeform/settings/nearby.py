"""The tool nearest to one that a jig does not grind as it is set: at another projection of the same jig. mm."""

from __future__ import annotations

from gougeform.errors import InputError
from gougeform.grind.gouge import Gouge, shape
from gougeform.recipe.model import Recipe
from gougeform.settings.bench import bench_of, with_settings

PROJECTIONS_MM = (0.0, -5.0, 5.0, -10.0, 10.0, -20.0, 20.0)
"""How far from its own a projection is tried, the nearest first."""


def ground_near(recipe: Recipe) -> Gouge:
    """The ground tool at the projection nearest to the recipe's own at which its jig grinds it.

    Raises the first InputError where it does at none, and where the jig has no projection.
    """
    first: InputError | None = None
    for more in PROJECTIONS_MM:
        try:
            return shape(recipe if more == 0 else moved(recipe, more))
        except InputError as error:
            first = first or error
            if more == 0 and "projection" not in bench_of(recipe).names:
                break
    assert first is not None
    raise first


def moved(recipe: Recipe, more: float) -> Recipe:
    """The recipe with its projection `more` mm longer. Raises InputError where it has none."""
    return with_settings(recipe, {"projection": bench_of(recipe).value("projection") + more})
