"""Wheel gauge: arcs of several diameters along two sides of a plate, to read how far a wheel is worn.

Arcs are long enough that neighbours differ by 0.2 mm in the middle when both ends touch: that much light is seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import ceil, sqrt
from typing import TYPE_CHECKING, Annotated

from gougeform.errors import InputError
from gougeform.gauges.kind import WHEELS, GaugeKind

if TYPE_CHECKING:
    from gougeform.gauges.gauge import Gauge
    from gougeform.gauges.setup import Setup

_THICK = 3.0
_SEEN = 0.2  # mm of light in the middle of an arc that is one size off
_LEAST_CHORD = 24.0
_TOOTH = 8.0  # mm of plate between two arcs
_COUNT, _FEWEST = 6, 2  # diameters that are taken where nobody asks for some: at most, at least


@dataclass(frozen=True)
class WheelGauge(GaugeKind):
    """Arcs of the wheel's diameter, new and worn, as many as the bed has room for, or of those asked for."""

    name = "wheel"
    title = "Wheel gauge"
    does = "arcs of several diameters, to read how far a wheel is worn"
    rank = 50
    wheel_mm: Annotated[tuple[float, ...], WHEELS] = ()

    def spoken(self, dimension: str) -> str:
        """As `GaugeKind` says."""
        return f"arc for {dimension.split('_')[1]} mm" if dimension != "chord_mm" else "chord"

    def gauge(self, setup: Setup) -> Gauge:
        """As `GaugeKind` says: one gauge. Raises InputError for a belt, one diameter, or arcs beyond the bed."""
        from gougeform.gauges.setup import unique

        new = setup.gouge.recipe.grinds[0].wheel.diameter_mm
        if self.wheel_mm:
            return self._gauge(setup, sorted(unique(list(self.wheel_mm), 0.5), reverse=True))
        if new is None:
            raise InputError("wheel.kind", "a belt has no diameter to read", "leave the wheel gauge out")
        for count in range(_COUNT, _FEWEST, -2):
            try:
                return self._gauge(setup, worn_diameters(new, count))
            except InputError as error:
                if error.field != "bed":
                    raise
        return self._gauge(setup, worn_diameters(new, _FEWEST))

    def _gauge(self, setup: Setup, sizes: list[float]) -> Gauge:
        from shapely.geometry import box
        from shapely.ops import unary_union

        from gougeform.gauges.gauge import Gauge, Span, disc, plain, rounded

        if len(sizes) < 2:
            raise InputError("wheel", "given one diameter, a wheel gauge needs two or more", "add another diameter")
        chord = max([_LEAST_CHORD] + [_readable(a, b) for a, b in pairwise(sizes)])
        if chord > 0.9 * sizes[-1]:
            raise InputError(
                "wheel",
                f"{sizes[-1]:g} mm lies too near its neighbour to be told apart on so small a wheel",
                "ask for larger steps",
            )
        pitch = chord + _TOOTH
        columns = (len(sizes) + 1) // 2
        wide = columns * pitch + 2.0
        cap = setup.printing.text_mm
        lines = setup.wrapped(["READ A WORN WHEEL", f"NEW: WHEEL\u00a0Ø{plain(sizes[0], 1)}"], wide - 8.0)
        band = max(_sagitta(d, chord) for d in sizes) + 1.8 + cap + 1.8
        high = 2 * band + setup.room(lines)[1]
        wide = max(wide, setup.room(lines, 4.0)[0])
        setup.on_bed(
            wide,
            high,
            f"a wheel gauge for {', '.join(plain(d, 1) for d in sizes)} mm with arcs of {chord:.0f} mm",
            "the wheel is too large for this bed: use a larger bed, or ask for fewer diameters further apart with"
            " `wheel`",
        )
        cuts, letters, spans = [], [], []
        for k, diameter in enumerate(sizes):
            upper, column = k < columns, k % columns
            x = (wide - columns * pitch) / 2 + (column + 0.5) * pitch
            r, s = diameter / 2, _sagitta(diameter, chord)
            y = high - s + r if upper else s - r
            cuts.append(disc(x, y, r).intersection(box(x - chord / 2 - 0.01, -9, x + chord / 2 + 0.01, high + 9)))
            text_y = high - s - 1.8 - cap / 2 if upper else s + 1.8 + cap / 2
            letters.append(setup.text([f"Ø{plain(diameter, 1)}"], (x, text_y), _THICK))
            end = high + 1.0 if upper else -1.0
            length = high / 2 - s
            spans.append(Span(f"diameter_{plain(diameter, 1)}_mm", 0.5 * _THICK, (x, high / 2), (x, end), length))
        letters.append(setup.text(lines, (wide / 2, high / 2), _THICK))
        return Gauge(
            kind=self.name,
            name="",
            outline=rounded(rounded(box(0, 0, wide, high), 3.0).difference(unary_union(cuts)), 0.6),
            thickness=_THICK,
            lettering=tuple(letters),
            says=(*(f"Ø{plain(d, 1)}" for d in sizes), *lines),
            dimensions={f"diameter_{plain(d, 1)}_mm": d for d in sizes} | {"chord_mm": chord},
            use="Wheel standing still and unplugged: try the arcs on its rim. Light in the middle: the wheel is smaller"
            " than the arc's size. Light at the ends: it is larger.",
            spans=tuple(spans),
        )


def worn_diameters(new: float, count: int) -> list[float]:
    """Diameters of a wheel from new to worn, in steps of 10 mm (5 mm below 140 mm, 20 mm from 300 mm on)."""
    step = 5.0 if new < 140 else 10.0 if new < 300 else 20.0
    first = new - (ceil((new * (1 - 1e-12)) / step) - 1) * step  # what is left over a whole number of steps
    lower = new - (first if first < step else step)
    return [d for d in [new, *(lower - step * i for i in range(count - 1))] if d > 0.4 * new]


def _readable(larger: float, smaller: float) -> float:
    """The chord (mm) on which two diameters differ by _SEEN in the middle: sagittas s = c² / 4D, nearly."""
    return 2 * sqrt(_SEEN / (1 / smaller - 1 / larger))


def _sagitta(diameter: float, chord: float) -> float:
    """Machinery's handbook: h = r - √(r² - c²/4)."""
    return diameter / 2 - sqrt(diameter**2 / 4 - chord**2 / 4)
