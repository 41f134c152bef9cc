"""Projection stop: how far the nose stands ahead of the clamp face.

One lane for each projection. The butt goes against the clamp's face with the lane under the bar. A low post stops the
bevel under the nose and ends below the edge, which it never touches; the post's front is flush with the lane's end, so
that the nose, seen from above, stands level with it. The post's back touches the bevel at a place that follows from the
ground shape, not from a nominal cone.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import accumulate
from typing import TYPE_CHECKING, Annotated

from gougeform.errors import InputError
from gougeform.gauges.kind import GaugeKind
from gougeform.quantity import Quantity

if TYPE_CHECKING:
    from gougeform.gauges.gauge import Gauge
    from gougeform.gauges.setup import Setup
    from gougeform.grind.gouge import Gouge

_PLATE = 4.0
_LEAST_POST = 1.5  # mm that the post stands above the lane at least
_CLEAR = (1.0, 4.0)  # mm between the post's top and the edge: at least, at most
_ROOM = 4.0  # mm of lane beyond the bar's width
_PAST = 2.0  # mm that cuts reach past the outline
_GAP = 1.6  # mm between a post and the next lane


@dataclass(frozen=True)
class ProjectionStop(GaugeKind):
    """A lane for each projection of the recipe, or asked for."""

    name = "projection"
    title = "Projection stop"
    does = "how far the nose stands ahead of the clamp face: a lane and a stop under the nose"
    rank = 10
    projection_mm: Annotated[tuple[float, ...], Quantity("projection", "projection of the stop", ge=5, le=1000)] = ()

    def spoken(self, dimension: str) -> str:
        """As `GaugeKind` says."""
        kind, number, *_ = dimension.split("_")
        return f"projection of lane {number}" if kind == "projection" else super().spoken(dimension)

    def _lengths(self, setup: Setup) -> list[float]:
        from gougeform.gauges.setup import unique

        recipe = setup.gouge.recipe
        own = [grind.jig.projection_mm for grind in recipe.grinds if grind.jig.clamps]
        if not recipe.grinds[0].jig.clamps and not self.projection_mm:
            raise InputError(
                "jig.kind",
                f"{recipe.grinds[0].jig.noun} has no clamp face that a projection could be set from",
                "use the angle gauge to tilt it, or ask for a length with `projection`",
            )
        return unique(list(self.projection_mm) or own, 0.05)

    def gauge(self, setup: Setup) -> Gauge:
        """As `GaugeKind` says: one gauge.

        Raises InputError where the recipe has no clamp, or a projection is too short for lane and post.
        """
        from shapely.geometry import box
        from shapely.ops import unary_union

        from gougeform.gauges.gauge import Gauge, Lettering, Span, mm, rounded
        from gougeform.gauges.setup import mark_line

        lengths, post = self._lengths(setup), post_under_nose(setup.gouge)
        outline = setup.gouge.section.outline
        bar = float(outline.support((1.0, 0.0)) + outline.support((-1.0, 0.0)))
        depth = 0.0 if post is None else post[1]
        least = depth + 20.0
        if lengths[0] < least:
            raise InputError(
                "projection" if self.projection_mm else "jig.projection_mm",
                f"given {lengths[0]:g}, allowed is {least:.0f} mm or more: post and butt need that much room",
                "clamp the bar with more projection, or set this one with a ruler",
            )
        texts = [
            setup.wrapped([f"PROJECTION {mm(p)}", "CLAMP TO NOSE", setup.wheel_words], p - depth - 4.0) for p in lengths
        ]
        for p, lines in zip(lengths, texts, strict=True):
            if setup.room(lines)[0] > p - depth:
                problem = f"a lane of {p:g} mm is too short for its text"
                raise InputError("text", problem, "ask for smaller text or a longer projection")
        edges = [0.0, *accumulate(max(bar + _ROOM, setup.room(lines)[1]) for lines in texts)]
        setup.on_bed(lengths[-1], edges[-1], "the projection stop", "ask for fewer or shorter projections")
        lowered, letters, lanes = [], [], []
        for p, a, b, lines in zip(lengths, edges[:-1], edges[1:], texts, strict=True):
            lanes.append(box(0, a, p, b))
            if post:
                lowered.append(box(-_PAST, a - _PAST if a == 0 else a, p - depth, b + _PAST if b == edges[-1] else b))
                # Posts keep off the next lane: two that met in one upright line would not be one clean solid.
                if a:
                    lowered.append(box(-_PAST, a - _GAP, p + _PAST, a + _GAP))
            letters.append(setup.text(lines, ((p - depth) / 2, (a + b) / 2), _PLATE))
            if len(lengths) > 1 and b != edges[-1]:
                letters.append(Lettering(mark_line([(2.0, b), (p - depth - 1.5, b)]), _PLATE, mark=True))
        if post is None:
            note = "There is no room for a post under this nose: nothing stops it but your eye."
            how = "slide the bar until the nose, seen from above, stands level with the end of the lane."
        else:
            note = "The post fits this recipe's bevel. Before the first grind set the nose level with the lane's end by"
            note += " eye."
            how = "slide the bar until the bevel touches the post; the nose then stands level with the end of the lane,"
            how += " and the edge touches nothing."
        lane = zip(lengths, edges[:-1], edges[1:], strict=True)
        return Gauge(
            kind=self.name,
            name="",
            outline=rounded(unary_union(lanes), 1.0),
            thickness=_PLATE + (post[0] if post else 0.0),
            lettering=tuple(letters),
            says=tuple(line for lines in texts for line in lines),
            dimensions={f"projection_{i}_mm": p for i, p in enumerate(lengths, 1)}
            | ({"post_depth_mm": depth, "post_height_mm": post[0]} if post else {}),
            use=f"Butt against the clamp face, lane under the bar, flute up: {how}",
            lowered=((unary_union(lowered), _PLATE),) if lowered else (),
            notes=(note,),
            spans=tuple(
                Span(f"projection_{i}_mm", 0.5 * _PLATE, (-1.0, (a + b) / 2), (p + 1.0, (a + b) / 2), p)
                for i, (p, a, b) in enumerate(lane, 1)
            ),
        )


def post_under_nose(gouge: Gouge) -> tuple[float, float] | None:
    """Height above the lane and depth (mm) of a post that stops the bevel and stays clear of the edge, or None.

    Depth is how far behind the nose the bevel is where the post's top touches it. All edge lies above the flute's
    floor, so a top below the floor cannot touch it.
    """
    from gougeform.gauges.gauge import LEAST_WALL_MM

    section = gouge.section
    web = float(section.y_floor - section.underside)
    high = web - min(max(0.4 * web, _CLEAR[0]), _CLEAR[1])
    while high >= _LEAST_POST:
        depth = -_foremost_below(gouge, section.underside + high)
        if depth >= LEAST_WALL_MM:
            # A whole hundredth, so that text, drawing and file say the same; the post may only be less deep.
            return round(high, 2), depth
        high -= 0.25
    return None


def _foremost_below(gouge: Gouge, y: float) -> float:
    """Foremost z (mm, negative behind the nose) of all steel not higher than y."""
    import numpy as np

    outline = gouge.section.outline
    rim = outline.point(np.linspace(0, outline.count, 721)[:-1])
    rim = rim[rim[:, 1] <= y]
    x = np.unique(np.concatenate([np.linspace(rim[:, 0].min(), rim[:, 0].max(), 201), [0.0]]))
    row = np.stack([x, np.full(len(x), y)], -1)
    row = row[outline.contains(row)]
    return float(np.max(gouge.ground.heights(np.concatenate([row, rim])).z))
