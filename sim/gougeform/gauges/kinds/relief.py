"""Relief block: as wide as pocket or rod move from the first setting to the second.

Between a fixed stop and the slide that carries pocket or rod it takes the place of measuring twice. Straight toward
the wheel's axis that is the difference of the rim distances; on a level slide it is the difference of the level parts
of the centre distances, at the height that both settings share.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from math import sqrt
from typing import TYPE_CHECKING, Annotated, Any, Literal

from gougeform.errors import InputError
from gougeform.gauges.kind import GaugeKind
from gougeform.quantity import Words

if TYPE_CHECKING:
    from gougeform.gauges.gauge import Gauge
    from gougeform.gauges.setup import Setup

_THICK = 8.0
_BLADE = 30.0  # mm: length of the two faces
_MARKED = 8.0  # mm of a block beside its text for the arrows that point to the two faces it measures with
_LEAST_MARKED = 7.0  # mm between these for the arrows to have room


@dataclass(frozen=True)
class ReliefBlock(GaugeKind):
    """A block for each relief of the recipe."""

    name = "relief"
    title = "Relief block"
    does = "how far pocket or rod move from the first to the second setting"
    rank = 60
    parts = r"(-\d+)?"
    slide: Annotated[Literal["radial", "level"], Words("slide", "how pocket or rod move for a relief")] = "radial"

    def gauges(self, setup: Setup) -> Sequence[Callable[[], Gauge]]:
        """As `GaugeKind` says. Raises InputError where there is no second setting, or no block leads to it."""
        count = len(setup.gouge.recipe.grinds)
        if count < 2:
            raise InputError(
                "grind",
                "the recipe has one grind, so there is no second setting",
                "add a [[grind]] with land_mm for a relief",
            )
        return [partial(self._gauge, setup, number) for number in range(1, count)]

    def offset(self, setup: Setup, number: int) -> float:
        """How far (mm) pocket or rod move toward the wheel from the first setting to a later one; negative: away.

        Raises InputError where the two settings differ in more than the place.
        """
        first, later = setup.gouge.recipe.grinds[0], setup.gouge.recipe.grinds[number]
        a, b = setup.gouge.settings[0], setup.gouge.settings[number]
        where = f"grind.{number}"
        if a.rim_distance is None or b.rim_distance is None:
            problem = f"{first.jig.noun} is tilted, not moved, for a relief"
            raise InputError("jig.kind", problem, "use the angle gauge to tilt it")
        if later.wheel.diameter_mm != first.wheel.diameter_mm or type(later.jig) is not type(first.jig):
            raise InputError(
                where,
                "the relief has a wheel or jig of its own, so no block leads from one setting to the other",
                "use a rim spacer for each",
            )
        if self.slide == "radial" or a.centre_distance is None or b.centre_distance is None:
            return a.rim_distance - b.rim_distance
        high = _height(setup, 0)
        if high != _height(setup, number):
            raise InputError(
                f"{where}.height_mm",
                "the two settings differ in height, so no level slide leads from one to the other",
                "give both the same height_mm, or use `slide` radial",
            )
        return sqrt(a.centre_distance**2 - high**2) - sqrt(b.centre_distance**2 - high**2)

    def _gauge(self, setup: Setup, number: int) -> Gauge:
        from shapely.geometry import box
        from shapely.ops import unary_union

        from gougeform.gauges.gauge import LEAST_WALL_MM, Gauge, Lettering, Span, mm, rounded
        from gougeform.gauges.setup import wheel_words

        by = self.offset(setup, number)
        width, radial = abs(by), self.slide == "radial"
        grind, several = setup.gouge.recipe.grinds[number], len(setup.gouge.recipe.grinds) > 2
        pivot = grind.jig.pivot_noun
        if width < LEAST_WALL_MM:
            raise InputError(
                f"grind.{number}",
                f"first and second setting are {width:.2f} mm apart, and a block needs {LEAST_WALL_MM:g} mm or more",
                "set it with feeler gauges or rim spacers; if only the projection differs, use the projection stop",
            )
        parts = [
            f"RELIEF {number} BLOCK" if several else "RELIEF BLOCK",
            f"{pivot.upper()} {mm(width)}",
            "TOWARD WHEEL" if by > 0 else "AWAY FROM WHEEL",
            *([] if radial else ["ON A LEVEL SLIDE"]),
            wheel_words(grind.wheel.diameter_mm),
        ]
        lines = setup.wrapped(parts, 52.0)
        text_wide, text_high = setup.room(lines, 2.5)
        if text_high <= width:  # the text lies on the block itself
            length = max(_BLADE, text_wide)
            length, x = length + _MARKED, length + _MARKED / 2
            shape, middle = rounded(box(0, 0, length, width), 1.0), ((length - _MARKED) / 2, width / 2)
        else:  # a blade between the stops, and a flag to hold with the text on it, clear of them on both sides
            length = _BLADE + text_wide
            flag_high = max(text_high, width + 6.0)
            flag = rounded(box(_BLADE, (width - flag_high) / 2, length, (width + flag_high) / 2), 3.0)
            blade = box(0, 0, _BLADE + 3.5, width)
            blade = rounded(blade, 1.0) if width > 2.5 else blade
            shape, middle, x = unary_union([blade, flag]), (_BLADE + text_wide / 2, width / 2), _BLADE / 2
        marks = _arrows(x, width) if width >= _LEAST_MARKED else []
        left, low, right, high = shape.bounds
        setup.on_bed(right - left, high - low, "the relief block", "use a larger bed")
        towards = "toward the wheel" if by > 0 else "away from the wheel"
        how = "straight to its axis" if radial else "on a level slide"
        note = (
            f"This is for a {pivot} that moves straight toward the wheel's axis; on a slide that stays level ask for"
            " `slide` level."
            if radial
            else f"This is for a slide that stays level at {_height(setup, number):g} mm from the height of the"
            " wheel's axis."
        )
        return Gauge(
            kind=self.name,
            name=str(number) if several else "",
            outline=shape,
            thickness=_THICK,
            lettering=(setup.text(lines, middle, _THICK), *(Lettering(one, _THICK, mark=True) for one in marks)),
            says=tuple(lines),
            dimensions={"offset_mm": width},
            use=f"Grind the first bevel, put the block between a stop and the slide, on its two long faces (to which"
            f" its arrows point, where there is room for them), then move the {pivot}"
            f" {width:.2f} mm {towards}, {how}, to the relief's place.",
            notes=(note,),
            spans=(Span("offset_mm", 0.5 * _THICK, (x, -1.0), (x, width + 1.0), width),),
        )


def _arrows(x: float, width: float) -> list[Any]:
    """Two sunk arrows at x (mm) that point to the faces y = 0 and y = width."""
    from shapely.ops import unary_union

    from gougeform.gauges.setup import mark_line

    out = []
    for face, way in ((0.0, 1.0), (width, -1.0)):
        tip, end = face + 1.3 * way, face + (width / 2 - 0.8) * way
        head = [(x - 1.5, tip + 1.5 * way), (x, tip), (x + 1.5, tip + 1.5 * way)]
        out.append(unary_union([mark_line([(x, tip), (x, end)]), mark_line(head)]))
    return out


def _height(setup: Setup, number: int) -> float:
    """Of pocket or rod above the wheel's centre, mm."""
    return setup.gouge.recipe.grinds[number].jig.level_mm or 0.0
