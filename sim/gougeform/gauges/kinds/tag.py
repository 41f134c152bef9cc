"""The plate's label: a tag with a hole that says which tool, wheel and jig the gauges belong to."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gougeform.gauges.kind import GaugeKind

if TYPE_CHECKING:
    from gougeform.gauges.gauge import Gauge
    from gougeform.gauges.setup import Setup

_THICK = 3.0
_ROOM = 74.0
_HOLE = 2.5
_HOLE_X = 5.5


class Tag(GaugeKind):
    """A label with the tool's name, nose angle, wing and wheel."""

    name = "tag"
    title = "Tag"
    does = "a label to keep with them"
    rank = 70

    def gauge(self, setup: Setup) -> Gauge:
        """As `GaugeKind` says: one tag."""
        from shapely.geometry import box

        from gougeform.gauges import lettering
        from gougeform.gauges.gauge import Gauge, Span, disc, mm, plain, rounded

        recipe = setup.gouge.recipe
        # The title first: it is part of the recipe, as a page knows it too, and not of where it is kept.
        called = recipe.title or recipe.name.replace("-", " ").replace("_", " ") or "gouge"
        parts = [
            f"NOSE\u00a0{plain(float(setup.edge.wedge[setup.edge.nose]), 1)}°",
            f"WING\u00a0{mm(setup.edge.wing_length(1), 1)}",
            setup.wheel_words,
        ]
        lines = [*setup.wrapped([lettering.printable(called).upper()], _ROOM), *setup.wrapped(parts, _ROOM)]
        wide, high = setup.room(lines, 3.0)
        wide += 2 * _HOLE + 4
        setup.on_bed(wide, high, "the tag", "give the recipe a shorter title, or use a larger bed")
        y = high / 2
        across = ((_HOLE_X - _HOLE - 1, y), (_HOLE_X + _HOLE + 1, y))
        return Gauge(
            kind=self.name,
            name="",
            outline=rounded(box(0, 0, wide, high), 4.0).difference(disc(_HOLE_X, y, _HOLE)),
            thickness=_THICK,
            lettering=(setup.text(lines, ((wide + 2 * _HOLE + 3) / 2, y), _THICK),),
            says=tuple(lines),
            dimensions={"hole_diameter_mm": 2 * _HOLE},
            use="Keep it with the gauges.",
            spans=(Span("hole_diameter_mm", 0.5 * _THICK, *across, 2 * _HOLE, gap=True),),
        )
