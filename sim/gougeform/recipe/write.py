"""From a recipe to the text of its file."""

from __future__ import annotations

from gougeform.read.writing import toml_text
from gougeform.recipe.model import Recipe


def to_toml(recipe: Recipe) -> str:
    """The recipe as TOML that needs no library and reads back equal."""
    return toml_text(recipe.table)
