"""Rim spacer: the distance from the wheel's rim to the pocket or the rod, between two seats.

One end lies on the wheel: its seat is an arc of the wheel's own radius. The other end takes the rod, or the end of the
foot that stands in the pocket: an arc of that radius and the fit, whose deepest point is where the rod or foot is
touched. So the fit gives play sideways and never changes the distance.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from math import sqrt
from typing import TYPE_CHECKING, Annotated, Any

from gougeform.errors import InputError
from gougeform.gauges.kind import WHEELS, GaugeKind
from gougeform.quantity import Quantity

if TYPE_CHECKING:
    from gougeform.gauges.gauge import Gauge
    from gougeform.gauges.setup import Setup

_THICK = 8.0
_LEAST_BODY = 8.0  # mm between the deepest points of the seats
_WIDE = 36.0  # mm across the wheel's seat, at least
_SHOULDER = 5.0  # mm of plastic beside the seat for rod or foot
_DEEP = 0.8  # how deep that seat goes, in radii


@dataclass(frozen=True)
class ToSet:
    """One distance to set: which grind, on which wheel, from the rim to the middle of what diameter.

    pivot: what stands there, "pocket" or "rod". seated: what the seat takes, "rod" or "foot".
    """

    grind: int
    wheel_mm: float | None
    rim_mm: float
    pin_mm: float
    pivot: str
    seated: str


@dataclass(frozen=True)
class RimSpacer(GaugeKind):
    """A spacer for each distance to set: each grind on its own wheel, or on each wheel asked for."""

    name = "spacer"
    title = "Rim spacer"
    does = "rim of the wheel to pocket or rod, between two seats"
    rank = 20
    parts = r"-[\d.]+mm(-wheel[\d.]+)?"
    wheel_mm: Annotated[tuple[float, ...], WHEELS] = ()
    foot_mm: Annotated[float, Quantity("foot", "diameter of the foot's end in its pocket", ge=3, le=40)] = 8.0

    def gauges(self, setup: Setup) -> Sequence[Callable[[], Gauge]]:
        """As `GaugeKind` says. Raises InputError where the seats leave no body, or it fits no bed."""
        return [partial(self._gauge, setup, one) for one in self.distances(setup)]

    def distances(self, setup: Setup) -> list[ToSet]:
        """Every distance to set, at the same nose angle on each wheel.

        Raises InputError where the recipe has no pocket or rod, or a worn wheel no place for them.
        """
        found: list[ToSet] = []
        gouge = setup.gouge
        for number, (grind, rig, one) in enumerate(
            zip(gouge.recipe.grinds, gouge.jigs, gouge.ground.passes, strict=True)
        ):
            if rig.pivot is None or rig.rim is None:
                raise InputError(
                    "jig.kind",
                    f"{grind.jig.noun} has no pocket or rod whose distance a spacer could set",
                    "use the angle gauge to tilt it",
                )
            thick, pivot = 2 * grind.jig.pivot_thick_mm, grind.jig.pivot_noun
            across = grind.jig.across(grind.path.contact)
            angle = rig.pivot.nose_angle(rig.rim, one.wheel.curvature, across)
            for diameter in self.wheel_mm or (grind.wheel.diameter_mm,):
                same = diameter == grind.wheel.diameter_mm
                rim = rig.rim if same or diameter is None else rig.pivot.rim_distance(angle, 2 / diameter, across)
                if not rim > 0:
                    raise InputError(
                        "wheel",
                        f"given {diameter:g}: on that wheel no distance gives this nose angle",
                        "ask for a diameter nearer the recipe's",
                    )
                if all(abs(r.rim_mm - rim) > 0.005 or r.wheel_mm != diameter for r in found):
                    pin, seated = (thick, pivot) if thick else (self.foot_mm, "foot")
                    found.append(ToSet(number, diameter, float(rim), pin, pivot, seated))
        return found

    def _gauge(self, setup: Setup, one: ToSet) -> Gauge:
        from gougeform.gauges.gauge import Gauge, Span, disc, mm, plain, rounded
        from gougeform.gauges.setup import wheel_words

        radius = one.pin_mm / 2
        bottom = one.rim_mm - radius  # the seat's deepest point, where rod or foot are touched
        if bottom < _LEAST_BODY:
            raise InputError(
                f"grind.{one.grind}.rim_distance_mm",
                f"rim to {one.pivot} is {one.rim_mm:.2f} mm, and the two seats need at least"
                f" {radius + _LEAST_BODY:.2f} mm",
                "a longer projection or a larger nose angle moves it away from the wheel; else use a ruler"
                + (", or give a thinner foot with `foot`" if one.seated != one.pivot else ""),
            )
        fit = setup.printing.fit_mm
        seat = radius + fit
        grind = "" if len(setup.gouge.recipe.grinds) == 1 else "1ST GRIND" if one.grind == 0 else "RELIEF"
        parts = [
            f"RIM TO {one.pivot.upper()} {mm(one.rim_mm)}",
            wheel_words(one.wheel_mm),
            f"{one.seated.upper()}\u00a0Ø{plain(one.pin_mm)}",
            *([grind] if grind else []),
        ]
        end = bottom + _DEEP * seat
        least = max(_WIDE, 2 * (seat + _SHOULDER))
        lines, turned, wide = _fitted(setup, parts, bottom, least)
        curve = 0.0 if one.wheel_mm is None else 2 / one.wheel_mm
        if curve * wide / 2 > 0.8:
            raise InputError(
                "wheel.diameter_mm",
                f"a wheel of {one.wheel_mm:g} mm is too small to carry a spacer {wide:.0f} mm wide",
                "ask for smaller text, or set the distance with a ruler",
            )
        sag = 0.0 if curve == 0 else (1 - sqrt(1 - (curve * wide / 2) ** 2)) / curve
        what = f"the rim spacer for {one.rim_mm:.1f} mm"
        setup.on_bed(end + sag, wide, what, "use a larger bed, or set it with a ruler")
        narrow = max(2 * (seat + _SHOULDER), 0.0 if turned else setup.room(lines)[1])
        shape = _body(end, wide, narrow if not turned else wide, sag, bottom)
        if curve:
            shape = shape.difference(disc(-1 / curve, 0.0, 1 / curve))
        shape = rounded(shape.difference(disc(bottom + seat, 0.0, seat)), 0.8)
        return Gauge(
            kind=self.name,
            name=f"{plain(one.rim_mm, 1)}mm" + ("" if one.wheel_mm is None else f"-wheel{plain(one.wheel_mm, 1)}"),
            outline=shape,
            thickness=_THICK,
            lettering=(setup.text(lines, (bottom / 2 + 0.3, 0.0), _THICK, turned=turned),),
            says=tuple(lines),
            dimensions={
                "rim_distance_mm": one.rim_mm,
                "body_mm": bottom,
                "seat_diameter_mm": 2 * seat,
                **({} if one.wheel_mm is None else {"wheel_diameter_mm": one.wheel_mm}),
            },
            use="Wheel standing still: lay the wide end on the wheel's rim, square across its face, and bring the"
            f" {one.seated} into the other seat: the {one.pivot}'s centre is then {one.rim_mm:.2f} mm from the rim.",
            notes=(f"The seat is for the {_ended(one)} of {mm(one.pin_mm)} diameter.",),
            spans=(Span("body_mm", 0.5 * _THICK, (-sag - 1.0, 0.0), (end + 1.0, 0.0), bottom),),
        )


def _ended(one: ToSet) -> str:
    return one.seated if one.seated == one.pivot else f"end of a {one.seated}"


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


def _body(end: float, wide: float, narrow: float, sag: float, bottom: float) -> Any:
    """The bar between the seats: wide on the wheel, drawn in behind, from x = -sag to `end`."""
    from shapely.geometry import Polygon, box

    from gougeform.gauges.gauge import rounded

    if narrow > wide - 4:
        return rounded(box(-sag, -wide / 2, end, wide / 2), 3.0)
    step = (wide - narrow) / 2
    foot = min(8.0, bottom / 3)
    upper = [(-sag, wide / 2), (foot, wide / 2), (min(foot + 2.0 * step, bottom), narrow / 2), (end, narrow / 2)]
    return rounded(Polygon(upper + [(x, -y) for x, y in reversed(upper)]), 3.0, 6.0)
