"""Angle gauge: notches that the nose goes into, the flute's floor on one side and the bevel on the other.

A hollow bevel touches a straight side at two places only: at its heel (or at the crease before a relief) and where the
side begins, beside the relief hole that keeps the edge free. On a circle of curvature k the chord to a point at
distance c from the edge stands at asin(k·c/2) to the tangent there, so the line through both places stands at
edge angle + asin(k·a/2) + asin(k·c/2), a and c being their distances from the edge. A label is the edge angle, or the
chord's (edge to heel), which is edge angle + asin(k·c/2); the notch under it is cut to that line either way.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import asin, ceil, degrees, floor, isfinite, radians, sin, tan
from typing import TYPE_CHECKING, Annotated, Literal

from gougeform.errors import InputError
from gougeform.gauges.kind import GaugeKind
from gougeform.quantity import Quantity, Words

if TYPE_CHECKING:
    from gougeform.gauges.gauge import Gauge
    from gougeform.gauges.setup import Setup

_THICK = 2.0  # thin, to lie in the flute
_HOLE = 1.0  # mm: radius of the hole that keeps the edge free
_TOOTH = 7.0  # mm between the mouths of two notches
_OVER = 2.0  # mm that a notch's side is longer than the bevel
_STEP, _BELOW, _ABOVE = 5.0, 12.0, 17.0  # degrees between notches, and how far about the recipe's own
_OWN_CAP = 1.25  # the recipe's own angle is written that much larger
_LIMITS = (15.0, 90.0)
_BLUNTEST = 120.0


@dataclass(frozen=True)
class AngleGauge(GaugeKind):
    """Notches about the recipe's nose angle, its own framed."""

    name = "angle"
    title = "Angle gauge"
    does = "notches for nose angles, the recipe's own framed"
    rank = 30
    angle_deg: Annotated[tuple[float, ...], Quantity("angle", "notch of the angle gauge", ge=10, le=120)] = ()
    reads: Annotated[Literal["edge", "chord"], Words("reads", "what notches are labelled with")] = "edge"

    def spoken(self, dimension: str) -> str:
        """As `GaugeKind` says."""
        return f"notch for {dimension.split('_')[1]}° cut to"

    def gauge(self, setup: Setup) -> Gauge:
        """As `GaugeKind` says: one gauge. Raises InputError for a land too short to read, or a gauge beyond the bed."""
        from shapely.geometry import Polygon, box
        from shapely.ops import unary_union

        from gougeform.gauges.gauge import Gauge, Lettering, Span, disc, plain, rounded

        own = self._own(setup)
        angles = self._angles(own)
        notch = [self._notch(setup, angle) for angle in angles]
        over = [angle for angle, cut in zip(angles, notch, strict=True) if cut > radians(_BLUNTEST)]
        if over:
            raise InputError("angle", f"given {over[0]:g}: too blunt for a notch", "ask for angles below 110")
        depth = max(self._chord(setup, angle) for angle in angles) + _OVER + _HOLE
        half = [depth * tan(cut / 2) for cut in notch]
        cap = setup.printing.text_mm
        labels = [f"{plain(angle, 1)}°" for angle in angles]
        k = min(range(len(angles)), key=lambda i: abs(angles[i] - own))
        # Neighbours are as far apart as mouths or labels need.
        middle = [half[0] + _TOOTH]
        for i in range(1, len(angles)):
            room = setup.room([labels[i]], 1.5, _OWN_CAP * cap)[0]
            middle.append(middle[-1] + max(half[i - 1] + half[i] + _TOOTH, room))
        wide = middle[-1] + half[-1] + _TOOTH
        what = "NOSE ANGLE AT THE EDGE" if self.reads == "edge" else "NOSE ANGLE, BEVEL CHORD"
        hollow = _curvature(setup) > 0 and self.reads == "edge"
        lines = setup.wrapped([what, setup.wheel_words + (" HOLLOW ALLOWED FOR" if hollow else "")], wide - 6.0)
        wide_text, text_high = setup.room(lines, 3.0)[0], setup.room(lines, 0.0)[1]
        left = min(0.0, (wide - wide_text) / 2)
        label_y = -_HOLE - 2.2 - _OWN_CAP * cap / 2
        text_y = label_y - _OWN_CAP * cap / 2 - 2.6 - text_high / 2
        low = text_y - text_high / 2 - 2.4
        hint = "ask for fewer angles with `angle`, or use a larger bed"
        setup.on_bed(wide - 2 * left, depth - low, "the angle gauge", hint)
        # Round what the fingers hold, then cut: the sides of a notch stay straight up to its mouth's small rounding.
        cuts = []
        for x, cut in zip(middle, notch, strict=True):
            t, reach = tan(cut / 2), depth + 2.0
            cuts += [Polygon([(x, 0.0), (x + reach * t, reach), (x - reach * t, reach)]), disc(x, 0.0, _HOLE)]
        shape = rounded(rounded(box(left, low, wide - left, depth), 3.0).difference(unary_union(cuts)), 0.8)
        letters = [
            setup.text([label], (x, label_y), _THICK, cap=cap * (_OWN_CAP if i == k else 1.0))
            for i, (x, label) in enumerate(zip(middle, labels, strict=True))
        ]
        w, h = setup.room([labels[k]], 1.2, _OWN_CAP * cap)[0] / 2, _OWN_CAP * cap / 2 + 1.3
        frame = box(middle[k] - w, label_y - h, middle[k] + w, label_y + h)
        letters.append(Lettering(frame.difference(frame.buffer(-0.8, join_style="mitre")), _THICK, mark=True))
        letters.append(setup.text(lines, (wide / 2, text_y), _THICK))
        sizes = {f"notch_{plain(angle, 1)}_deg": degrees(cut) for angle, cut in zip(angles, notch, strict=True)}
        far = 0.7 * depth
        note = f"It reads the angle at the {'edge' if self.reads == 'edge' else 'bevel chord'}"
        if hollow:
            note += f": the notch for {plain(own, 1)}° is cut to {degrees(notch[k]):.2f}°, because a hollow bevel"
            note += " touches it at the heel"
        return Gauge(
            kind=self.name,
            name="",
            outline=shape,
            thickness=_THICK,
            lettering=tuple(letters),
            says=(*labels, *lines),
            dimensions=sizes,
            use="Lay the gauge in the flute, on its middle line, and push the nose into a notch: the angle is right"
            " where no light shows at heel and edge. The hole keeps the edge free.",
            notes=(f"{note}.",),
            spans=tuple(
                Span(size, 0.6 * _THICK, (x - far * t - 1.0, far), (x + far * t + 1.0, far), 2 * far * t, gap=True)
                for size, x, t in zip(sizes, middle, [tan(cut / 2) for cut in notch], strict=True)
            ),
        )

    def _own(self, setup: Setup) -> float:
        """The recipe's own angle in degrees, as the gauge is labelled: at the edge, or the chord's."""
        edge = float(setup.edge.wedge[setup.edge.nose])
        if self.reads == "edge":
            return edge
        return edge + degrees(asin(_curvature(setup) * _touching_chord(setup, edge) / 2))

    def _angles(self, own: float) -> list[float]:
        others = list(self.angle_deg)
        if not others:
            steps = range(ceil((own - _BELOW) / _STEP), floor((own + _ABOVE) / _STEP) + 1)
            others = [a * _STEP for a in steps if _LIMITS[0] <= a * _STEP <= _LIMITS[1]]
        return sorted([own, *(a for a in dict.fromkeys(others) if abs(a - own) >= 1.0)])

    def _chord(self, setup: Setup, label_deg: float) -> float:
        """How far from the edge (mm) the bevel touches a straight side."""
        return _touching_chord(setup, label_deg, chord_given=self.reads == "chord")

    def _notch(self, setup: Setup, label_deg: float) -> float:
        """The notch (rad) under a label.

        Raises InputError where the land is shorter than what the hole leaves to touch.
        """
        k, c = _curvature(setup), self._chord(setup, label_deg)
        if c < _HOLE + 0.5:
            raise InputError(
                "grind.land_mm",
                f"a land of {c:.2f} mm is too short to be read in a notch",
                f"leave a land of {_HOLE + 0.5:g} mm or more, or read the bevel before the relief is ground",
            )
        chord = radians(label_deg) + (asin(k * c / 2) if self.reads == "edge" else 0.0)
        cut = chord
        for _ in range(20):
            cut = chord + asin(k * _side_start(setup, cut) / 2)
        return cut


def _touching_chord(setup: Setup, angle_deg: float, chord_given: bool = False) -> float:
    """How far from the edge (mm) the bevel touches a straight side: its land where there is a relief, else the heel."""
    edge, section = setup.edge, setup.gouge.section
    land = float(edge.land[edge.nose])
    if isfinite(land):
        return land
    # Nose to underside along the chord: c = web / sin(chord angle), chord angle = edge angle + asin(k c / 2).
    web = float(section.y_floor - section.outline.on_middle_plane(below=True))
    given = chord = radians(angle_deg)
    for _ in range(0 if chord_given else 100):
        chord = given + asin(min(_curvature(setup) * web / sin(chord) / 2, 0.9))
    return web / sin(chord)


def _side_start(setup: Setup, cut: float) -> float:
    """How far from the edge (mm) a notch's side begins: the hole, less what the thickness lifts it in the flute."""
    import numpy as np

    lift = float(setup.gouge.section.flute.height(np.array([_THICK / 2]))[0][0])
    return max(_HOLE - lift / sin(cut), 0.0)


def _curvature(setup: Setup) -> float:
    return float(setup.gouge.ground.passes[0].wheel.curvature)
