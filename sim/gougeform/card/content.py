"""What stands on the card: settings in the order a person makes them, angles, wear table, tolerances, cautions."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from gougeform.gauges.kinds.wheel import worn_diameters
from gougeform.grind.gouge import Gouge
from gougeform.machine.jig import Step
from gougeform.measure.measures import Measures
from gougeform.present.cautions import cautions
from gougeform.quantity import NOTHING, unit_of
from gougeform.recipe.model import Recipe
from gougeform.recipe.resolving import ResolvedGrind
from gougeform.settings.names import NAMES
from gougeform.tool.rows import edge_block

NOSE_TOLERANCE_DEG = 0.5
_WORN = 6


@dataclass(frozen=True)
class Card:
    """What stands on a card.

    nose: words beside the nose angle. wear: rows, heads first, none where nothing wears; wear_note: how to read it.
    """

    title: str
    nose: str
    tool: str
    steps: tuple[Step, ...]
    angles: tuple[tuple[str, ...], ...]
    wear: tuple[tuple[str, ...], ...]
    wear_note: str
    tolerance: str
    notes: tuple[str, ...]
    cautions: tuple[str, ...]


def content(measures: Measures, exact: Measures | None = None) -> Card:
    """Gather the card's words and numbers.

    exact: the tool where the one to be set is the nearest that a hand can set; its values stand small behind.
    """
    recipe = measures.gouge.recipe
    wear, note = wear_table(measures.gouge)
    edge = edge_block(measures)
    shown = [f"{one.nose_angle:.1f}°" for one in (measures, exact or measures)]
    return Card(
        title=recipe.title or recipe.name or "Gouge",
        nose="nose" if shown[0] == shown[1] else f"nose (exactly {shown[1]})",
        tool=tool_words(recipe),
        steps=tuple(steps(measures) if exact is None else _beside(steps(measures), steps(exact))),
        angles=tuple(tuple(map(str, row)) for row in (edge.head, *edge.rows)),
        wear=tuple(wear),
        wear_note=note,
        tolerance=tolerance_line(measures.gouge),
        notes=tuple(measures.notes),
        cautions=tuple(cautions(recipe)),
    )


def _beside(mine: list[Step], exact: list[Step]) -> list[Step]:
    """The steps, each with the exact value behind its help where a hand cannot set that one."""
    wanted = {step.what: step.value for step in exact}
    return [
        replace(step, help=f"exactly {wanted[step.what]}; {step.help}" if step.help else f"exactly {wanted[step.what]}")
        if wanted.get(step.what, step.value) != step.value
        else step
        for step in mine
    ]


def tool_words(recipe: Recipe) -> str:
    """The steel in one line."""
    flute = recipe.flute
    web = "" if flute.web_mm is None else f", web {flute.web_mm:g} mm"
    return f"{recipe.bar.words}, {flute.words} flute{web}"


def steps(measures: Measures) -> list[Step]:
    """The settings in the order a person makes them."""
    gouge = measures.gouge
    first = gouge.recipe.grinds[0]
    move = Step(*first.path.step(measures.nose_angle, measures.edge.wing_length(1)))
    made = [_wheel_step(first), *first.jig.steps(), *_place_steps(gouge, 0), move]
    for number in range(1, len(gouge.recipe.grinds)):
        made += _relief_steps(gouge, number)
    return made


def _wheel_step(grind: ResolvedGrind) -> Step:
    wheel = grind.wheel
    if wheel.diameter_mm is None:
        return Step("Belt", f"{wheel.width_mm:g} mm wide", "flat where the bevel touches it")
    speed = "" if wheel.speed_m_s is None else f"{wheel.rpm:g} rpm, {wheel.speed_m_s:.1f} m/s at the rim; "
    return Step("Wheel", f"Ø {wheel.diameter_mm:g} mm", f"{speed}worn: see the wear table")


def _place_steps(gouge: Gouge, number: int) -> list[Step]:
    grind, setting = gouge.recipe.grinds[number], gouge.settings[number]
    if setting.rim_distance is None:
        return []
    noun, thick, extra = grind.jig.pivot_noun, grind.jig.pivot_thick_mm, []
    gap = setting.rim_distance - thick
    if thick:
        extra.append(
            f"to its centre {setting.rim_distance:.2f}" if gap > 0 else f"NO ROOM: the {noun} would cut into the wheel"
        )
    if setting.centre_distance is not None:
        extra.append(f"wheel's centre {setting.centre_distance:.2f}")
    if (h := grind.jig.level_mm) is not None:
        extra.append(f"{abs(h):g} {'above' if h >= 0 else 'below'} the wheel's axis")
    what = f"Rim to {noun}, surface" if thick else f"Rim to {noun}"
    return [Step(what, f"{round(gap, 2):g} mm", ", ".join(extra), f"rim{number}")]


def _relief_steps(gouge: Gouge, number: int) -> list[Step]:
    first, grind = gouge.recipe.grinds[0], gouge.recipe.grinds[number]
    name = "Relief" if len(gouge.recipe.grinds) == 2 else f"Relief {number}"
    made = []
    if grind.wheel != first.wheel:
        made.append(Step(f"{name}: wheel", _wheel_step(grind).value, _wheel_step(grind).help))
    for mine, base in zip(grind.jig.steps(), first.jig.steps(), strict=False):
        if mine != base:
            made.append(Step(f"{name}: {mine.what[0].lower()}{mine.what[1:]}", mine.value, mine.help))
    a, b = gouge.settings[0].rim_distance, gouge.settings[number].rim_distance
    for step in _place_steps(gouge, number):
        moved = "" if a is None or b is None else f"{abs(b - a):.2f} {'nearer' if b < a else 'farther'}; "
        made.append(Step(f"{name}: {step.what[0].lower()}{step.what[1:]}", step.value, moved + step.help, step.drawn))
    made.append(Step(f"{name}: leave a land", f"{grind.land_mm:g} mm", "of the bevel before it, at the nose"))
    return made


def wear_table(gouge: Gouge) -> tuple[list[tuple[str, ...]], str]:
    """Rows for wheel diameters from new to worn, heads first: the rim distance of every grind for the same nose angle.

    The last column is the nose angle where pocket or rod stay where they were for the new wheel. Closed form (law of
    cosines, `Pivot`). Empty for a belt or a table, with a note instead.
    """
    new, first = gouge.recipe.grinds[0].wheel.diameter_mm, gouge.recipe.grinds[0].jig
    rig = gouge.jigs[0]
    if rig.pivot is None or rig.rim is None:
        return [], first.worn
    if new is None:
        return [], "A belt does not change its shape as it wears: distances stay."
    which = [
        n for n, (g, jig) in enumerate(zip(gouge.recipe.grinds, gouge.jigs, strict=True))
        if g.wheel.diameter_mm == new and jig.pivot is not None
    ]  # fmt: skip
    thick = first.pivot_thick_mm
    names = [
        f"to {first.pivot_noun} surface" if thick else f"rim to {first.pivot_noun}",
        *("relief" for n in which[1:]),
    ]
    rows: list[tuple[str, ...]] = [("wheel Ø", *names, "if not reset")]
    for diameter in worn_diameters(new, _WORN):
        cells = [f"{distance_for(gouge, n, diameter) - thick:.2f}" for n in which]
        stay = rig.rim + (new - diameter) / 2
        angle = np.degrees(rig.pivot.nose_angle(stay, 2 / diameter, _across(gouge, 0)))
        rows.append((f"{diameter:g}", *cells, f"{angle:.1f}°" if np.isfinite(angle) else NOTHING))
    return rows, "mm from the rim for the same nose angle. Last: the nose angle if nothing is moved."


def distance_for(gouge: Gouge, number: int, diameter: float) -> float:
    """Rim distance (mm) that gives a grind's nose angle on a wheel of another diameter (mm)."""
    jig = gouge.jigs[number]
    assert jig.pivot is not None
    assert jig.rim is not None
    across = _across(gouge, number)
    angle = jig.pivot.nose_angle(jig.rim, gouge.ground.passes[number].wheel.curvature, across)
    return float(jig.pivot.rim_distance(angle, 2 / diameter, across))


def _across(gouge: Gouge, number: int) -> float:
    """How far off the pivot's plane the nose touches the wheel, mm (a rod's shoe slides there, so 0)."""
    grind = gouge.recipe.grinds[number]
    return grind.jig.across(grind.path.contact)


def tolerance_line(gouge: Gouge) -> str:
    """What changes the nose angle by NOSE_TOLERANCE_DEG, from the closed form's slopes.

    A worn wheel has two answers: with the rim distance set anew, and (as in the wear table's last column) with pocket
    or rod left where they stand.
    """
    jig, k = gouge.jigs[0], gouge.ground.passes[0].wheel.curvature
    half = np.radians(NOSE_TOLERANCE_DEG)
    head = f"The nose keeps within ±{NOSE_TOLERANCE_DEG:g}° while"
    fields = gouge.recipe.grinds[0].jig
    if jig.pivot is None or jig.rim is None:
        return f"{head} {NAMES[fields.dial].words} is within ±{NOSE_TOLERANCE_DEG:g}°."
    pivot, rim, across, d = jig.pivot, jig.rim, _across(gouge, 0), 1e-3

    def slope(low: float, high: float) -> float:
        return abs(high - low) / (2 * d)

    by_rim = slope(pivot.nose_angle(rim - d, k, across), pivot.nose_angle(rim + d, k, across))
    near, far = (type(pivot)(pivot.along + e, pivot.above) for e in (-d, d))
    by_projection = slope(near.nose_angle(rim, k, across), far.nose_angle(rim, k, across))
    parts = [f"rim distance ±{half / by_rim:.1f} mm", f"projection ±{half / by_projection:.1f} mm"]
    for name, field in fields.turned().items():
        if not NAMES[name].quantity.by_hand or name in ("projection", fields.dial):
            continue
        moved = (fields.model_copy(update={field: getattr(fields, field) + e}).pivot(gouge.section) for e in (-d, d))
        by = slope(*(one.nose_angle(rim, k, across) for one in moved if one is not None))
        if by:  # a rod jig's hinge passes through the same point whatever its cant
            parts.append(f"{name.replace('_', ' ')} ±{half / by:.1f}{unit_of(field).sign}")
    if k:
        less, more = (2 / (2 / k + e) for e in (-d, d))
        anew = slope(pivot.nose_angle(rim, less, across), pivot.nose_angle(rim, more, across))
        left = slope(pivot.nose_angle(rim + d / 2, less, across), pivot.nose_angle(rim - d / 2, more, across))
        by_wheel = f"wheel Ø ±{half / anew:.1f} mm if set anew from the rim"
        parts.append(f"{by_wheel}, ±{half / left:.1f} mm if the {fields.pivot_noun} is left")
    return f"{head} {', '.join(parts)} (one at a time)."
