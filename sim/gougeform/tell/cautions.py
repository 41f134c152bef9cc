"""What is said wherever settings are given: how not to get hurt, and who knows better than this program.

Sources: rest gap, tongue guard and the rule on rated speed from 29 CFR 1910.215; softening of high-speed steel from
steel makers' data sheets; side grinding, eye and breathing protection as common practice.
"""

from __future__ import annotations

from gougeform.machine.wheel import Wheel
from gougeform.recipe.model import Recipe

STRONG = "DO NOT GRIND LIKE THIS: "
"""How a caution begins that is about this very set-up and must not be read over."""


def cautions(recipe: Recipe) -> list[str]:
    """Sentences for a person about to set up the machine; those about this very set-up come first."""
    wheels = list(dict.fromkeys(grind.wheel for grind in recipe.grinds))
    speeds = [_speed(wheel) for wheel in wheels]
    general = [
        "Wear eye protection that closes at the sides, and a dust mask made for grinding dust.",
        _guards(wheels),
        "Never grind on the side of a wheel that is not made for it.",
        "Keep the steel cool with light, short passes: high-speed steel softens quickly above about 600 °C,"
        " carbon steel much earlier, as soon as the edge turns colour.",
        "These numbers describe geometry only. Follow local codes, the wheel maker's rating and instructions, and a"
        " competent instructor.",
    ]
    return sorted(dict.fromkeys(speeds), key=lambda text: not text.startswith(STRONG)) + general


def _speed(wheel: Wheel) -> str:
    """The speed check of one wheel, v = pi D n against its rating, or what is missing for it."""
    printed = "the highest speed printed on the wheel"
    if wheel.diameter_mm is None:
        return "Never run a belt faster than its maker and the machine's maker allow; its speed is not checked here."
    if wheel.rpm is None:
        return f"Never run a wheel above {printed}; not checked here, because the recipe gives no wheel.rpm."
    speed = wheel.speed_m_s
    assert speed is not None
    runs = f"the {wheel.diameter_mm:g} mm wheel's face runs at {speed:.1f} m/s at {wheel.rpm:g} rpm"
    if wheel.rated_m_s is None:
        return f"Never run a wheel above {printed}: {runs}, and the recipe gives no wheel.rated_m_s to compare with."
    if speed > wheel.rated_m_s:
        # One digit more where rounding would make the two numbers look equal.
        digits = 1 if f"{speed:.1f}" != f"{wheel.rated_m_s:.1f}" else 4
        return (
            f"{STRONG}at {wheel.rpm:g} rpm the {wheel.diameter_mm:g} mm wheel would run at {speed:.{digits}f} m/s,"
            f" but it is rated for {wheel.rated_m_s:g} m/s. A wheel above its rating can burst: use a slower spindle,"
            " a smaller wheel, or one that is rated for the speed."
        )
    return (
        f"Never run a wheel above {printed}: {runs}, and the recipe says {wheel.rated_m_s:g} m/s is printed on it."
        " Read the wheel itself."
    )


def _guards(wheels: list[Wheel]) -> str:
    if all(wheel.diameter_mm is None for wheel in wheels):
        return "Keep the machine's guards on, and the rest as near the belt as its maker says."
    return (
        "Keep all guards on; tool rest at most 1/8 in (3.2 mm) from the wheel, tongue guard at most 1/4 in (6.4 mm)"
        " (29 CFR 1910.215). Adjust them only with the wheel standing still."
    )
