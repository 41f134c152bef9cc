"""What is said wherever settings are given: how not to get hurt, and who knows better than this program.

Sources: rest gap, tongue guard and the rule on rated speed from 29 CFR 1910.215; softening of high-speed steel from
steel makers' data sheets; side grinding, eye and breathing protection as common practice.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from gougeform.present.answer import Answer, Block

if TYPE_CHECKING:
    from gougeform.machine.wheel import Wheel
    from gougeform.recipe.model import Recipe

BEFORE = "Before you grind"
"""The title over cautions."""
STRONG = "DO NOT GRIND LIKE THIS: "
"""How a caution begins that is about this very set-up and must not be read over."""

_ABOVE = (
    "The wheel maker's rating, local codes and a competent instructor stand above this program; `gougeform cautions`"
    " has the full list."
)


def cautions(recipe: Recipe | None) -> list[str]:
    """Sentences for a person about to set up the machine; those about this very set-up come first."""
    wheels = _wheels(recipe)
    return [
        *_speeds(wheels),
        "Never run a wheel above the highest speed printed on the wheel, nor a belt above its maker's.",
        "Wear eye protection that closes at the sides, and a dust mask made for grinding dust.",
        _guards(wheels),
        "Never grind on the side of a wheel that is not made for it.",
        "Keep the steel cool with light, short passes: high-speed steel softens quickly above about 600 °C,"
        " carbon steel much earlier, as soon as the edge turns colour.",
        "These numbers describe geometry only. Follow local codes, the wheel maker's rating and instructions, and a"
        " competent instructor.",
    ]


def in_short(recipe: Recipe | None) -> list[str]:
    """What ends every answer that gives settings: each wheel's speed against its rating, and who stands above it all.

    Empty without a recipe, where no settings are given. Twelve lines each time would train people not to read them.
    """
    return [] if recipe is None else [*_speeds(_wheels(recipe)), _ABOVE]


def answer(recipe: Recipe | None = None) -> Answer:
    """The full list; with a recipe the speed of its wheels is checked."""
    told = cautions(recipe)
    title = "" if recipe is None else recipe.title or recipe.name
    return Answer(title, [Block(BEFORE, points=told)], result={"cautions": told})


def _wheels(recipe: Recipe | None) -> list[Wheel]:
    return [] if recipe is None else list(dict.fromkeys(grind.wheel for grind in recipe.grinds))


def _speeds(wheels: Iterable[Wheel]) -> list[str]:
    """Each wheel's speed against its rating, those that are too fast first."""
    return sorted(dict.fromkeys(map(_speed, wheels)), key=lambda text: not text.startswith(STRONG))


def _speed(wheel: Wheel) -> str:
    """The speed check of one wheel, v = pi D n against its rating, or what is missing for it."""
    if wheel.diameter_mm is None:
        return "The belt's speed is not checked here: its maker and the machine's maker say how fast it may run."
    name = f"{wheel.diameter_mm:g} mm wheel"
    if wheel.rpm is None:
        return f"The speed of the {name} is not checked: the recipe gives no wheel.rpm, turns a minute. Add it."
    speed = wheel.speed_m_s
    assert speed is not None
    runs = f"The {name}'s face runs at {speed:.1f} m/s at {wheel.rpm:g} rpm"
    if wheel.rated_m_s is None:
        return f"{runs}; not checked: the recipe gives no wheel.rated_m_s, what is printed on it. Add it."
    if speed > wheel.rated_m_s:
        # One digit more where rounding would make the two numbers look equal.
        digits = 1 if f"{speed:.1f}" != f"{wheel.rated_m_s:.1f}" else 4
        return (
            f"{STRONG}at {wheel.rpm:g} rpm the {name} would run at {speed:.{digits}f} m/s,"
            f" but it is rated for {wheel.rated_m_s:g} m/s. A wheel above its rating can burst: use a slower spindle,"
            " a smaller wheel, or one that is rated for the speed."
        )
    return f"{runs}; the recipe says {wheel.rated_m_s:g} m/s is printed on it. Read the wheel itself."


def _guards(wheels: list[Wheel]) -> str:
    if wheels and all(wheel.diameter_mm is None for wheel in wheels):
        return "Keep the machine's guards on, and the rest as near the belt as its maker says."
    return (
        "Keep all guards on; tool rest at most 1/8 in (3.2 mm) from the wheel, tongue guard at most 1/4 in (6.4 mm)"
        " (29 CFR 1910.215). Adjust them only with the wheel standing still."
    )
