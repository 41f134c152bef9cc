"""Angle gauge: notches that the nose goes into, the flute's floor on one side and the bevel on the other.

A hollow bevel touches a straight side at two places only: at its heel (or at the crease before a relief) and where the
side begins, beside the relief hole that keeps the edge free. On a circle of curvature k the chord to a point at
distance c from the edge stands at asin(k·c/2) to the tangent there, so the line through both places stands at
edge angle + asin(k·a/2) + asin(k·c/2), a and c being their distances from the edge. A label is the edge angle, or the
chord's (edge to heel), which is edge angle + asin(k·c/2); the notch under it is cut to that line either way.
"""

from __future__ import annotations

import numpy as np
from shapely.geometry import Polygon, box
from shapely.ops import unary_union

from gougeform.errors import InputError
from gougeform.gauges.gauge import Gauge, Lettering, disc, plain, rounded
from gougeform.gauges.setup import Setup

_THICK = 2.0  # thin, to lie in the flute
_HOLE = 1.0  # mm: radius of the hole that keeps the edge free
_TOOTH = 7.0  # mm between the mouths of two notches
_OVER = 2.0  # mm that a notch's side is longer than the bevel
_STEP, _BELOW, _ABOVE = 5.0, 12.0, 17.0  # degrees between notches, and how far about the recipe's own
_OWN_CAP = 1.25  # the recipe's own angle is written that much larger
_LIMITS = (15.0, 90.0)


def angle_gauge(setup: Setup) -> Gauge:
    """One gauge with notches about the recipe's nose angle.

    Raises InputError for a land too short to read, or a gauge larger than the bed.
    """
    own = own_angle(setup)
    angles = _angles(setup, own)
    notch = [notch_angle(setup, angle) for angle in angles]
    over = [i for i, cut in enumerate(notch) if cut > np.radians(120)]
    if over:
        raise InputError("angle", f"given {angles[over[0]]:g}: too blunt for a notch", "ask for angles below 110")
    depth = max(bevel_chord(setup, angle) for angle in angles) + _OVER + _HOLE
    half = [depth * np.tan(cut / 2) for cut in notch]
    cap = setup.printing.text_mm
    labels = [f"{plain(angle, 1)}°" for angle in angles]
    k = int(np.argmin(np.abs(np.array(angles) - own)))
    # Neighbours are as far apart as mouths or labels need.
    middle = [half[0] + _TOOTH]
    for i in range(1, len(angles)):
        middle.append(middle[-1] + max(half[i - 1] + half[i] + _TOOTH, setup.room([labels[i]], 1.5, _OWN_CAP * cap)[0]))
    wide = middle[-1] + half[-1] + _TOOTH
    words = [_words(setup), setup.wheel_words + " " + ("HOLLOW ALLOWED FOR" if _hollow(setup) else "")]
    lines = setup.wrapped([w.strip() for w in words], wide - 6.0)
    wide_text = setup.room(lines, 3.0)[0]
    left = min(0.0, (wide - wide_text) / 2)
    label_y = -_HOLE - 2.2 - _OWN_CAP * cap / 2
    text_y = label_y - _OWN_CAP * cap / 2 - 2.6 - setup.room(lines, 0.0)[1] / 2
    low = text_y - setup.room(lines, 0.0)[1] / 2 - 2.4
    setup.on_bed(
        wide - 2 * left, depth - low, "the angle gauge", "ask for fewer angles with `angle`, or use a larger bed"
    )
    plate = box(left, low, wide - left, depth)
    # Round what the fingers hold, then cut: the sides of a notch stay straight up to its mouth's small rounding.
    shape = rounded(plate, 3.0)
    cuts = []
    for x, cut in zip(middle, notch, strict=True):
        t = np.tan(cut / 2)
        reach = depth + 2.0
        cuts += [Polygon([(x, 0.0), (x + reach * t, reach), (x - reach * t, reach)]), disc(x, 0.0, _HOLE)]
    shape = rounded(shape.difference(unary_union(cuts)), 0.8)
    letters = []
    for i, (x, label) in enumerate(zip(middle, labels, strict=True)):
        letters.append(setup.text([label], (x, label_y), _THICK, cap=cap * (_OWN_CAP if i == k else 1.0)))
    w = setup.room([labels[k]], 1.2, _OWN_CAP * cap)[0] / 2
    h = _OWN_CAP * cap / 2 + 1.3
    frame = box(middle[k] - w, label_y - h, middle[k] + w, label_y + h)
    letters.append(Lettering(frame.difference(frame.buffer(-0.8, join_style="mitre")), _THICK, mark=True))
    letters.append(setup.text(lines, (wide / 2, text_y), _THICK))
    reads = setup.wishes.reads
    sizes = {f"notch_{plain(angle, 1)}_deg": float(np.degrees(cut)) for angle, cut in zip(angles, notch, strict=True)}
    return Gauge(
        kind="angle",
        name="",
        outline=shape,
        thickness=_THICK,
        lettering=tuple(letters),
        says=(*labels, *lines),
        dimensions=sizes,
        use="Lay the gauge in the flute, on its middle line, and push the nose into a notch: the angle is right"
        " where no light shows at heel and edge. The hole keeps the edge free.",
        notes=(
            f"It reads the angle at the {'edge' if reads == 'edge' else 'bevel chord'}"
            + (
                f": the notch for {plain(own, 1)}° is cut to {np.degrees(notch[k]):.2f}°, because a hollow bevel"
                " touches it at the heel."
                if reads == "edge" and _hollow(setup)
                else "."
            ),
        ),
    )


def own_angle(setup: Setup) -> float:
    """The recipe's own angle in degrees, as the gauge is labelled: at the edge, or the chord's."""
    edge = float(setup.edge.wedge[setup.edge.nose])
    if setup.wishes.reads == "edge":
        return edge
    return edge + float(np.degrees(np.arcsin(_curvature(setup) * _touching_chord(setup, edge) / 2)))


def bevel_chord(setup: Setup, label_deg: float) -> float:
    """How far from the edge (mm) the bevel touches a straight side: its land where there is a relief, else the heel."""
    return _touching_chord(setup, label_deg, chord_given=setup.wishes.reads == "chord")


def _touching_chord(setup: Setup, angle_deg: float, chord_given: bool = False) -> float:
    edge, section = setup.edge, setup.gouge.section
    land = float(edge.land[edge.nose])
    if np.isfinite(land):
        return land
    # Nose to underside along the chord: c = web / sin(chord angle), chord angle = edge angle + asin(k c / 2).
    web = section.y_floor - section.outline.on_middle_plane(below=True)
    given = chord = np.radians(angle_deg)
    for _ in range(0 if chord_given else 100):
        chord = given + np.arcsin(min(_curvature(setup) * web / np.sin(chord) / 2, 0.9))
    return float(web / np.sin(chord))


def side_start(setup: Setup, cut: float) -> float:
    """How far from the edge (mm) a notch's side begins: the hole, less what the thickness lifts it in the flute."""
    lift = float(setup.gouge.section.flute.height(np.array([_THICK / 2]))[0][0])
    return max(_HOLE - lift / np.sin(cut), 0.0)


def notch_angle(setup: Setup, label_deg: float) -> float:
    """The notch (rad) under a label.

    Raises InputError where the land is shorter than what the hole leaves to touch.
    """
    k, c = _curvature(setup), bevel_chord(setup, label_deg)
    if c < _HOLE + 0.5:
        raise InputError(
            "grind.land_mm",
            f"a land of {c:.2f} mm is too short to be read in a notch",
            f"leave a land of {_HOLE + 0.5:g} mm or more, or read the bevel before the relief is ground",
        )
    chord = np.radians(label_deg) + (np.arcsin(k * c / 2) if setup.wishes.reads == "edge" else 0.0)
    cut = chord
    for _ in range(20):
        cut = chord + np.arcsin(k * side_start(setup, cut) / 2)
    return float(cut)


def _curvature(setup: Setup) -> float:
    return float(setup.gouge.ground.passes[0].wheel.curvature)


def _hollow(setup: Setup) -> bool:
    return _curvature(setup) > 0 and setup.wishes.reads == "edge"


def _words(setup: Setup) -> str:
    return "NOSE ANGLE AT THE EDGE" if setup.wishes.reads == "edge" else "NOSE ANGLE, BEVEL CHORD"


def _angles(setup: Setup, own: float) -> list[float]:
    if setup.wishes.angle_deg:
        others = list(setup.wishes.angle_deg)
    else:
        steps = np.arange(np.ceil((own - _BELOW) / _STEP), np.floor((own + _ABOVE) / _STEP) + 1) * _STEP
        others = [float(a) for a in steps if _LIMITS[0] <= a <= _LIMITS[1]]
    return sorted([own, *(a for a in dict.fromkeys(others) if abs(a - own) >= 1.0)])
