"""What stands on the card: settings in the order a person makes them, angles, wear table, tolerances, cautions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gougeform.gauges.kinds.wheel import worn_diameters
from gougeform.grind.gouge import Gouge
from gougeform.machine.rig import FootRig, RodRig, TableRig
from gougeform.measure.measures import Measures
from gougeform.present.cautions import cautions
from gougeform.quantity import NOTHING
from gougeform.recipe.model import Recipe
from gougeform.recipe.resolving import ResolvedGrind
from gougeform.tool.rows import edge_block

NOSE_TOLERANCE_DEG = 0.5
_WORN = 6


@dataclass(frozen=True)
class Step:
    """One thing to set: what, the value to read off, and a line of help."""

    what: str
    value: str
    help: str = ""


@dataclass(frozen=True)
class Card:
    """What stands on a card. wear: rows, heads first, none where nothing wears; wear_note: how to read it."""

    title: str
    tool: str
    steps: tuple[Step, ...]
    angles: tuple[tuple[str, ...], ...]
    wear: tuple[tuple[str, ...], ...]
    wear_note: str
    tolerance: str
    cautions: tuple[str, ...]


def content(measures: Measures) -> Card:
    """Gather the card's words and numbers."""
    recipe = measures.gouge.recipe
    wear, note = wear_table(measures.gouge)
    edge = edge_block(measures)
    return Card(
        title=recipe.title or recipe.name or "Gouge",
        tool=tool_words(recipe),
        steps=tuple(steps(measures)),
        angles=tuple(tuple(map(str, row)) for row in (edge.head, *edge.rows)),
        wear=tuple(wear),
        wear_note=note,
        tolerance=tolerance_line(measures.gouge),
        cautions=(*measures.notes, *cautions(recipe)),
    )


def tool_words(recipe: Recipe) -> str:
    """The steel in one line."""
    flute = recipe.flute
    web = "" if flute.web_mm is None else f", web {flute.web_mm:g} mm"
    return f"{recipe.bar.words}, {flute.words} flute{web}"


def steps(measures: Measures) -> list[Step]:
    """The settings in the order a person makes them."""
    gouge = measures.gouge
    first = gouge.recipe.grinds[0]
    made = [_wheel_step(first), *_jig_steps(first), *_place_steps(gouge, 0), _grind_step(measures)]
    for number in range(1, len(gouge.recipe.grinds)):
        made += _relief_steps(gouge, number)
    return made


def _wheel_step(grind: ResolvedGrind) -> Step:
    wheel = grind.wheel
    if wheel.diameter_mm is None:
        return Step("Belt", f"{wheel.width_mm:g} mm wide", "flat where the bevel touches it")
    speed = "" if wheel.speed_m_s is None else f"{wheel.rpm:g} rpm, {wheel.speed_m_s:.1f} m/s at the rim; "
    return Step("Wheel", f"Ø {wheel.diameter_mm:g} mm", f"{speed}worn: see the wear table")


def _jig_steps(grind: ResolvedGrind) -> list[Step]:
    jig = grind.jig
    if jig.kind == "table":
        return [
            Step("Hold the bar", f"{jig.projection_mm:g} mm", "fingers behind the nose; flute up"),
            Step("Tilt the table", f"{jig.nose_angle_deg:g}°", "bar to the wheel's tangent where the nose touches"),
        ]
    held = {
        "axis": "the bar axis", "below": "the flat under the bar", "above": "the plate over the lips",
        "vee": f"the apex of a {jig.vee_deg or 0:g}° V",
    }[jig.clamp]  # fmt: skip
    hinge = f"hinge {jig.hinge_back_mm:g} behind the clamp face, {jig.hinge_drop_mm:g} below {held}"
    made = [Step("Clamp the bar, flute up", f"{jig.projection_mm:g} mm", "projection: nose to clamp face")]
    if jig.kind == "foot":
        made.append(Step("Arm below the bar axis", f"{jig.arm_cant_deg:g}°", f"arm {jig.arm_length_mm:g} mm; {hinge}"))
    else:
        made.append(
            Step(
                "Hinge axis to bar axis", f"{jig.hinge_cant_deg:g}°", f"shoe {jig.shoe_mm:g} mm to rod centre; {hinge}"
            )
        )
    return made


def _place_steps(gouge: Gouge, number: int) -> list[Step]:
    grind, setting = gouge.recipe.grinds[number], gouge.settings[number]
    if grind.jig.kind == "table" or setting.rim_distance is None:
        return []
    pivot = "pocket" if grind.jig.kind == "foot" else "rod centre"
    extra = []
    if grind.jig.kind == "rod":
        gap = setting.rim_distance - grind.jig.rod_diameter_mm / 2
        extra.append(f"to the rod's surface {gap:.2f}" if gap > 0 else "NO ROOM: the rod would cut into the wheel")
    if setting.centre_distance is not None:
        extra.append(f"wheel's centre {setting.centre_distance:.2f}")
    h = grind.jig.height_mm
    extra.append(f"{abs(h):g} {'above' if h >= 0 else 'below'} the wheel's axis")
    return [Step(f"Rim to {pivot}", f"{setting.rim_distance:.2f} mm", ", ".join(extra))]


def _grind_step(measures: Measures) -> Step:
    gouge = measures.gouge
    path = gouge.recipe.grinds[0].path
    nose = measures.nose_angle
    if path.path == "steady":
        return Step("Roll to both sides", f"{path.roll_max_deg:g}°", f"until the bevel meets the edge: {nose:.1f}°")
    wing = measures.edge.wing_length(1)
    return Step("Grind to the outline", f"{wing:.1f} mm", f"wings behind the nose; nose angle {nose:.1f}°")


def _relief_steps(gouge: Gouge, number: int) -> list[Step]:
    first, grind = gouge.recipe.grinds[0], gouge.recipe.grinds[number]
    name = "Relief" if len(gouge.recipe.grinds) == 2 else f"Relief {number}"
    made = []
    if grind.wheel != first.wheel:
        made.append(Step(f"{name}: wheel", _wheel_step(grind).value, _wheel_step(grind).help))
    for mine, base in zip(_jig_steps(grind), _jig_steps(first), strict=False):
        if mine != base:
            made.append(Step(f"{name}: {mine.what[0].lower()}{mine.what[1:]}", mine.value, mine.help))
    a, b = gouge.settings[0].rim_distance, gouge.settings[number].rim_distance
    for step in _place_steps(gouge, number):
        moved = "" if a is None or b is None else f"{abs(b - a):.2f} {'nearer' if b < a else 'farther'}; "
        made.append(Step(f"{name}: {step.what[0].lower()}{step.what[1:]}", step.value, moved + step.help))
    made.append(Step(f"{name}: leave a land", f"{grind.land_mm:g} mm", "of the bevel before it, at the nose"))
    return made


def wear_table(gouge: Gouge) -> tuple[list[tuple[str, ...]], str]:
    """Rows for wheel diameters from new to worn, heads first: the rim distance of every grind for the same nose angle.

    The last column is the nose angle where pocket or rod stay where they were for the new wheel. Closed form (law of
    cosines, `Pivot`). Empty for a belt or a table, with a note instead.
    """
    new = gouge.recipe.grinds[0].wheel.diameter_mm
    jigs = gouge.jigs
    if isinstance(jigs[0], TableRig):
        return [], "A table: tilt it anew when the wheel has worn. The nose angle is set, not the distance."
    if new is None:
        return [], "A belt does not change its shape as it wears: distances stay."
    which = [
        n for n, (g, jig) in enumerate(zip(gouge.recipe.grinds, jigs, strict=True))
        if g.wheel.diameter_mm == new and not isinstance(jig, TableRig)
    ]  # fmt: skip
    names = ["rim to pocket" if isinstance(jigs[0], FootRig) else "rim to rod", *("relief" for n in which[1:])]
    rows: list[tuple[str, ...]] = [("wheel Ø", *names, "if not reset")]
    for diameter in worn_diameters(new, _WORN):
        cells = [f"{distance_for(gouge, n, diameter):.2f}" for n in which]
        stay = jigs[0].rim + (new - diameter) / 2
        angle = np.degrees(jigs[0].pivot.nose_angle(stay, 2 / diameter, _across(gouge, 0)))
        rows.append((f"{diameter:g}", *cells, f"{angle:.1f}°" if np.isfinite(angle) else NOTHING))
    return rows, "mm from the rim for the same nose angle. Last: the nose angle if nothing is moved."


def distance_for(gouge: Gouge, number: int, diameter: float) -> float:
    """Rim distance (mm) that gives a grind's nose angle on a wheel of another diameter (mm)."""
    jig = gouge.jigs[number]
    assert isinstance(jig, FootRig | RodRig)
    across = _across(gouge, number)
    angle = jig.pivot.nose_angle(jig.rim, gouge.ground.passes[number].wheel.curvature, across)
    return float(jig.pivot.rim_distance(angle, 2 / diameter, across))


def _across(gouge: Gouge, number: int) -> float:
    """How far off the pocket's plane the nose touches the wheel, mm (a rod's shoe slides there, so 0)."""
    grind = gouge.recipe.grinds[number]
    return grind.path.contact_mm if grind.path.path == "traced" and grind.jig.kind == "foot" else 0.0


def tolerance_line(gouge: Gouge) -> str:
    """What changes the nose angle by NOSE_TOLERANCE_DEG, from the closed form's slopes.

    A worn wheel has two answers: with the rim distance set anew, and (as in the wear table's last column) with pocket
    or rod left where they stand.
    """
    jig, k = gouge.jigs[0], gouge.ground.passes[0].wheel.curvature
    half = np.radians(NOSE_TOLERANCE_DEG)
    head = f"The nose keeps within ±{NOSE_TOLERANCE_DEG:g}° while"
    if isinstance(jig, TableRig):
        return f"{head} the table's tilt is within ±{NOSE_TOLERANCE_DEG:g}°."
    pivot, rim, across, d = jig.pivot, jig.rim, _across(gouge, 0), 1e-3

    def slope(low: float, high: float) -> float:
        return abs(high - low) / (2 * d)

    by_rim = slope(pivot.nose_angle(rim - d, k, across), pivot.nose_angle(rim + d, k, across))
    near, far = (type(pivot)(pivot.along + e, pivot.above) for e in (-d, d))
    by_projection = slope(near.nose_angle(rim, k, across), far.nose_angle(rim, k, across))
    parts = [f"rim distance ±{half / by_rim:.1f} mm", f"projection ±{half / by_projection:.1f} mm"]
    fields = gouge.recipe.grinds[0].jig
    if fields.kind == "foot":  # a rod jig's hinge passes through the same point whatever its cant
        low, high = (
            fields.model_copy(update={"arm_cant_deg": fields.arm_cant_deg + e}).pivot(gouge.section) for e in (-d, d)
        )
        by_cant = slope(low.nose_angle(rim, k, across), high.nose_angle(rim, k, across))
        parts.append(f"arm's cant ±{half / by_cant:.1f}°")
    if k:
        less, more = (2 / (2 / k + e) for e in (-d, d))
        anew = slope(pivot.nose_angle(rim, less, across), pivot.nose_angle(rim, more, across))
        left = slope(pivot.nose_angle(rim + d / 2, less, across), pivot.nose_angle(rim - d / 2, more, across))
        what = "pocket" if fields.kind == "foot" else "rod"
        by_wheel = f"wheel Ø ±{half / anew:.1f} mm if set anew from the rim"
        parts.append(f"{by_wheel}, ±{half / left:.1f} mm if the {what} is left")
    return f"{head} {', '.join(parts)} (one at a time)."
