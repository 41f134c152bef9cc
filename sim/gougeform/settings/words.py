"""What a person sets for each grind, in one line each: projection, the dial that makes the nose angle, the land."""

from __future__ import annotations

from gougeform.grind.gouge import Gouge
from gougeform.quantity import DEG, MM, shown
from gougeform.settings.bench import bench_of


def setting_words(gouge: Gouge) -> list[str]:
    """One line a grind. Lengths mm, to the surface of what the jig turns about where a ruler goes there."""
    out = []
    for number, grind in enumerate(gouge.recipe.grinds):
        jig, rim, told = grind.jig, gouge.settings[number].rim_distance, []
        if number == 0 or jig.projection_mm != gouge.recipe.grinds[0].jig.projection_mm:
            told.append(f"{'projection' if jig.clamps else 'held at'} {shown(jig.projection_mm, MM)}")
        if rim is not None:
            told.append(f"wheel's rim to {jig.pivot_noun} {shown(rim - jig.pivot_thick_mm, MM)}")
        else:
            bench = bench_of(gouge.recipe, number)
            told.append(f"{bench.dial.name} {shown(bench.value(bench.dial.name), DEG)}")
        if grind.land_mm is not None:
            told.append(f"until the land is {shown(grind.land_mm, MM)}")
        out.append(", ".join(told))
    return out
