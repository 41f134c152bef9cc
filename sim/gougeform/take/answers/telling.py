"""What every answer of this room tells: numbers with their uncertainty, whether it grinds, how far it is off."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.measure.measures import Measures, measure
from gougeform.present.answer import Block, Cell, Number
from gougeform.present.files import Maker, chart, line
from gougeform.present.palette import COOL, INK, SOFT, WARM
from gougeform.recipe.model import Recipe
from gougeform.take.fits import Laid
from gougeform.take.known import Known
from gougeform.take.section import TakenSection, build_section

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Floats = NDArray[np.float64]

_LEAST_SHOWN = 0.01  # mm

COVERED = "± holds 95 of 100 true values, if the file is what it says it is."
CHOSEN = "Taken is the kind with the fewest numbers that lies on the line; where none does, the first."


def label(recipe: Recipe, name: str) -> str:
    """Words for a number by its name in the recipe, `bar.diameter_mm`; of a grind the plain name."""
    part, _, field = name.rpartition(".")
    model = getattr(recipe, part, None) if part else None
    words = model.meaning(field).label if model is not None else field or name
    return f"{part}: {words}" if part else words


def numbers_block(title: str, rows: Mapping[str, tuple[str, Known]]) -> Block:
    """A table of measured numbers; rows: by key with its unit, the words and the number."""
    cells: list[list[Cell]] = []
    for key, (words, known) in rows.items():
        cells.append([words, *shown_with(known, key)])
    return Block(title, cells, ("", "", ""), below=COVERED)


def shown_with(known: Known, key: str) -> tuple[Cell, Cell]:
    """A number and its uncertainty, to the digits that it leaves."""
    digits = int(np.clip(1 - np.floor(np.log10(max(known.off, 1e-4))), 1, 4))
    return Number(known.value, key, digits), f"± {Number(known.off, key, digits)}"


def fits_block(taken: TakenSection) -> Block:
    """Every curve that was laid over outline and flute, best first, with how far it is off."""
    rows: list[list[Cell]] = []
    for part, fits in (("bar", taken.outlines), ("flute", taken.flutes)):
        rows += [[f"{part}: {fit.kind}", _words(fit), Number(fit.rms, "rms_mm", 4)] for fit in fits]
    return Block("Curves laid over it, best first", rows, ("", "", "off by, rms"), below=CHOSEN)


def _words(fit: Laid) -> str:
    if fit.points is not None:
        return f"{len(fit.points)} points"
    return ", ".join(f"{name} {known.value:.4g}" for name, known in fit.fields.items())


def ground(recipe: Recipe, notes: list[str]) -> Measures | None:
    """The recipe, ground; None where it cannot be, which is put among the notes with its reason."""
    try:
        return measure(shape(recipe))
    except InputError as error:
        notes.append(f"As it stands it cannot be ground: {error.problem}. Change the recipe: {error.hint}.")
        return None


def difference(taken: TakenSection, recipe: Recipe, title: str) -> tuple[Block, dict[str, Any], dict[str, Maker]]:
    """How far the section that was taken and the recipe's differ: a table, numbers for programs, a picture."""
    section = build_section(recipe.bar, recipe.flute)
    outline, flute = taken.off(section)
    rows: list[list[Cell]] = []
    result = {}
    for part, off in (("outline", outline), ("flute", flute)):
        rms, most = float(np.sqrt(np.mean(off**2))), float(np.abs(off).max())
        rows.append([part, Number(rms, "rms_mm", 4), Number(most, "most_mm", 4)])
        result[part] = {"rms_mm": rms, "largest_mm": most}

    def draw(top: Axes, low: Axes) -> None:
        whole = section.ring(400)
        closed = np.vstack([whole, whole[:1]])
        line(top, closed[:, 0], closed[:, 1], "recipe", INK, "--", zorder=3)
        for points, name, color in ((taken.outline, "outline taken", COOL), (taken.line, "flute taken", WARM)):
            top.plot(*points.T, ".", color=color, markersize=2.5, label=name)
        top.set_aspect("equal", "datalim")
        top.set_xlabel("across the bar, mm")
        top.legend(frameon=False, fontsize=8)
        for points, off, name, color in (
            (taken.outline, outline, "outline", COOL),
            (taken.line, flute, "flute", WARM),
        ):
            way = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
            line(low, way, off, name, color)
        least = max(_LEAST_SHOWN, 1.1 * float(np.abs(np.concatenate([outline, flute])).max()))
        low.set_ylim(-least, least)  # so that what is nothing looks like nothing
        low.axhline(0, color=SOFT, linewidth=0.8)
        low.set_xlabel("along the line, mm")
        low.set_ylabel("taken outside the recipe, mm")
        low.legend(frameon=False, fontsize=8)

    pictures = chart("difference", draw, title, panels=2, size=(7.0, 8.0))
    return Block("The recipe's section against what was taken", rows, ("", "rms", "largest")), result, pictures
