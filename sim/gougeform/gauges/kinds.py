"""The kinds of gauges by the word of the command, and all of them for one recipe."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from gougeform.errors import InputError
from gougeform.gauges.angle import angle_gauges
from gougeform.gauges.gauge import Gauge
from gougeform.gauges.projection import projection_stops
from gougeform.gauges.relief import relief_blocks
from gougeform.gauges.setup import Setup
from gougeform.gauges.spacer import rim_spacers
from gougeform.gauges.tag import tags
from gougeform.gauges.template import outline_templates
from gougeform.gauges.wheelgauge import wheel_gauges

KINDS: dict[str, Callable[[Setup], list[Gauge]]] = {
    "projection": projection_stops,
    "spacer": rim_spacers,
    "angle": angle_gauges,
    "outline": outline_templates,
    "wheel": wheel_gauges,
    "relief": relief_blocks,
    "tag": tags,
}


def gauges(kind: str, setup: Setup) -> list[Gauge]:
    """All gauges of one kind. Raises InputError, with the recipe's file, where they cannot exist."""
    try:
        return KINDS[kind](setup)
    except InputError as error:
        if error.field.startswith("--"):
            raise
        recipe = setup.gouge.recipe
        raise error.in_file(recipe.source or recipe.name) from None


def all_gauges(setup: Setup) -> tuple[list[Gauge], dict[str, InputError]]:
    """Every gauge that can exist for this recipe, and for the kinds that cannot, why.

    Raises InputError where a gauge is larger than the bed: that is not the recipe's doing.
    """
    made: list[Gauge] = []
    without: dict[str, InputError] = {}
    for kind in KINDS:
        try:
            made += gauges(kind, setup)
        except InputError as error:
            if error.field == "--bed":
                raise replace(error, field=f"{kind}: --bed") from None
            without[kind] = error
    return made, without
