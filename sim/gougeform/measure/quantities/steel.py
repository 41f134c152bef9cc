"""What the grind costs in steel."""

from __future__ import annotations

from gougeform.grind.gouge import Gouge
from gougeform.measure.measured import Measured


def grams(gouge: Gouge, volume_mm3: float) -> float:
    """What so much of the bar's steel weighs, g."""
    return volume_mm3 * gouge.recipe.bar.steel.density_g_cm3 / 1000


MEASURED = (
    Measured("steel_removed_mm3", "steel removed", lambda m: m.steel_removed, "steel ground away", "steel",
             "steel_removed_mm3", cost_ms=100),
    Measured("steel_removed_g", "steel removed", lambda m: grams(m.gouge, m.steel_removed),
             "mass of the steel ground away", "steel", "steel_removed_g", cost_ms=100),
)  # fmt: skip
