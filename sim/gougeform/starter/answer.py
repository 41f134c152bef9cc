"""How do I write my own tool down? A first recipe to fill in, ground once, with drawings of where to measure."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import partial
from pathlib import Path

from gougeform.errors import InputError
from gougeform.present.answer import Answer, Block, Cell, Files, Number
from gougeform.present.files import text
from gougeform.present.folder import refuse_taken
from gougeform.present.progress import step
from gougeform.quantity import unit_of
from gougeform.read.complaints import shown
from gougeform.settings.names import NAMES
from gougeform.settings.sensitivity import OUTPUTS, Sensitivity, sensitivity, sentence
from gougeform.starter.sketch import draw_bar, draw_jig
from gougeform.starter.text import Starter, next_steps, starter
from gougeform.starter.values import Choices, full_name, gone_with
from gougeform.tool.doubts import doubts

_CHOSEN = ("distance", "wing_length", "fullness", "shoulder", "roll")
"""Settings that are chosen and not measured."""
_TOLD = ("nose_angle_deg", "rim_distance_mm", "centre_distance_mm", "wing_angle_deg.50")


def answer(file: str, kinds: Choices, readings: Mapping[str, str | float], title: str | None = None) -> Answer:
    """The recipe FILE.toml for these kinds, with a person's readings by field, and what a slip in one of them does.

    A tool that cannot be ground as asked is written all the same, with why and the nearest outline that can. Raises
    InputError for a name that is taken or no .toml, and where the readings fit no recipe.
    """
    asked, place, kinds = kinds, _place(file), kinds.filled()
    _printable(title or "", "title")
    given = _readings(readings, kinds)
    refuse_taken(place)  # before any work; looked at again when it is written
    with step("grinding it once"):
        made = starter(kinds, given, file, title)
    recipe, measures = made.recipe, made.measures
    found = None if made.problem else sensitivity(recipe)
    slips = {} if found is None else _slips(found)
    pictures = {}
    if measures is not None:
        outline = recipe.grinds[0].path.outline(measures.gouge.section) if made.problem else None
        pictures = {
            f"{place.stem}-bar.png": partial(draw_bar, measures, asked=outline),
            f"{place.stem}-jig.png": partial(draw_jig, measures),
        }
    measured = () if measures is None else measures.notes
    return Answer(
        recipe.title,
        [
            Block(below=f"Open {file} in a text editor and put your own readings in, from the top down."),
            *([] if found is None else [_slip_block(slips, "tilt" in found.names)]),
        ],
        verdict=_verdict(made),
        notes=[*gone_with(asked, kinds), *measured, *(f"{doubt}." for doubt in doubts(recipe))],
        result={
            "problem": made.problem,
            "nearest": dict(made.nearest),
            **({} if measures is None else measures.table(*_TOLD)),
            "per_unit": {
                NAMES[name].column: {"nose_deg": nose, "wing50_deg": wing} for name, (nose, wing) in slips.items()
            },
            **({} if found is None else {"in_a_sentence": sentence(found)}),
        },
        files=Files({place.name: text(made.text), **pictures}, place.parent, fresh=True),
        next=next_steps(kinds, file),
        recipe=recipe,
    )


def _verdict(made: Starter) -> str:
    if not made.problem:
        return ""
    words = f"NOT MET: as asked it cannot be ground: {made.problem}."
    if not made.nearest:
        return f"{words} No outline near it can either: look at the jig's lengths first."
    nearest = ", ".join(f"{name} {value:g}" for name, value in made.nearest.items())
    return f"{words} The nearest outline that can has {nearest}; it stands in file and drawing."


def _place(file: str) -> Path:
    """Where the recipe goes. Raises InputError for a name that is no .toml file."""
    _printable(file, "file")
    place = Path(file)
    if place.suffix.lower() != ".toml" or not place.stem.strip():
        name = file.removesuffix(".txt").removesuffix(".toml").rstrip(".") or "mine"
        raise InputError("file", f"given {file[:80]}, which does not end in .toml", f"write {name[:80]}.toml")
    return place


def _printable(words: str, field: str) -> None:
    """Raise InputError for what would break a comment of the file, or cannot be written as UTF-8 at all."""
    if not words.isprintable():
        raise InputError(field, "has a line break or another sign that cannot be printed", "leave it out")


def _readings(readings: Mapping[str, str | float], kinds: Choices) -> dict[str, float | str]:
    """Readings by "table.field", as numbers but for the steel. Raises InputError."""
    given: dict[str, float | str] = {}
    for name, value in readings.items():
        full = full_name(name, kinds)
        if full in given:
            raise InputError("set", f"{full} is given twice", "keep one of them")
        given[full] = value if full == "bar.steel" else _number(full, value)
    return given


def _number(name: str, value: str | float) -> float:
    try:
        size = float(value)
    except ValueError:
        size = math.nan
    if not abs(size) < 1e9:
        raise InputError(f"set {name}", f"given {shown(value)}, allowed is a number", "write it like 12.5")
    return size


def _slips(found: Sensitivity) -> dict[str, tuple[float, float]]:
    """By setting that a hand measures: what one unit more does to nose and half way up the wing, deg."""
    wing = OUTPUTS.index("wing50")
    slopes = zip(found.names, found.slope.tolist(), strict=True)
    return {name: (slope[0], slope[wing]) for name, slope in slopes if name not in _CHOSEN}


def _slip_block(slips: dict[str, tuple[float, float]], table: bool) -> Block:
    rows: list[tuple[Cell, ...]] = [
        (
            f"{NAMES[name].words}, 1{unit_of(NAMES[name].column).sign} more",
            *(Number(value, "slip_deg", plus=True) for value in both),
        )
        for name, both in sorted(slips.items(), key=lambda item: -abs(item[1][0]))
    ]
    still = "" if table else "With pocket or rod left where it is. "
    below = f"{still}Take the most care over what stands at the top."
    return Block("What a slip in one reading does", rows, ("", "nose", "half way up the wing"), below=below)
