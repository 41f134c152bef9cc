"""A tool set a little off, as a hand does: the same recipe with every setting moved by up to a step of the ruler."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from gougeform.errors import InputError
from gougeform.grind.gouge import Gouge, shape
from gougeform.recipe.model import Recipe
from gougeform.settings.bench import bench_of, with_settings
from gougeform.settings.names import NAMES

OFF = 12
"""How many settings off are tried."""


def set_off(recipe: Recipe, many: int = OFF, seed: int = 1) -> Iterator[Gouge]:
    """Ground tools with the settings of every grind off by up to a step of ruler and protractor, evenly at random.

    The first grind: all that a person sets anew; a relief: the dial that makes its nose angle. What cannot be ground so
    is left out: a person sees that at the wheel.
    """
    rng = np.random.default_rng(seed)
    for _ in range(many):
        made = recipe
        try:
            for number in range(len(recipe.grinds)):
                bench = bench_of(recipe, number)
                names = bench.by_hand if number == 0 else (bench.jig.dial,)
                off = {name: NAMES[name].step(recipe) * float(rng.uniform(-1, 1)) for name in names}
                values = {name: bench.value(name) + more for name, more in off.items()}
                made = with_settings(made, values, number)
            yield shape(made)
        except InputError:
            continue
