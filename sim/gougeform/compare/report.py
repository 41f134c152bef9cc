"""What `gougeform compare` shows: the table side by side, and sections and outlines laid over each other."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import IO, Any

import numpy as np

from gougeform.compare.tools import ROWS, Compared, differences, section_behind
from gougeform.measure.measures import CHEEK_AT_MM
from gougeform.reach.drawing import INK, PAPER, QUIET
from gougeform.reach.report import MODEL_NOTES
from gougeform.tell.report import NOTHING, console_for, print_list, table

_COLOURS = ("#17403f", "#c07f5e", "#7d4a8d", "#dba63f", "#4d7c9c", "#7f9c4d", "#a31f34", "#565c62")
_STYLES = ("-", "--", "-.", ":")


def print_comparison(tools: Sequence[Compared], cautions: Sequence[str], stream: IO[str]) -> None:
    """The table, one column a tool, then the differences in words."""
    console = console_for(stream)
    reach = tools[0].reach
    console.print(f"Side by side in: {reach.meridian.title or 'the workpiece'}", style="bold", markup=False)
    console.print()
    letters = [_letter(i) for i in range(len(tools))]
    for letter, tool in zip(letters, tools, strict=True):
        console.print(f"  {letter}  {tool.name}: {tool.gouge.recipe.title}", markup=False)
    console.print()
    rows: list[tuple[str, ...]] = [("section", *(_section(t) for t in tools))]
    for key, (words, unit, digits) in ROWS.items():
        cells = [t.numbers[key] for t in tools]
        rows.append((f"{words}, {unit}", *(NOTHING if c is None else f"{c:.{digits}f}" for c in cells)))
    below = (
        f"Deflections for {reach.terms.force_n:g} N; reached: a clearance angle of up to {reach.terms.limit_deg:g}°."
    )
    console.print(table("Numbers", ("", *letters), rows, below))
    print_list(console, f"Against {tools[0].name}", differences(tools))
    print_list(console, "What these numbers are", MODEL_NOTES)
    print_list(console, "Before you grind", cautions)


def _letter(i: int) -> str:
    return "ABCDEFGHIJKLMNOPQRSTUVWXYZ"[i % 26]


def _section(tool: Compared) -> str:
    bar = tool.gouge.recipe.bar
    if bar.outline == "round":
        return f"round {bar.diameter_mm:g}"
    return f"square {bar.side_mm:g}" if bar.outline == "square" else "points"


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
