"""Which bar and flute are these? A drawing or measured points as a recipe."""

from __future__ import annotations

from pathlib import Path

from gougeform.errors import InputError
from gougeform.present.answer import Answer, Files, Next, WrittenFile
from gougeform.present.files import text
from gougeform.present.progress import step
from gougeform.recipe.model import Recipe
from gougeform.recipe.write import to_toml
from gougeform.take.answers.telling import difference, fits_block, ground, label, numbers_block
from gougeform.take.drawing import read_drawing
from gougeform.take.known import tables
from gougeform.take.section import take_section, with_section


def answer(file: str | Path, like: Recipe, scale_mm: float | None = None) -> Answer:
    """Bar and flute of an SVG, DXF or CSV file, on the machine and with the grind of the recipe `like`.

    scale_mm: mm that one unit of the file is. Raises InputError.
    """
    drawing = read_drawing(file, scale_mm)
    with step("laying curves over it"):
        try:
            taken = take_section(*drawing.told_apart())
            recipe = with_section(like, taken, Path(file).name)
        except InputError as error:
            raise error.in_file(str(file)) from None
    notes = [f"Lengths are taken from {drawing.unit}."]
    more = len(drawing.chains) - 2
    if more > 0:
        notes.append(
            f"{more} more line{'s' if more > 1 else ''} in the drawing {'are' if more > 1 else 'is'} not used."
        )
    notes.append(
        f"Wheel, jig, grind and the lengths along the bar are those of {like.title or like.name}: a section shows none."
    )
    with step("grinding it once"):
        measures = ground(recipe, notes)
    block, off, pictures = difference(taken, recipe, f"{Path(file).name}\nwhat was drawn, and the recipe's section")
    return Answer(
        recipe.title,
        [
            numbers_block(
                "Bar and flute", {name: (label(recipe, name), known) for name, known in taken.numbers.items()}
            ),
            fits_block(taken),
            block,
        ],
        notes=notes,
        result={
            "bar": taken.bar,
            "flute": taken.flute,
            "numbers": tables(taken.numbers),
            "off": off,
            "grinds": measures is not None,
        },
        files=Files({"recipe.toml": text(to_toml(recipe)), **pictures}, record="result.json"),
        next=[Next("grind", [WrittenFile("recipe.toml")], why="to see what edge comes off the wheel")],
        recipe=recipe,
    )
