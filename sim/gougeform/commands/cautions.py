"""How not to get hurt at the wheel: the full list. With RECIPE the speed of its wheels is checked."""

from __future__ import annotations

import argparse

from gougeform.commands import recipe_argument
from gougeform.present.answer import Answer


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform cautions` takes."""
    recipe_argument(parser, nargs="?")


def answer(given: argparse.Namespace) -> Answer:
    """The full list."""
    from gougeform.present.cautions import answer as cautions

    return cautions(given.recipe)
