"""Which of several tools suits this workpiece? Side by side, with sections and outlines laid over each other."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from gougeform.compare.equal import NOTHING, Fair, fair, usual
from gougeform.compare.tools import COMPARED, Compared, compare, differences, lands, section_behind
from gougeform.errors import InputError
from gougeform.measure.cheek import CHEEK_AT_MM
from gougeform.measure.measured import nested
from gougeform.present.answer import Answer, Block, Cell, Files, Number
from gougeform.present.progress import step
from gougeform.reach.answer import MODEL_NOTES
from gougeform.reach.drawing import INK, PAPER, QUIET
from gougeform.reach.quantities import EVERY, OVERHANG_MM
from gougeform.reach.result import Terms
from gougeform.reach.search import SEARCH_ERROR_DEG
from gougeform.recipe.model import Recipe
from gougeform.settings.relief import relief_of
from gougeform.work.meridian import Meridian

_COLOURS = ("#17403f", "#c07f5e", "#7d4a8d", "#dba63f", "#4d7c9c", "#7f9c4d", "#a31f34", "#565c62")
_STYLES = ("-", "--", "-.", ":")


def answer(
    recipes: Sequence[Recipe],
    work: Meridian,
    terms: Terms | None = None,
    *,
    name: str = "work",
    land: Sequence[float] = (),
    equal: Sequence[str] = (),
    overhang: Sequence[float] = (),
    workers: int = 1,
) -> Answer:
    """Work out all tools, in so many processes; numbers, overlaid shapes, and the differences in plain words.

    name: what the work is called in the folder's name. land: one recipe with one bevel, and with these lands (mm)
    instead. equal: what the tools are brought to first, by changing bar size, web and flute opening (see
    `gougeform.compare.equal`); where nothing is named, bars that differ in section alone are given the same edge.
    overhang: mm from edge to rest, for a table of stiffness. Raises InputError.
    """
    names = [recipe.name or recipe.title for recipe in recipes]
    if land:
        if len(recipes) != 1:
            raise InputError("lands", f"given with {len(recipes)} recipes", "name one recipe with `lands`")
        recipes, names = lands(recipes[0], land)
    chosen = tuple(equal) or usual(recipes)
    with step("making them equal"):
        brought = fair(recipes, chosen, (*overhang, OVERHANG_MM)[0])
    recipes = [one.recipe for one in brought]
    reliefs = [relief_words(one) for one in recipes] if land else []
    with step(f"working out {len(recipes)} tools"):
        tools = compare(recipes, work, terms, names, workers)
        said = differences(tools)
    asked = tools[0].reach.terms
    letters = [_letter(i) for i in range(len(tools))]
    rows: list[tuple[Cell, ...]] = [("section", *(_section(tool) for tool in tools))]
    for one in (EVERY[key] for key in COMPARED):  # units beside the words: so more tools fit side by side
        cells = (Number(tool.numbers[one.name], "", one.of.after_point) for tool in tools)
        rows.append((f"{one.label}, {one.of.unit.sign.strip()}", *cells))
    below = (
        f"Deflection and frequency at {tools[0].overhang_mm:g} mm over the rest, for {asked.force_n:g} N; reached: a"
        f" clearance angle of up to {asked.limit_deg:g}°."
    )
    listed = [f"{letter}  {tool.name}: {tool.gouge.recipe.title}" for letter, tool in zip(letters, tools, strict=True)]
    return Answer(
        f"Side by side in: {work.title or 'the workpiece'}",
        [
            _equal(chosen, brought, bool(equal)),
            Block(below="\n".join(listed)),
            Block("Behind the land", points=[f"{a}: {words}" for a, words in zip(letters, reliefs, strict=False)]),
            Block("Numbers", rows, ("", *letters), below=below),
            _over(tools, overhang, asked.force_n),
            Block(f"Against {tools[0].name}", points=said),
            Block("What these numbers are", points=MODEL_NOTES),
        ],
        result={
            "work": work.title,
            "limit_deg": asked.limit_deg,
            "force_n": asked.force_n,
            "equal": [word for word in chosen if word != NOTHING],
            "changed": [one.changed for one in brought],
            "not_equal": [one.why for one in brought if one.why],
            "search_error_deg": SEARCH_ERROR_DEG,
            "tools": [{"name": one.name, "title": one.recipe.title, **nested(one.numbers)} for one in tools],
            "differences": said,
        },
        files=Files(
            {"compare.png": partial(draw_comparison, tools)},
            Path("out") / f"compare-{name}",
            record="compare.json",
            replaces=r"compare\.png",
        ),
        recipe=recipes[0],
    )


def relief_words(recipe: Recipe) -> str:
    """The relief's slope to the bar's axis where it begins in the middle plane, and how much finer it is there."""
    if len(recipe.grinds) < 2:
        return "one bevel, no relief"
    relief = relief_of(recipe)
    return (
        f"relief at {relief.angle:.1f}° to the bar where it begins, {relief.turn:.1f}° finer than the land there;"
        f" {abs(relief.move):.2f} {relief.unit.strip()} to move"
    )


def _equal(chosen: Sequence[str], brought: Sequence[Fair], asked: bool) -> Block:
    """What was made equal, and at the cost of which changes; what could not be."""
    words = [word for word in chosen if word != NOTHING]
    if not words:
        return Block()
    by_itself = "" if asked else " (they differ in their section alone; `equal` nothing leaves them as they are)"
    points = [one.changed for one in brought if one.changed] + [one.why for one in brought if one.why]
    return Block(f"Made equal in {' and '.join(words)}{by_itself}", points=points or ["they are already"])


def _over(tools: Sequence[Compared], overhang: Sequence[float], force: float) -> Block:
    """Stiffness of every tool at some overhangs; empty without any."""
    rows: list[tuple[Cell, ...]] = []
    for far in overhang:
        stiff = [1 / float(np.linalg.eigvalsh(one.beam.give(far))[-1]) for one in tools]
        rows.append((f"{far:g} mm, N/mm", *(Number(value, "", 1) for value in stiff)))
        rows.append((f"{far:g} mm, bends by, mm", *(Number(force / value, "", 3) for value in stiff)))
    head = ("overhang", *(_letter(i) for i in range(len(tools))))
    return Block("Over the rest", rows, head) if rows else Block()


def _letter(i: int) -> str:
    return "ABCDEFGHIJKLMNOPQRSTUVWXYZ"[i % 26]


def _section(tool: Compared) -> str:
    return tool.gouge.recipe.bar.short


def draw_comparison(tools: Sequence[Compared], path: Path) -> None:
    """Sections behind the nose and the edge from above, each tool in its own line, all at one scale."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(12, 4.0 + 0.22 * len(tools)), dpi=130, facecolor=PAPER, layout="constrained")
    figure.suptitle("The tools laid over each other, all at one scale", x=0.01, ha="left", fontsize=10, color=INK)
    axes = figure.subplots(1, len(CHEEK_AT_MM) + 1)
    low, high = np.full(2, np.inf), np.full(2, -np.inf)
    for number, tool in enumerate(tools):
        look: dict[str, Any] = {
            "color": _COLOURS[number % len(_COLOURS)],
            "ls": _STYLES[number % len(_STYLES)],
            "lw": 1.6,
        }
        for one, behind in zip(axes, CHEEK_AT_MM, strict=False):
            p = section_behind(tool.gouge, float(behind))
            if len(p):
                one.plot(*np.concatenate([p, p[:1]]).T, **look)
                low, high = np.minimum(low, p.min(0)), np.maximum(high, p.max(0))
            one.set_title(f"section {behind} mm behind the nose", fontsize=9, color=INK, loc="left")
        edge = tool.measures.edge.point
        axes[-1].plot(edge[0], edge[2], **look, label=f"{_letter(number)}  {tool.name}")
    axes[-1].set_title("edge from above", fontsize=9, color=INK, loc="left")
    for one in axes:
        one.set_facecolor(PAPER)
        one.set_aspect("equal")
        one.tick_params(colors=QUIET, labelsize=8)
        one.grid(color="#e2ddd2", lw=0.6)
        for side in one.spines.values():
            side.set_color("#c8c3b8")
        one.set_xlabel("across, mm", color=QUIET, fontsize=8)
    axes[0].set_ylabel("up from the bar's axis, mm", color=QUIET, fontsize=8)
    axes[-1].set_ylabel("behind the nose, mm", color=QUIET, fontsize=8)
    axes[-1].set_adjustable("datalim")
    axes[-1].set_box_aspect(float((high[1] - low[1] + 1) / (high[0] - low[0] + 1)))
    for one in axes[:-1]:
        one.set_xlim(low[0] - 0.5, high[0] + 0.5)
        one.set_ylim(low[1] - 0.5, high[1] + 0.5)
    figure.legend(loc="outside lower center", fontsize=9, frameon=False, ncols=1)
    FigureCanvasAgg(figure).print_png(str(path))
