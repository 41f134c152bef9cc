"""Rim spacer: the distance from the wheel's rim to the pocket or the rod, between two seats.

One end lies on the wheel: its seat is an arc of the wheel's own radius. The other end takes the rod, or the end of the
foot that stands in the pocket: an arc of that radius and the fit, whose deepest point is where the rod or foot is
touched. So the fit gives play sideways and never changes the distance.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from shapely.geometry import Polygon, box

from gougeform.errors import InputError
from gougeform.gauges.gauge import Gauge, disc, mm, plain, rounded
from gougeform.gauges.setup import Setup, wheel_words
from gougeform.machine.rig import TableRig

_THICK = 8.0
_LEAST_BODY = 8.0  # mm between the deepest points of the seats
_WIDE = 36.0  # mm across the wheel's seat, at least
_SHOULDER = 5.0  # mm of plastic beside the seat for rod or foot
_DEEP = 0.8  # how deep that seat goes, in radii


@dataclass(frozen=True)
class Reach:
    """One distance to set: which grind, on which wheel, from the rim to the middle of what diameter."""

    grind: int
    wheel_mm: float | None
    rim_mm: float
    pin_mm: float
    pivot: str


def reaches(setup: Setup) -> list[Reach]:
    """Every distance to set: each grind on its own wheel, or on each wheel asked for, at the same nose angle.

    Raises InputError where the recipe has no pocket or rod, or a worn wheel no place for them.
    """
    found: list[Reach] = []
    gouge = setup.gouge
    for number, (grind, jig, one) in enumerate(zip(gouge.recipe.grinds, gouge.jigs, gouge.ground.passes, strict=True)):
        if grind.jig.kind == "table" or isinstance(jig, TableRig):
            raise InputError(
                "jig.kind",
                "a table has no pocket or rod whose distance a spacer could set",
                "use the angle gauge to tilt the table",
            )
        pin, pivot = (
            (setup.wishes.foot_mm, "POCKET") if grind.jig.kind == "foot" else (grind.jig.rod_diameter_mm, "ROD")
        )
        across = grind.path.contact_mm if grind.path.path == "traced" and grind.jig.kind == "foot" else 0.0
        angle = jig.pivot.nose_angle(jig.rim, one.wheel.curvature, across)
        for diameter in setup.wishes.wheel_mm or (grind.wheel.diameter_mm,):
            same = diameter == grind.wheel.diameter_mm
            rim = jig.rim if same or diameter is None else jig.pivot.rim_distance(angle, 2 / diameter, across)
            if not rim > 0:
                raise InputError(
                    "wheel",
                    f"given {diameter:g}: on that wheel no distance gives this nose angle",
                    "ask for a diameter nearer the recipe's",
                )
            if all(abs(r.rim_mm - rim) > 0.005 or r.wheel_mm != diameter for r in found):
                found.append(Reach(number, diameter, float(rim), pin, pivot))
    return found


def rim_spacers(setup: Setup) -> list[Callable[[], Gauge]]:
    """What makes the spacer for each distance; raises InputError where the seats leave no body, or it fits no bed."""
    return [partial(_spacer, setup, reach) for reach in reaches(setup)]


def _spacer(setup: Setup, reach: Reach) -> Gauge:
    radius = reach.pin_mm / 2
    bottom = reach.rim_mm - radius  # the seat's deepest point, where rod or foot are touched
    if bottom < _LEAST_BODY:
        raise InputError(
            f"grind.{reach.grind}.rim_distance_mm",
            f"rim to {reach.pivot.lower()} is {reach.rim_mm:.2f} mm, and the two seats need at least"
            f" {radius + _LEAST_BODY:.2f} mm",
            "a longer projection or a larger nose angle moves it away from the wheel; else use a ruler"
            + (", or give a thinner foot with `foot`" if reach.pivot == "POCKET" else ""),
        )
    fit = setup.printing.fit_mm
    seat = radius + fit
    grind = "" if len(setup.gouge.recipe.grinds) == 1 else "1ST GRIND" if reach.grind == 0 else "RELIEF"
    pin = "FOOT" if reach.pivot == "POCKET" else "ROD"
    parts = [
        f"RIM TO {reach.pivot} {mm(reach.rim_mm)}",
        wheel_words(reach.wheel_mm),
        f"{pin}\u00a0Ø{plain(reach.pin_mm)}",
        *([grind] if grind else []),
    ]
    end = bottom + _DEEP * seat
    least = max(_WIDE, 2 * (seat + _SHOULDER))
    lines, turned, wide = _fitted(setup, parts, bottom, least)
    curve = 0.0 if reach.wheel_mm is None else 2 / reach.wheel_mm
    if curve * wide / 2 > 0.8:
        raise InputError(
            "wheel.diameter_mm",
            f"a wheel of {reach.wheel_mm:g} mm is too small to carry a spacer {wide:.0f} mm wide",
            "ask for smaller text, or set the distance with a ruler",
        )
    sag = 0.0 if curve == 0 else (1 - np.sqrt(1 - (curve * wide / 2) ** 2)) / curve
    setup.on_bed(
        end + sag, wide, f"the rim spacer for {reach.rim_mm:.1f} mm", "use a larger bed, or set it with a ruler"
    )
    narrow = max(2 * (seat + _SHOULDER), 0.0 if turned else setup.room(lines)[1])
    shape = _body(end, wide, narrow if not turned else wide, sag, bottom)
    if curve:
        shape = shape.difference(disc(-1 / curve, 0.0, 1 / curve))
    shape = shape.difference(disc(bottom + seat, 0.0, seat))
    shape = rounded(shape, 0.8)
    name = f"{plain(reach.rim_mm, 1)}mm" + ("" if reach.wheel_mm is None else f"-wheel{plain(reach.wheel_mm, 1)}")
    return Gauge(
        kind="spacer",
        name=name,
        outline=shape,
        thickness=_THICK,
        lettering=(setup.text(lines, (bottom / 2 + 0.3, 0.0), _THICK, turned=turned),),
        says=tuple(lines),
        dimensions={
            "rim_distance_mm": reach.rim_mm,
            "body_mm": bottom,
            "seat_diameter_mm": 2 * seat,
            **({} if reach.wheel_mm is None else {"wheel_diameter_mm": reach.wheel_mm}),
        },
        use="Wheel standing still: lay the wide end on the wheel's rim, square across its face, and bring the"
        f" {pin.lower()} into the other seat: the {reach.pivot.lower()}'s centre is then {reach.rim_mm:.2f} mm from the"
        " rim.",
        notes=(f"The seat is for the {'end of a foot' if pin == 'FOOT' else 'rod'} of {mm(reach.pin_mm)} diameter.",),
    )


def _fitted(setup: Setup, parts: list[str], bottom: float, least: float) -> tuple[list[str], bool, float]:
    """Lines, whether they run across the spacer, and its width: along where they fit, else across, wider if need be."""
    along = setup.wrapped(parts, bottom - 5.0)
    if setup.room(along)[0] <= bottom - 1.0 and setup.room(along)[1] <= 1.2 * least:
        return along, False, max(least, setup.room(along)[1])
    wide = least
    while wide < 400:
        across = setup.wrapped(parts, wide - 8.0)
        if setup.room(across)[0] <= wide - 4.0 and setup.room(across, 1.5)[1] <= bottom:
            return across, True, wide
        wide += 2.0
    raise InputError(
        "text", f"a spacer of {bottom:.1f} mm between its seats has no room for its text", "ask for smaller text"
    )


def _body(end: float, wide: float, narrow: float, sag: float, bottom: float) -> Polygon:
    """The bar between the seats: wide on the wheel, drawn in behind, from x = -sag to `end`."""
    if narrow > wide - 4:
        return rounded(box(-sag, -wide / 2, end, wide / 2), 3.0)
    step = (wide - narrow) / 2
    foot = min(8.0, bottom / 3)
    upper = [(-sag, wide / 2), (foot, wide / 2), (min(foot + 2.0 * step, bottom), narrow / 2), (end, narrow / 2)]
    return rounded(Polygon(upper + [(x, -y) for x, y in reversed(upper)]), 3.0, 6.0)
