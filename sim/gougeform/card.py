"""The card: one page with all a person needs at the grinder, to print at 100 % and pin to the wall.

`content` gathers what stands on it, `draw_card` lays it out, `write_card` writes PDF, SVG and PNG.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from gougeform.cardpage import INK, QUIET, Page
from gougeform.cardviews import CHECK_BAR_MM, draw_check_bar, draw_middle, draw_plan, draw_section, draw_side, side_view
from gougeform.cautions import STRONG, cautions
from gougeform.gauges.wheelgauge import worn_diameters
from gougeform.gouge import Gouge
from gougeform.jig import FootJig, RodJig, Table
from gougeform.measures import Measures
from gougeform.recipe import Recipe, ResolvedGrind
from gougeform.report import NOTHING, edge_rows

Floats = NDArray[np.float64]

NOSE_TOLERANCE_DEG = 0.5
_WORN = 6
_MARGIN = 8.0


@dataclass(frozen=True)
class Step:
    """One thing to set: what, the value to read off, and a line of help."""

    what: str
    value: str
    help: str = ""


@dataclass(frozen=True)
class Card:
    """What stands on a card. wear: rows with the heads first, empty where nothing wears; wear_note says how to read it."""

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
    return Card(
        title=recipe.title or recipe.name or "Gouge",
        tool=tool_words(recipe),
        steps=tuple(steps(measures)),
        angles=tuple(edge_rows(measures)),
        wear=tuple(wear),
        wear_note=note,
        tolerance=tolerance_line(measures.gouge),
        cautions=tuple([*measures.notes, *cautions(recipe)]),
    )


def tool_words(recipe: Recipe) -> str:
    """The steel in one line."""
    bar, flute = recipe.bar, recipe.flute
    if bar.outline == "round":
        size = f"round bar Ø{bar.diameter_mm:g} mm"
    elif bar.outline == "square":
        size = f"square bar {bar.side_mm:g} mm"
    else:
        size = "measured bar"
    shape = {"arc": "arc", "parabola": "parabolic", "ellipse": "elliptical", "vee": "V", "points": "measured"}[flute.shape]
    web = "" if flute.web_mm is None else f", web {flute.web_mm:g} mm"
    return f"{size}, {shape} flute{web}"


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
            Step("Hinge axis to bar axis", f"{jig.hinge_cant_deg:g}°", f"shoe {jig.shoe_mm:g} mm to rod centre; {hinge}")
        )
    return made


def _place_steps(gouge: Gouge, number: int) -> list[Step]:
    grind, setting = gouge.recipe.grinds[number], gouge.settings[number]
    if grind.jig.kind == "table" or setting.rim_distance is None:
        return []
    pivot = "pocket" if grind.jig.kind == "foot" else "rod centre"
    extra = []
    if grind.jig.kind == "rod":
        extra.append(f"to the rod's surface {setting.rim_distance - grind.jig.rod_diameter_mm / 2:.2f}")
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
        return Step("Roll to both sides", f"{path.roll_max_deg:g}°", f"until the bevel meets the edge; nose {nose:.1f}°")
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
    if isinstance(jigs[0], Table):
        return [], "A table: tilt it anew when the wheel has worn. The nose angle is set, not the distance."
    if new is None:
        return [], "A belt does not change its shape as it wears: distances stay."
    which = [
        n for n, (g, jig) in enumerate(zip(gouge.recipe.grinds, jigs, strict=True))
        if g.wheel.diameter_mm == new and not isinstance(jig, Table)
    ]  # fmt: skip
    names = ["rim to pocket" if isinstance(jigs[0], FootJig) else "rim to rod", *("relief" for n in which[1:])]
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
    assert isinstance(jig, FootJig | RodJig)
    across = _across(gouge, number)
    angle = jig.pivot.nose_angle(jig.rim, gouge.ground.passes[number].wheel.curvature, across)
    return float(jig.pivot.rim_distance(angle, 2 / diameter, across))


def _across(gouge: Gouge, number: int) -> float:
    """How far off the pocket's plane the nose touches the wheel, mm (a rod's shoe slides there, so 0)."""
    grind = gouge.recipe.grinds[number]
    return grind.path.contact_mm if grind.path.path == "traced" and grind.jig.kind == "foot" else 0.0


def tolerance_line(gouge: Gouge) -> str:
    """What changes the nose angle by NOSE_TOLERANCE_DEG, from the closed form's slopes."""
    jig, k = gouge.jigs[0], gouge.ground.passes[0].wheel.curvature
    half = np.radians(NOSE_TOLERANCE_DEG)
    head = f"The nose keeps within ±{NOSE_TOLERANCE_DEG:g}° while"
    if isinstance(jig, Table):
        return f"{head} the table's tilt is within ±{NOSE_TOLERANCE_DEG:g}°; wing lengths within ±0.3 mm by eye."
    pivot, rim, across, d = jig.pivot, jig.rim, _across(gouge, 0), 1e-3

    def slope(low: float, high: float) -> float:
        return abs(high - low) / (2 * d)

    by_rim = slope(pivot.nose_angle(rim - d, k, across), pivot.nose_angle(rim + d, k, across))
    near, far = (type(pivot)(pivot.along + e, pivot.above) for e in (-d, d))
    by_projection = slope(near.nose_angle(rim, k, across), far.nose_angle(rim, k, across))
    parts = [f"rim distance ±{half / by_rim:.1f} mm", f"projection ±{half / by_projection:.1f} mm"]
    if k:
        less, more = (2 / (2 / k + e) for e in (-d, d))
        by_wheel = slope(pivot.nose_angle(rim, less, across), pivot.nose_angle(rim, more, across))
        parts.append(f"wheel Ø ±{half / by_wheel:.0f} mm")
    return f"{head} {', '.join(parts)} (one at a time)."


def draw_card(measures: Measures, paper: str = "A5") -> Page:
    """Lay the card out on A5 or A4 paper."""
    card, gouge, edge = content(measures), measures.gouge, measures.edge
    page = Page(paper)
    left, right = _MARGIN, page.width - _MARGIN
    y = _head(page, card, measures, left, right)
    foot = _foot(page, card, left, right)
    middle = foot + _tall(page, measures) + 6.0
    _draw_steps(page, card.steps, left, 68.0, y, middle)
    _draw_machine(page, gouge, measures, (71.0, middle + 2.0, right, y + 1.0))
    page.line([(left, middle), (right, middle)], 0.6)
    _draw_true_size(page, measures, left, middle, foot)
    _draw_tables(page, card, 76.0, right, middle - 2.0, foot)
    return page


def _head(page: Page, card: Card, measures: Measures, left: float, right: float) -> float:
    top = page.height - _MARGIN
    badge = f"{measures.nose_angle:.1f}°"
    wide = page.measured(badge, 17, bold=True)
    page.text(right, top - 6.2, badge, 17, ha="right", fontweight="bold")
    page.text(right - wide - 1.5, top - 6.2, "nose", 7, ha="right", color=QUIET)
    room = right - left - wide - 14
    lines = page.wrapped(card.title, room, 9.5, bold=True)[:2]
    for number, line in enumerate(lines):
        words, size = page.fitted(line, room, 9.5, 6.0, bold=True)
        page.text(left, top - 3.4 - 4.2 * number, words, size, fontweight="bold")
    y = top - 3.4 - 4.2 * len(lines)
    page.text(left, y, card.tool, 6.5, color=QUIET)
    page.line([(left, y - 2.0), (right, y - 2.0)], 1.4)
    return y - 4.0


def _foot(page: Page, card: Card, left: float, right: float) -> float:
    """Cautions and the line of tolerances, from the bottom up; returns the y above them."""
    size, leading, room = 5.3, 2.45, right - left - 2.5
    rows: list[tuple[str, str, bool]] = []
    for words in card.cautions:
        strong = words.startswith(STRONG)
        for k, line in enumerate(page.wrapped(words, room, size, bold=strong)):
            rows.append(("" if k else "!" if strong else "–", line, strong))
    y = _MARGIN - 1.5 + leading * (len(rows) - 1)
    top = y + leading + 1.2
    page.text(left, top, "Before you grind", 6.5, fontweight="bold")
    for mark, line, strong in rows:
        weight = "bold" if strong else "normal"
        page.text(left, y, mark, size, fontweight=weight)
        page.text(left + 2.5, y, line, size, fontweight=weight)
        y -= leading
    page.line([(left, top + 3.4), (right, top + 3.4)], 0.6)
    words, fit = page.fitted(card.tolerance, right - left, 6.4, 5.0)
    page.text(left, top + 5.0, words, fit)
    page.line([(left, top + 8.4), (right, top + 8.4)], 0.6)
    return top + 9.4


def _draw_steps(page: Page, steps: tuple[Step, ...], left: float, right: float, top: float, low: float) -> None:
    page.text(left, top - 2.2, "Set in this order", 7.5, fontweight="bold")
    room = top - 4.4 - low
    pitch = min(room / len(steps), 11.5)
    big = float(np.clip(pitch * 1.25, 7.0, 11.0))
    y = top - 4.6
    for number, step in enumerate(steps, 1):
        base = y - 0.42 * pitch
        page.circle_mm(np.array([left + 2.0, base + 1.0]) * page.unit, 2.0 * page.unit, 0.7)
        page.text(left + 2.0, base + 0.95, str(number), 6.2, ha="center", va="center_baseline", fontweight="bold")
        page.text(right, base, step.value, big, ha="right", fontweight="bold")
        what, size = page.fitted(step.what, right - left - 7.0 - page.measured(step.value, big, bold=True), 7.2, 5.4)
        page.text(left + 5.4, base, what, size)
        lines = page.wrapped(step.help, right - left - 5.4, 5.3)[: max(1, int((0.58 * pitch - 0.6) / 2.3))]
        for k, line in enumerate(lines):
            words, fit = page.fitted(line, right - left - 5.4, 5.3, 4.8)
            page.text(left + 5.4, base - 2.6 - 2.3 * k, words, fit, color=QUIET)
        y -= pitch


def _draw_machine(page: Page, gouge: Gouge, measures: Measures, box: tuple[float, float, float, float]) -> None:
    view = side_view(gouge, measures.edge)
    jig = gouge.recipe.grinds[0].jig
    names = {"projection": f"{jig.projection_mm:g}"}
    for number, setting in enumerate(gouge.settings):
        if setting.rim_distance is not None:
            names[f"rim{number}"] = f"{setting.rim_distance:.1f}"
    if jig.kind != "table":
        names["height"] = f"{abs(jig.height_mm):g}"
        contact = gouge.settings[0].contact
        if contact is not None:
            names["contact"] = f"{np.degrees(contact):.0f}°"
    scale = draw_side(page, view, box, names)
    words = f"side view 1 : {scale:g}, mm"
    if len(view.pivots) > 1:
        words += " · black: first grind, open: relief"
    page.text(box[0] + 1.0, box[1] + 0.6, words, 5.3, color=QUIET)


def _behind(measures: Measures) -> float:
    """How much of the tool the 1:1 views show, mm."""
    depth = -float(min(measures.edge.heel_line[2].min(), measures.edge.point[2].min()))
    return min(depth + 4.0, 38.0)


def _tall(page: Page, measures: Measures) -> float:
    """Height of the middle band, layout units: what the 1:1 views or the tables need."""
    section = measures.gouge.section
    high = section.lip_plane - section.underside
    return max((_behind(measures) + high + 14.0) / page.unit, 46.0)


def _draw_true_size(page: Page, measures: Measures, left: float, top: float, low: float) -> None:
    gouge, edge, u = measures.gouge, measures.edge, page.unit
    section = gouge.section
    wide = section.outline.support((1.0, 0.0)) + section.outline.support((-1.0, 0.0))
    high, behind = section.lip_plane - section.underside, _behind(measures)
    page.text(left, top - 4.0, "True size 1 : 1", 7.5, fontweight="bold")
    y = top * u - 6.0 * u
    plan_x = left * u + wide / 2 + 1.0
    draw_plan(page, gouge, edge, plan_x, y - behind, behind)
    section_y = y - behind - 5.5 * u - section.lip_plane
    draw_section(page, gouge, plan_x, section_y)
    words = {"size": 5.3, "color": QUIET}
    page.text_mm(plan_x + wide / 2 + 1.5, section_y - 0.7, "looking at the tip", **words)
    page.text_mm(plan_x + wide / 2 + 2.0, y - 2.0 * u, "edge from above", **words)
    side_x = plan_x + wide / 2 + 3.0 + behind
    middle_y = y - 4.5 * u - max(section.lip_plane, section.y_floor)
    draw_middle(page, gouge, edge, side_x, middle_y, behind)
    page.text_mm(plan_x + wide / 2 + 3.0, middle_y + section.underside - 2.8 * u, "middle plane, nose right", **words)
    bar_y = low * u + 1.0 * u
    draw_check_bar(page, left * u, bar_y)
    page.text_mm(left * u + CHECK_BAR_MM + 1.5, bar_y, "50 mm", 6.0, fontweight="bold")
    page.text_mm(left * u + 16.0 * u + wide * 0, bar_y + 3.2 * u, "print at 100 %, then measure this bar", **words)
    _ = high


def _draw_tables(page: Page, card: Card, left: float, right: float, top: float, low: float) -> None:
    wide = right - left
    page.text(left, top - 2.0, "Along the edge", 7.5, fontweight="bold")
    head = card.angles[0]
    short = {"place (per cent of the wing)": "% of wing", "edge angle": "angle"}
    rows = [tuple(short.get(cell, cell.replace(" mm", "")) for cell in row) for row in (head, *card.angles[1:])]
    rows[0] = tuple(f"{cell} mm" if cell in ("bevel", "hollow", "land") else cell for cell in rows[0])
    count = len(head) - 1
    columns = [wide * (0.2 + 0.8 * (k + 1) / count) for k in range(count)]
    y = page.table(left, top - 3.0, rows, columns, size=5.8, leading=min(3.1, 20.0 / len(rows)))
    y -= 5.0
    page.text(left, y, "As the wheel wears", 7.5, fontweight="bold")
    if card.wear:
        count = len(card.wear[0]) - 1
        columns = [wide * (0.16 + 0.84 * (k + 1) / count) for k in range(count)]
        y = page.table(left, y - 1.0, card.wear, columns, size=5.8, leading=3.0)
    for line in page.wrapped(card.wear_note, wide, 5.3):
        y -= 2.5
        page.text(left, y, line, 5.3, color=QUIET)
    _ = low


def write_card(measures: Measures, stem: Path, paper: str = "A5") -> list[Path]:
    """Write STEM.pdf, STEM.svg and STEM.png. Raises InputError where they cannot be written."""
    return draw_card(measures, paper).save(stem, measures.gouge.recipe.title or measures.gouge.recipe.name or "Gouge")


__all__ = ["INK", "Card", "Step", "content", "distance_for", "draw_card", "tolerance_line", "wear_table", "write_card"]
