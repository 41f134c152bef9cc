"""The smallest set of tools, against every set there is."""

from __future__ import annotations

import numpy as np

from gougeform.choose.front import smallest_set, union
from gougeform.choose.trial import Tried
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
