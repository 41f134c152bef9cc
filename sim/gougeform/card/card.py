"""The card: one page with all a person needs at the grinder, to print at 100 % and pin to the wall.

`gougeform.card.content` gathers what stands on it; here it is laid out and written as PDF, SVG and PNG.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from gougeform.card.content import Card, Step, content
from gougeform.card.page import QUIET, Page
from gougeform.card.views import (
    CHECK_BAR_MM,
    draw_angles,
    draw_check_bar,
    draw_middle,
    draw_plan,
    draw_section,
    draw_side,
    side_view,
)
from gougeform.measure.measures import Measures
from gougeform.present.cautions import BEFORE, STRONG
from gougeform.quantity import NOTHING
from gougeform.tool.rows import BEHIND, PLACE

_MARGIN = 8.0
_TABLES = 76.0  # where the tables begin, layout units
_LEADING = 3.0  # of their rows


def draw_card(measures: Measures, paper: str = "A5", exact: Measures | None = None) -> Page:
    """Lay the card out on A5 or A4 paper; exact: see `content`."""
    card = content(measures, exact)
    page = Page(paper)
    left, right = _MARGIN, page.width - _MARGIN
    y = _head(page, card, measures, left, right)
    foot = _foot(page, card, left, right)
    middle = foot + max(_tall_views(page, measures), _tall_tables(page, card))
    _draw_steps(page, card.steps, left, 68.0, y, middle)
    _draw_machine(page, card, measures, (71.0, middle + 6.0, right, y + 1.0))
    page.line([(left, middle), (right, middle)], 0.6)
    _draw_true_size(page, measures, left, middle, foot)
    _draw_tables(page, card, _TABLES, right, middle - 2.0)
    return page


def _head(page: Page, card: Card, measures: Measures, left: float, right: float) -> float:
    top = page.height - _MARGIN
    badge = f"{measures.nose_angle:.1f}°"
    wide = page.measured(badge, 17, bold=True)
    page.text(right, top - 6.2, badge, 17, ha="right", fontweight="bold")
    page.text(right - wide - 1.5, top - 6.2, card.nose, 7, ha="right", color=QUIET)
    room = right - left - wide - page.measured(card.nose, 7) - 6
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
    page.text(left, top, BEFORE, 6.5, fontweight="bold")
    for mark, line, strong in rows:
        weight = "bold" if strong else "normal"
        page.text(left, y, mark, size, fontweight=weight)
        page.text(left + 2.5, y, line, size, fontweight=weight)
        y -= leading
    page.line([(left, top + 3.4), (right, top + 3.4)], 0.6)
    # Words about this grind stand apart from the cautions.
    lines = [line for words in (card.tolerance, *card.notes) for line in page.wrapped(words, right - left, 6.0)]
    top += 5.0 + 2.8 * (len(lines) - 1)
    for k, line in enumerate(lines):
        page.text(left, top - 2.8 * k, line, 6.0)
    page.line([(left, top + 3.4), (right, top + 3.4)], 0.6)
    return top + 4.4


def _draw_steps(page: Page, steps: tuple[Step, ...], left: float, right: float, top: float, low: float) -> None:
    page.text(left, top - 2.2, "Set in this order", 7.5, fontweight="bold")
    room = top - 4.4 - low
    pitch = min(room / len(steps), 12.5)
    big = float(np.clip(pitch * 1.2, 6.0, 11.5))
    y = top - 4.6
    for number, step in enumerate(steps, 1):
        base = y - 0.42 * pitch
        page.circle_mm(np.array([left + 2.0, base + 1.0]) * page.unit, 2.0 * page.unit, 0.7)
        page.text(left + 2.0, base + 0.95, str(number), 6.2, ha="center", va="center_baseline", fontweight="bold")
        page.text(right, base, step.value, big, ha="right", fontweight="bold")
        what, size = page.fitted(step.what, right - left - 7.0 - page.measured(step.value, big, bold=True), 7.2, 5.4)
        page.text(left + 5.4, base, what, size)
        lines = page.wrapped(step.help, right - left - 5.4, 5.3)[: max(0, int((0.66 * pitch - 1.4) / 2.3))]
        for k, line in enumerate(lines):
            words, fit = page.fitted(line, right - left - 5.4, 5.3, 4.8)
            page.text(left + 5.4, base - 2.6 - 2.3 * k, words, fit, color=QUIET)
        y -= pitch


def _circled(number: int) -> str:
    """A step's number as it stands in the drawing: 1 to 20 have a sign of their own."""
    return chr(0x2460 + number - 1) if number <= 20 else f"({number})"


def _draw_machine(page: Page, card: Card, measures: Measures, box: tuple[float, float, float, float]) -> None:
    gouge = measures.gouge
    view = side_view(gouge, measures.edge)
    jig, contact = gouge.recipe.grinds[0].jig, gouge.settings[0].contact
    names = {
        step.drawn: f"{_circled(number)} {step.value.removesuffix(' mm')}"
        for number, step in enumerate(card.steps, 1)
        if step.drawn
    }
    if jig.level_mm is not None:
        names["height"] = f"{abs(jig.level_mm):g}"
    if contact is not None:
        names["contact"] = f"{np.degrees(contact):.0f}°"
    scale = draw_side(page, view, box, names)
    words = f"side view 1 : {scale:g}, mm"
    if len(view.pivots) > 1:
        words += " · black: first grind, open: relief"
    if contact is None:
        words += " · where on the wheel is yours to choose"
    page.text(box[0] + 1.0, box[1] - 3.6, words, 5.3, color=QUIET)


def _behind(measures: Measures) -> float:
    """How much of the tool the 1:1 views show, mm."""
    depth = -float(min(measures.edge.heel_line[2].min(), measures.edge.point[2].min()))
    return min(depth + 4.0, 38.0)


def _tall_views(page: Page, measures: Measures) -> float:
    """Height of the middle band that the 1:1 views need, layout units."""
    section = measures.gouge.section
    return (_behind(measures) + section.lip_plane - section.underside) / page.unit + 24.0


def _tall_tables(page: Page, card: Card) -> float:
    """Height of the middle band that the tables need, layout units."""
    note = page.wrapped(card.wear_note, page.width - _MARGIN - _TABLES, 5.3)
    return 20.0 + _LEADING * (len(card.angles) + len(card.wear)) + 2.5 * len(note)


def _draw_true_size(page: Page, measures: Measures, left: float, top: float, low: float) -> None:
    gouge, edge, u = measures.gouge, measures.edge, page.unit
    section = gouge.section
    wide = section.outline.support((1.0, 0.0)) + section.outline.support((-1.0, 0.0))
    behind = _behind(measures)
    page.text(left, top - 4.0, "True size 1 : 1", 7.5, fontweight="bold")
    y = top * u - 6.0 * u
    plan_x = left * u + wide / 2 + 1.0
    draw_plan(page, gouge, edge, plan_x, y - behind, behind)
    section_y = y - behind - 5.5 * u - section.lip_plane
    draw_section(page, gouge, plan_x, section_y)
    words: Any = {"size": 5.3, "color": QUIET}
    page.text_mm(plan_x + wide / 2 + 1.5, section_y - 0.7, "looking at the tip", **words)
    page.text_mm(plan_x + wide / 2 + 2.0, y - 2.0 * u, "edge from above", **words)
    side_x = plan_x + wide / 2 + 3.0 + behind
    middle_y = y - 4.5 * u - max(section.lip_plane, section.y_floor)
    draw_middle(page, gouge, edge, side_x, middle_y, behind)
    page.text_mm(plan_x + wide / 2 + 3.0, middle_y + section.underside - 2.8 * u, "middle plane, nose right", **words)
    bar_y = low * u + 1.0 * u
    draw_check_bar(page, left * u, bar_y)
    free = min(middle_y + section.underside - 7.5 * u, top * u - 20.0 * u) / u
    beside = (plan_x + wide / 2 + 2.0) / u + page.measured("looking at the tip", 5.3) + 5.0
    chart = (max(beside, 44.0 / page.unit), low + 11.0, 71.0, min(free, low + 40.0))
    if chart[2] - chart[0] > 16 and chart[3] - chart[1] > 8:
        draw_angles(page, edge, chart)
    page.text_mm(left * u + CHECK_BAR_MM + 1.5, bar_y, "50 mm", 6.0, fontweight="bold")
    page.text_mm(left * u, bar_y + 3.2 * u, "print at 100 %, then measure this bar", **words)


def _draw_tables(page: Page, card: Card, left: float, right: float, top: float) -> None:
    wide = right - left
    page.text(left, top - 2.0, "Along the edge", 7.5, fontweight="bold")
    head = card.angles[0]
    short = {PLACE: "% along wing", "edge angle": "angle", BEHIND: "back"}
    rows = [tuple(short.get(cell, cell.replace(" mm", "")) for cell in row) for row in (head, *card.angles[1:])]
    count = len(head) - 1
    columns = [wide * (0.2 + 0.8 * (k + 1) / count) for k in range(count)]
    y = page.table(left, top - 3.0, rows, columns, size=5.8, leading=_LEADING)
    y -= 2.5
    page.text(left, y, "mm · per cent along the edge · back: behind the nose, along the bar", 5.3, color=QUIET)
    if any(NOTHING in row for row in card.angles):
        y -= 2.5
        page.text(left, y, f"{NOTHING}  the plane square to the edge meets no heel there", 5.3, color=QUIET)
    y -= 5.0
    page.text(left, y, "As the wheel wears", 7.5, fontweight="bold")
    if card.wear:
        count = len(card.wear[0]) - 1
        columns = [wide * (0.16 + 0.84 * (k + 1) / count) for k in range(count)]
        y = page.table(left, y - 1.0, card.wear, columns, size=5.8, leading=_LEADING)
    for line in page.wrapped(card.wear_note, wide, 5.3):
        y -= 2.5
        page.text(left, y, line, 5.3, color=QUIET)


def write_card(measures: Measures, stem: Path, paper: str = "A5", exact: Measures | None = None) -> list[Path]:
    """Write STEM.pdf, STEM.svg and STEM.png; exact: see `content`. Raises InputError where they cannot be written."""
    return draw_card(measures, paper, exact).save(
        stem, measures.gouge.recipe.title or measures.gouge.recipe.name or "Gouge"
    )
