"""The smallest set of tools, against every set there is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from gougeform.choose.answer import _together
from gougeform.choose.front import smallest_set, union
from gougeform.choose.search import Searched
from gougeform.choose.trial import Asked, Tried
from gougeform.recipe.reading import load


def test_the_smallest_set_is_the_smallest():
    """Against every pair and triple of made-up tools (brute force)."""
    from itertools import combinations

    rng = np.random.default_rng(4)
    recipe = load("finial-round-10-fingernail-foot")

    class Places:
        length = np.ones(12)

    for _ in range(20):
        masks = rng.random((7, 12)) < 0.45
        tools = [
            Tried(0, {}, recipe, mask, float((~mask).sum()), 30.0 + i, 10, 1.0, 1, 1.0, None)
            for i, mask in enumerate(masks)
        ]
        every = union(tools)
        chosen = smallest_set(tools, Places)
        assert np.logical_or.reduce([one.reached for one in chosen])[every].all()
        fewest = next(
            size
            for size in range(1, 8)
            for group in combinations(masks, size)
            if np.logical_or.reduce(group)[every].all()
        )
        assert len(chosen) == fewest


def test_the_set_is_told_by_the_names_its_recipes_are_written_under():
    """A tool of the short list by its letter, another by its file; each with what it adds to those before."""
    recipes = [load(f"finial-round-10-{grind}-foot") for grind in ("fingernail", "plain")]
    masks = np.array([[True, True, True, False], [False, False, True, True]])
    tools = [
        Tried(0, {}, recipe, mask, float((~mask).sum()), 35.0, 10, 1.0, 1, 1.0, None)
        for recipe, mask in zip(recipes, masks, strict=True)
    ]
    asked = Asked((), (), np.full(4, 2.0), np.zeros(4), np.zeros(4, int))
    # A tool that was looked at again since is a copy: its recipe is what it goes by.
    together = [replace(tools[0], missed=9.0), tools[1]]
    block = _together(Searched(None, tools, {}), asked, together, {recipes[0]: "A", recipes[1]: "set-1"})
    assert [point.split(":")[0] for point in block.points] == ["A", "set-1"]
    assert [point.rsplit(": ", 1)[1] for point in block.points] == ["6.0 mm", "2.0 mm more"]
    assert "8.0 mm" in block.below
