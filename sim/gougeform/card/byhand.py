"""What a hand can set of a recipe: every grind's settings on the steps of ruler and protractor, and its edge."""

from __future__ import annotations

from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.measure.measures import Measures, measure
from gougeform.settings.bench import bench_of
from gougeform.settings.ruler import by_hand


def hand_set(measures: Measures) -> tuple[Measures, str]:
    """The tool with the settings that ruler and protractor can set, grind by grind, or the tool itself and why not.

    Of the first grind all that a person sets anew is rounded, of a relief what makes its nose angle. Each goes to the
    step beside it whose edge is nearest to the exact one.
    """
    recipe, why = measures.gouge.recipe, "The exact values stand here: by the steps of ruler and protractor"
    try:
        for number in range(len(recipe.grinds)):
            names = () if number == 0 else (bench_of(recipe, number).jig.dial,)
            recipe = by_hand(recipe, number, names).one.recipe
        return measure(shape(recipe)), ""
    except InputError as error:
        return measures, f"{why} it cannot be set up: {error.problem}."
