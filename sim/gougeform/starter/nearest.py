"""The nearest outline that can be ground where the one that is asked for cannot."""

from __future__ import annotations

from itertools import product

from gougeform.errors import InputError
from gougeform.measure.measures import Measures
from gougeform.recipe.change import changed
from gougeform.recipe.model import Recipe
from gougeform.tool.grind import measured

_WINGS = (1.0, 0.95, 0.9, 0.85, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3)  # of what is asked for
_FULLNESS, _SHOULDER = (0.3, 0.41, 0.55), (0.3, 0.5, 0.65, 0.8, 1.0)
_WORTH = {"wing_length_mm": 1.0, "fullness": 0.6, "shoulder": 0.35}
"""What a change of each by one, or of a wing by its whole length, counts for: a person sees the wing's length first."""


def nearest_outline(recipe: Recipe) -> tuple[Measures, dict[str, float]] | None:
    """The tool with the nearest outline that can be ground, and what of it differs; None where none near it can.

    Tried are shorter wings with other fullness and shoulder, the smallest changes first.
    """
    first = recipe.grinds[0].path.plain()
    if "wing_length_mm" not in first:
        return None
    asked = {name: float(first.get(name, getattr(recipe.grinds[0].path, name))) for name in _WORTH}
    wings = [round(share * asked["wing_length_mm"], 1) for share in _WINGS]
    tried = [
        dict(zip(_WORTH, values, strict=True))
        for values in product(wings, (asked["fullness"], *_FULLNESS), (asked["shoulder"], *_SHOULDER))
    ]
    scale = {"wing_length_mm": asked["wing_length_mm"]}

    def off(one: dict[str, float]) -> float:
        return sum(_WORTH[name] * abs(one[name] - asked[name]) / scale.get(name, 1.0) for name in asked)

    for one in sorted(tried, key=off):
        differs = {name: value for name, value in one.items() if value != asked[name]}
        if not differs:
            continue
        try:
            made = measured(changed(recipe, {f"grind.0.{name}": value for name, value in differs.items()}))
        except InputError:
            continue
        return made, differs
    return None
