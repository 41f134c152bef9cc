"""What do I keep by the grinder? One page with all settings, to print at 100 %."""

from __future__ import annotations

from dataclasses import asdict
from typing import Literal

from gougeform.card.byhand import hand_set
from gougeform.card.card import write_card
from gougeform.card.content import content, steps
from gougeform.grind.gouge import shape
from gougeform.measure.measures import measure
from gougeform.present.answer import Answer, Block, Files
from gougeform.present.files import captured, raw
from gougeform.present.progress import step
from gougeform.recipe.model import Recipe


def answer(recipe: Recipe, paper: Literal["A5", "A4"] = "A5") -> Answer:
    """The settings in the order a person makes them, by ruler and protractor, and the page.

    Raises InputError where it cannot be ground.
    """
    with step("grinding the recipe and drawing its card"):
        exact = measure(shape(recipe))
        measures, why = hand_set(exact)
        pages = captured(lambda folder: write_card(measures, folder / "card", paper, exact))
    card = content(measures, exact)
    wanted = [one.value for one in steps(exact)]
    rows: list[tuple[str, ...]] = [(f"{number}  {one.what}", one.value) for number, one in enumerate(card.steps, 1)]
    if wanted != [one.value for one in card.steps] and len(wanted) == len(rows):
        rows = [(*row, f"exactly {value}" if value != row[1] else "") for row, value in zip(rows, wanted, strict=True)]
    below = f"{card.tolerance}\nThe page is {paper}: print it at 100 %."
    return Answer(
        card.title,
        [Block("Set in this order", rows, ("",) * len(rows[0]), below=below)],
        notes=[why] if why else [],
        result={
            "steps": [asdict(one) for one in card.steps],
            "exact_steps": [asdict(one) for one in steps(exact)],
            "wear": card.wear,
            "tolerance": card.tolerance,
        },
        files=Files({name: raw(content) for name, content in pages.items()}),
        recipe=recipe,
    )
