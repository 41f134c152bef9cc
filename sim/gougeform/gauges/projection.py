"""Projection stop: how far the nose stands ahead of the clamp face.

One lane for each projection. The butt goes against the clamp's face with the lane under the bar. A low post stops the
bevel under the nose and ends below the edge, which it never touches; the post's front is flush with the lane's end, so
that the nose, seen from above, stands level with it. The post's back touches the bevel at a place that follows from the
ground shape, not from a nominal cone.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import box
from shapely.ops import unary_union

from gougeform.errors import InputError
from gougeform.gauges.gauge import LEAST_WALL_MM, Gauge, Lettering, mm, rounded
from gougeform.gauges.setup import Setup, mark_line, unique
from gougeform.grind.gouge import Gouge

_PLATE = 4.0
_LEAST_POST = 1.5  # mm that the post stands above the lane at least
_CLEAR = (1.0, 4.0)  # mm between the post's top and the edge: at least, at most
_ROOM = 4.0  # mm of lane beyond the bar's width
_PAST = 2.0  # mm that cuts reach past the outline
_GAP = 1.6  # mm between a post and the next lane


def projection_stop(setup: Setup) -> Gauge:
    """One gauge with a lane for each projection of the recipe or asked for.

    Raises InputError where the recipe has no clamp, or a projection is too short for lane and post.
    """
    recipe = setup.gouge.recipe
    if recipe.grinds[0].jig.kind == "table" and not setup.wishes.projection_mm:
        raise InputError(
            "jig.kind",
            "a table has no clamp face that a projection could be set from",
            "use the angle gauge to tilt the table, or ask for a length with `projection`",
        )
    own = [grind.jig.projection_mm for grind in recipe.grinds if grind.jig.kind != "table"]
    lengths = unique(list(setup.wishes.projection_mm) or own, 0.05)
    post = post_under_nose(setup.gouge)
    section = setup.gouge.section
    bar = float(section.outline.support((1.0, 0.0)) + section.outline.support((-1.0, 0.0)))
    depth = 0.0 if post is None else post[1]
    least = depth + 20.0
    if lengths[0] < least:
        raise InputError(
            "jig.projection_mm" if not setup.wishes.projection_mm else "projection",
            f"given {lengths[0]:g}, allowed is {least:.0f} mm or more: post and butt need that much room",
            "clamp the bar with more projection, or set this one with a ruler",
        )
    texts = [
        setup.wrapped([f"PROJECTION {mm(p)}", "CLAMP TO NOSE", setup.wheel_words], p - depth - 4.0) for p in lengths
    ]
    for p, lines in zip(lengths, texts, strict=True):
        if setup.room(lines)[0] > p - depth:
            raise InputError(
                "text", f"a lane of {p:g} mm is too short for its text", "ask for smaller text or a longer projection"
            )
    widths = [max(bar + _ROOM, setup.room(lines)[1]) for lines in texts]
    edges = np.concatenate([[0.0], np.cumsum(widths)])
    setup.on_bed(lengths[-1], float(edges[-1]), "the projection stop", "ask for fewer or shorter projections")
    outline = unary_union([box(0, a, p, b) for p, a, b in zip(lengths, edges[:-1], edges[1:], strict=True)])
    height = _PLATE + (post[0] if post else 0.0)
    lowered, letters = [], []
    for p, a, b, lines in zip(lengths, edges[:-1], edges[1:], texts, strict=True):
        if post:
            lowered.append(box(-_PAST, a - _PAST if a == 0 else a, p - depth, b + _PAST if b == edges[-1] else b))
            # Posts keep off the next lane: two that met in one upright line would not be one clean solid.
            if a:
                lowered.append(box(-_PAST, a - _GAP, p + _PAST, a + _GAP))
        letters.append(setup.text(lines, ((p - depth) / 2, (a + b) / 2), _PLATE))
        if len(lengths) > 1 and b != edges[-1]:
            line = mark_line([(2.0, b), (p - depth - 1.5, b)])
            letters.append(Lettering(line, _PLATE, mark=True))
    if post is None:
        note = "There is no room for a post under this nose: nothing stops it but your eye."
    else:
        note = (
            "The post fits this recipe's bevel. Before the first grind set the nose level with the lane's end by eye."
        )
    return Gauge(
        kind="projection",
        name="",
        outline=rounded(outline, 1.0),
        thickness=height,
        lettering=tuple(letters),
        says=tuple(line for lines in texts for line in lines),
        dimensions={f"projection_{i}_mm": p for i, p in enumerate(lengths, 1)}
        | ({"post_depth_mm": depth, "post_height_mm": post[0]} if post else {}),
        use="Butt against the clamp face, lane under the bar, flute up: "
        + (
            "slide the bar until the bevel touches the post; the nose then stands level with the end of the lane,"
            " and the edge touches nothing."
            if post
            else "slide the bar until the nose, seen from above, stands level with the end of the lane."
        ),
        lowered=((unary_union(lowered), _PLATE),) if lowered else (),
        notes=(note,),
    )


def post_under_nose(gouge: Gouge) -> tuple[float, float] | None:
    """Height above the lane and depth (mm) of a post that stops the bevel and stays clear of the edge, or None.

    Depth is how far behind the nose the bevel is where the post's top touches it. All edge lies above the flute's
    floor, so a top below the floor cannot touch it.
    """
    section = gouge.section
    lane, floor = section.underside, section.y_floor
    web = floor - lane
    high = web - float(np.clip(0.4 * web, *_CLEAR))
    while high >= _LEAST_POST:
        depth = -foremost_below(gouge, lane + high)
        if depth >= LEAST_WALL_MM:
            # A whole hundredth, so that text, drawing and file say the same; the post may only be less deep.
            return round(high, 2), float(depth)
        high -= 0.25
    return None


def foremost_below(gouge: Gouge, y: float) -> float:
    """Foremost z (mm, negative behind the nose) of all steel not higher than y."""
    outline = gouge.section.outline
    v = np.linspace(0, outline.count, 721)[:-1]
    rim: NDArray[np.float64] = outline.point(v)
    rim = rim[rim[:, 1] <= y]
    x = np.unique(np.concatenate([np.linspace(rim[:, 0].min(), rim[:, 0].max(), 201), [0.0]]))
    row = np.stack([x, np.full(len(x), y)], -1)
    row = row[outline.contains(row)]
    return float(np.max(gouge.ground.heights(np.concatenate([row, rim])).z))
