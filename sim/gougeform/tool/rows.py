"""The measures of one tool as blocks: settings, the edge from nose to lip, sizes, and how exact it all is."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from gougeform.grind.gouge import Gouge
from gougeform.machine.jig import Jig
from gougeform.machine.standing import SAID_MM
from gougeform.measure.edge import WING_PER_CENT, Edge
from gougeform.measure.measured import TABLES
from gougeform.measure.measures import EdgePlace, Measures
from gougeform.measure.quantities import COLUMNS, QUANTITIES
from gougeform.measure.quantities.kinks import all_kinks
from gougeform.measure.quantities.standing import all_standings
from gougeform.present.answer import Block, Cell, Number, across
from gougeform.quantity import DEG, MM, NOTHING, shown
from gougeform.recipe.resolving import ResolvedGrind

Floats = NDArray[np.float64]

PLACE = "place (% along wing)"
"""Head of the places along the edge: per cent of a wing's length along the edge, not along the bar."""
BEHIND = "behind nose"

_EDGE_WORDS = (
    "Per cent of the wing along the edge, which bends; behind nose: the same place measured along the bar (z_mm of"
    " edge.csv is that, negative). All else in the plane square to the edge. Bevel: straight from edge to heel."
    " Hollow: of the bevel next to the edge, below zero where it bulges out."
    f" {NOTHING} where that plane meets no heel or relief."
)
_STEP_SAID_MM = 5e-3  # a smaller step is felt by no finger
_SAME = 0.005  # wings that differ less than the digits shown share their columns


def settings_block(gouge: Gouge, title: str = "Settings") -> Block:
    """How to set jig and machine, one column a grind. A row is left out where it has no meaning."""
    grinds = gouge.recipe.grinds
    pivot = " or ".join(dict.fromkeys(grind.jig.pivot_noun for grind in grinds if grind.jig.pivot_noun))
    thick = any(_thick(grind) for grind in grinds)
    labels: dict[str, str | tuple[str, int]] = {
        "jig": "jig",
        "wheel": "wheel",
        "nose_angle_deg": "set for a nose angle of",
        "projection_mm": "projection, nose to clamp face",
        "held_mm": "nose to where fingers hold the bar",
        **{name: label for grind in grinds for name, label in _own(grind.jig).items()},
        "centre_distance_mm": f"wheel's centre to {pivot}",
        "rim_distance_mm": f"wheel's rim to {pivot}{' centre' if thick else ''}",
        "surface_mm": f"wheel's rim to {pivot}'s surface",
        "moved": "from the first grind's place",
        "height_mm": f"{pivot} above wheel's centre",
        "contact_deg": ("contact above the horizontal", 1),
        "land_mm": "land to leave at the nose",
    }
    head = ("", *(grind_name(number, len(grinds)) for number in range(len(grinds))))
    return across(title, [_settings(gouge, number) for number in range(len(grinds))], labels, head)


def _settings(gouge: Gouge, number: int) -> dict[str, float | str | None]:
    grind, setting, one = gouge.recipe.grinds[number], gouge.settings[number], gouge.ground.passes[number]
    jig, built, first = grind.jig, gouge.jigs[number], gouge.settings[0].rim_distance
    rim = setting.rim_distance
    moved = None
    if number and first is not None:
        moved = NOTHING if rim is None else f"{abs(rim - first):.2f} mm {'nearer' if rim < first else 'farther'}"
    return {
        "jig": jig.noun.removeprefix("a "),
        "wheel": "belt" if grind.wheel.diameter_mm is None else f"{grind.wheel.diameter_mm:g} mm",
        "nose_angle_deg": float(np.degrees(built.nose(one.wheel.curvature))),
        "projection_mm" if jig.clamps else "held_mm": jig.projection_mm,
        **{name: getattr(jig, name) for name in _own(jig)},
        "centre_distance_mm": setting.centre_distance,
        "rim_distance_mm": rim,
        "surface_mm": None if rim is None or not _thick(grind) else rim - _thick(grind),
        "moved": moved,
        "height_mm": jig.level_mm,
        "contact_deg": None if setting.contact is None else float(np.degrees(setting.contact)),
        "land_mm": grind.land_mm,
    }


def _own(jig: Jig) -> dict[str, str]:
    """What of a jig is set anew for each tool beside projection and distance, with its words, by field."""
    return {
        name: f"{q.label} ({q.setting.replace('_', ' ')})"
        for name, q in jig.quantities().items()
        if q.by_hand and q.setting not in ("projection", "distance", jig.dial)
    }


def _thick(grind: ResolvedGrind) -> float:
    """How far what the jig turns about reaches toward the wheel from its middle, mm."""
    return grind.jig.pivot_thick_mm


def edge_block(measures: Measures) -> Block:
    """Wedge angle, bevel, hollow, land and place along the bar, at the nose and along the wings.

    Both wings have their own rows where they differ by more than the digits shown.
    """
    edge = measures.edge
    columns: list[tuple[str, Floats, str]] = [
        ("edge angle", edge.wedge, "nose_angle_deg"),
        ("bevel", edge.bevel, "bevel_length_mm"),
        ("hollow", edge.hollow, "hollow_depth_mm"),
        *([] if measures.land is None else [("land", edge.land, "land_mm")]),
        (BEHIND, edge.point[2, edge.nose] - edge.point[2], "wing_behind_nose_mm.50"),
    ]
    wings: dict[int, list[Sequence[float]]] = {
        side: [[*measures.wing_angle(side).values()], *(along(edge, values, side) for _, values, _ in columns[1:])]
        for side in (-1, 1)
    }
    left, right = (np.array(along(edge, edge.wedge, side)) for side in (-1, 1))
    apart = np.nanmax(np.abs(right - left)) > _SAME

    def row(name: str, values: Sequence[float]) -> list[Cell]:
        digits = {key: COLUMNS[key].of.after_point for *_, key in columns}
        return [name, *(Number(float(v), key, digits[key]) for v, (*_, key) in zip(values, columns, strict=True))]

    rows = [row("nose", [values[edge.nose] for _, values, _ in columns])]
    for i, per_cent in enumerate(WING_PER_CENT):
        for side, word in ((-1, " left"), (1, " right")) if apart else ((1, ""),):
            rows.append(row(f"{per_cent} %{word}", [values[i] for values in wings[side]]))
    return Block("Along the edge", rows, (PLACE, *(name for name, *_ in columns)), below=_EDGE_WORDS)


def along(edge: Edge, values: Floats, side: int) -> list[float]:
    """Values (n,) of the stations at WING_PER_CENT of one wing's arc length; NaN next to stations that have none."""
    far = edge.from_nose(side)
    at = far[-1] * np.array(WING_PER_CENT) / 100
    return [float(value) for value in np.interp(at, far, values[edge.wing(side)])]


def protractor_block(measures: Measures) -> Block:
    """The wing angle as three ways to hold a protractor read it; the first is the one everything else here means."""
    keys = ("wing_angle_deg", "wing_along_marks_deg", "wing_through_axis_deg")
    rows: list[Sequence[Cell]] = [
        (f"{place} %", *(Number(COLUMNS[f"{key}.{place}"].value(measures), key, 1) for key in keys))
        for place in map(str, WING_PER_CENT)
    ]
    head = (PLACE, "square to the edge", "along the grind marks", "through the bar's axis")
    return Block("Wing angle, as a protractor is held", rows, head)


def extremes(measures: Measures) -> str:
    """Where the edge is sharpest and where bluntest, in words: five places of a table may miss both."""
    return f"{_extreme('Sharpest:', measures.sharpest)}\n{_extreme('Bluntest:', measures.bluntest)}"


def _extreme(word: str, place: EdgePlace) -> str:
    if place.along == 0:
        return f"{word} {shown(place.angle, DEG)} at the nose."
    side = {-1: "left ", 0: "", 1: "right "}[place.side]
    lip = f"at the {side}lip, " if place.lip else ""
    wing = f" on the {side}wing" if place.side and not place.lip else ""
    return (
        f"{word} {shown(place.angle, DEG)} {lip}{place.along:.1f} mm from the nose along the edge"
        f" ({place.behind:.1f} mm behind it){wing}."
    )


def size_block(measures: Measures) -> Block:
    """Every quantity that no other table tells: lengths, widths behind the nose, what the grind costs in steel."""
    rows = (one.row(measures) for one in QUANTITIES if one.told == TABLES)
    return Block("Lengths and steel", [row for row in rows if row is not None], ("", ""))


def near_misses(measures: Measures) -> list[str]:
    """What stands nearer to the wheel than a person would trust, a sentence each."""
    return [
        f"Only {shown(one.gap.mm, MM, 1)} between {one.words}: check it by hand before the wheel runs."
        for one in all_standings(measures)
        if one.gap.mm < SAID_MM
    ]


def kinked(measures: Measures) -> list[str]:
    """Where the edge has a kink or a step, a sentence each: there a hone catches, and angles nearby are less sure."""
    found = []
    for one in all_kinks(measures):
        wing = {-1: "on the left wing, ", 0: "at the nose, ", 1: "on the right wing, "}[one.side]
        before, after = (shown(angle, DEG, 1) for angle in one.wedge)
        step = f" and steps by {shown(one.step, MM, 3)}" if one.step >= _STEP_SAID_MM else ""
        found.append(
            f"The edge has a kink {wing}{shown(one.along, MM, 1)} from the nose along the edge: it turns by"
            f" {shown(one.turn, DEG, 1)}{step}, and its angle goes from {before} to {after} there. An angle read right"
            f" beside it may be off by {shown(one.angle_error, DEG, 1)}."
        )
    return found


def exactness(measures: Measures, mesh_mm: float | None = None) -> str:
    """One sentence: how far the numbers may be off, rounded up to two digits; mesh_mm: and the mesh off the surface."""
    off = measures.stated_error
    words = (
        f"Exact to {_up(off['angles_deg'])}° and {_up(off['lengths_mm'])} mm, steel removed to"
        f" {_up(off['steel_removed_mm3'])} mm³"
    )
    mesh = "" if mesh_mm is None else f"; mesh within {_up(mesh_mm)} mm"
    bar = "" if "outline_mm" not in off else f"; the bar between its readings to {_up(off['outline_mm'])} mm"
    return f"{words}{mesh}{bar}. That is the arithmetic: no jig is set so exactly."


def _up(value: float) -> str:
    """A positive number rounded up to two significant digits, with no exponent."""
    digits = 1 - math.floor(math.log10(value))
    text = f"{math.ceil(round(value * 10**digits, 6)) / 10**digits:.{max(digits, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def grind_name(number: int, count: int) -> str:
    """What a person calls one of some grinds.

    >>> grind_name(0, 1), grind_name(0, 2), grind_name(2, 3)
    ('grind', 'first grind', 'relief 2')
    """
    if number == 0:
        return "grind" if count == 1 else "first grind"
    return "relief" if count == 2 else f"relief {number}"
