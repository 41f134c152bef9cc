"""Relief block: as wide as pocket or rod move from the first setting to the second.

Between a fixed stop and the slide that carries pocket or rod it takes the place of measuring twice. Straight toward
the wheel's axis that is the difference of the rim distances; on a level slide it is the difference of the level parts
of the centre distances, at the height that both settings share.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np
from shapely.geometry import box
from shapely.ops import unary_union

from gougeform.errors import InputError
from gougeform.gauges.gauge import LEAST_WALL_MM, Gauge, mm, rounded
from gougeform.gauges.setup import Setup, wheel_words

_THICK = 8.0
_BLADE = 30.0  # mm: length of the two faces


def relief_blocks(setup: Setup) -> list[Callable[[], Gauge]]:
    """What makes the block for each relief; raises InputError where one block cannot lead from place to place.

    Raises InputError where there is no second setting, or none that one block can make.
    """
    grinds = setup.gouge.recipe.grinds
    if len(grinds) < 2:
        raise InputError(
            "grind",
            "the recipe has one grind, so there is no second setting",
            "add a [[grind]] with land_mm for a relief",
        )
    return [partial(_block, setup, number) for number in range(1, len(grinds))]


def offset(setup: Setup, number: int) -> float:
    """How far (mm) pocket or rod move toward the wheel from the first setting to a later one; negative: away.

    Raises InputError where the two settings differ in more than the place.
    """
    first, later = setup.gouge.recipe.grinds[0], setup.gouge.recipe.grinds[number]
    where = f"grind.{number}"
    if "table" in (first.jig.kind, later.jig.kind):
        raise InputError("jig.kind", "a table is tilted, not moved, for a relief", "use the angle gauge to tilt it")
    if later.wheel.diameter_mm != first.wheel.diameter_mm or later.jig.kind != first.jig.kind:
        raise InputError(
            where,
            "the relief has a wheel or jig of its own, so no block leads from one setting to the other",
            "use a rim spacer for each",
        )
    a, b = setup.gouge.settings[0], setup.gouge.settings[number]
    assert a.rim_distance is not None
    assert b.rim_distance is not None
    if setup.wishes.slide == "radial":
        return a.rim_distance - b.rim_distance
    assert first.jig.kind != "table"
    assert later.jig.kind != "table"
    if first.jig.height_mm != later.jig.height_mm:
        raise InputError(
            f"{where}.height_mm",
            "the two settings differ in height, so no level slide leads from one to the other",
            "give both the same height_mm, or use `slide` radial",
        )
    if a.centre_distance is None or b.centre_distance is None:
        return a.rim_distance - b.rim_distance
    h = first.jig.height_mm
    return float(np.sqrt(a.centre_distance**2 - h**2) - np.sqrt(b.centre_distance**2 - h**2))


def _block(setup: Setup, number: int) -> Gauge:
    by = offset(setup, number)
    width = abs(by)
    grind = setup.gouge.recipe.grinds[number]
    pivot = "POCKET" if grind.jig.kind == "foot" else "ROD"
    if width < LEAST_WALL_MM:
        raise InputError(
            f"grind.{number}",
            f"first and second setting are {width:.2f} mm apart, and a block needs {LEAST_WALL_MM:g} mm or more",
            "set it with feeler gauges or rim spacers; if only the projection differs, use the projection stop",
        )
    parts = [
        "RELIEF BLOCK" if len(setup.gouge.recipe.grinds) == 2 else f"RELIEF {number} BLOCK",
        f"{pivot} {mm(width)}",
        "TOWARD WHEEL" if by > 0 else "AWAY FROM WHEEL",
        *(["ON A LEVEL SLIDE"] if setup.wishes.slide == "level" else []),
        wheel_words(grind.wheel.diameter_mm),
    ]
    lines = setup.wrapped(parts, 52.0)
    text_wide, text_high = setup.room(lines, 2.5)
    if text_high <= width:  # the text lies on the block itself
        length = max(_BLADE, text_wide)
        shape, middle = rounded(box(0, 0, length, width), 1.0), (length / 2, width / 2)
    else:  # a blade between the stops, and a flag to hold with the text on it, clear of them on both sides
        length = _BLADE + text_wide
        flag_high = max(text_high, width + 6.0)
        flag = rounded(box(_BLADE, (width - flag_high) / 2, length, (width + flag_high) / 2), 3.0)
        blade = box(0, 0, _BLADE + 3.5, width)
        blade = rounded(blade, 1.0) if width > 2.5 else blade
        shape, middle = unary_union([blade, flag]), (_BLADE + text_wide / 2, width / 2)
    setup.on_bed(
        *(shape.bounds[2] - shape.bounds[0], shape.bounds[3] - shape.bounds[1]), "the relief block", "use a larger bed"
    )
    towards = "toward the wheel" if by > 0 else "away from the wheel"
    how = "straight to its axis" if setup.wishes.slide == "radial" else "on a level slide"
    note = (
        f"This is for a {pivot.lower()} that moves straight toward the wheel's axis; on a slide that stays level ask"
        " for `slide` level."
        if setup.wishes.slide == "radial"
        else f"This is for a slide that stays level at {grind.jig.height_mm:g} mm from the height of the wheel's axis."  # type: ignore[union-attr]
    )
    return Gauge(
        kind="relief",
        name="" if len(setup.gouge.recipe.grinds) == 2 else str(number),
        outline=shape,
        thickness=_THICK,
        lettering=(setup.text(lines, middle, _THICK),),
        says=tuple(lines),
        dimensions={"offset_mm": width},
        use=f"Grind the first bevel, put the block between a stop and the slide, then move the {pivot.lower()}"
        f" {width:.2f} mm {towards}, {how}, to the relief's place.",
        notes=(note,),
    )
