"""The plate's label: a tag with a hole that says which tool, wheel and jig the gauges belong to."""

from __future__ import annotations

from shapely.geometry import box

from gougeform.gauges import lettering
from gougeform.gauges.gauge import Gauge, disc, mm, plain, rounded
from gougeform.gauges.setup import Setup

_THICK = 3.0
_ROOM = 74.0
_HOLE = 2.5


def tag(setup: Setup) -> Gauge:
    """One tag."""
    recipe = setup.gouge.recipe
    name = lettering.printable((recipe.name or "gouge").replace("-", " ").replace("_", " "))
    angle = float(setup.edge.wedge[setup.edge.nose])
    parts = [
        name.upper(),
        f"NOSE\u00a0{plain(angle, 1)}°",
        f"WING\u00a0{mm(setup.edge.wing_length(1), 1)}",
        setup.wheel_words,
    ]
    lines = [*setup.wrapped(parts[:1], _ROOM), *setup.wrapped(parts[1:], _ROOM)]
    wide, high = setup.room(lines, 3.0)
    wide += 2 * _HOLE + 4
    setup.on_bed(wide, high, "the tag", "give the recipe's file a shorter name, or use a larger bed")
    shape = rounded(box(0, 0, wide, high), 4.0).difference(disc(5.5, high / 2, _HOLE))
    text = setup.text(lines, ((wide + 2 * _HOLE + 3) / 2, high / 2), _THICK)
    return Gauge(
        kind="tag",
        name="",
        outline=shape,
        thickness=_THICK,
        lettering=(text,),
        says=tuple(lines),
        dimensions={"hole_diameter_mm": 2 * _HOLE},
        use="Keep it with the gauges.",
    )
