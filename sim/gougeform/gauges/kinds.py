"""The kinds of gauges by the word of the command, and all of them for one recipe."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields

from gougeform.errors import InputError
from gougeform.gauges.angle import angle_gauge
from gougeform.gauges.gauge import Gauge, Printing
from gougeform.gauges.projection import projection_stop
from gougeform.gauges.relief import relief_blocks
from gougeform.gauges.setup import Setup, Wishes
from gougeform.gauges.spacer import rim_spacers
from gougeform.gauges.tag import tag
from gougeform.gauges.template import outline_template
from gougeform.gauges.wheelgauge import wheel_gauge

Maker = Callable[[], Gauge]


def _single(make: Callable[[Setup], Gauge]) -> Callable[[Setup], list[Maker]]:
    return lambda setup: [lambda: make(setup)]


PARAMETERS = {one.name.removesuffix("_mm").removesuffix("_deg") for one in (*fields(Wishes), *fields(Printing))}
"""What a question about gauges takes beside the recipe, as errors name it."""
MAKERS: dict[str, Callable[[Setup], list[Maker]]] = {
    "projection": _single(projection_stop),
    "spacer": rim_spacers,
    "angle": _single(angle_gauge),
    "outline": _single(outline_template),
    "wheel": _single(wheel_gauge),
    "relief": relief_blocks,
    "tag": _single(tag),
}
"""For each kind the gauges it has for a setup, one by one, so that one that cannot exist does not stop the others."""


def gauges(kind: str, setup: Setup) -> list[Gauge]:
    """All gauges of one kind. Raises InputError, with the recipe's file, where one of them cannot exist."""
    try:
        return [make() for make in MAKERS[kind](setup)]
    except InputError as error:
        raise _in_recipe(error, setup) from None


def all_gauges(setup: Setup) -> tuple[list[Gauge], dict[str, InputError]]:
    """Every gauge that can exist for this recipe, and for those that cannot, why.

    Raises InputError where a gauge is larger than the bed: that is not the recipe's doing.
    """
    made: list[Gauge] = []
    without: dict[str, InputError] = {}
    for kind, makers in MAKERS.items():
        try:
            parts = makers(setup)
        except InputError as error:
            without[kind] = _in_recipe(error, setup)
            continue
        for number, make in enumerate(parts, 1):
            try:
                made.append(make())
            except InputError as error:
                if error.field == "bed":
                    raise
                without[kind if len(parts) == 1 else f"{kind} {number}"] = _in_recipe(error, setup)
    return made, without


def _in_recipe(error: InputError, setup: Setup) -> InputError:
    """The error with the recipe's file where it is about the recipe, not about a parameter."""
    recipe = setup.gouge.recipe
    return error if error.field in PARAMETERS else error.in_file(recipe.source or recipe.name)
