"""What do I keep by the grinder? One page with all settings, to print at 100 %."""

from __future__ import annotations

from dataclasses import asdict
from typing import Literal

from gougeform.card.card import write_card
from gougeform.card.content import content
from gougeform.grind.gouge import shape
from gougeform.measure.measures import measure
from gougeform.present.answer import Answer, Block, Files
from gougeform.present.files import captured, raw
from gougeform.present.progress import step
from gougeform.recipe.model import Recipe


def answer(recipe: Recipe, paper: Literal["A5", "A4"] = "A5") -> Answer:
    """The settings in the order a person makes them, and the page. Raises InputError where it cannot be ground."""
    with step("grinding the recipe and drawing its card"):
        measures = measure(shape(recipe))
        pages = captured(lambda folder: write_card(measures, folder / "card", paper))
    card = content(measures)
    rows = [(f"{number}  {one.what}", one.value) for number, one in enumerate(card.steps, 1)]
    below = f"{card.tolerance}\nThe page is {paper}: print it at 100 %."
    return Answer(
        card.title,
        [Block("Set in this order", rows, ("", ""), below=below)],
        result={"steps": [asdict(one) for one in card.steps], "wear": card.wear, "tolerance": card.tolerance},
        files=Files({name: raw(content) for name, content in pages.items()}),
        recipe=recipe,
    )
