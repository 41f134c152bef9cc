"""What a study can compute of one tool: the columns of `gougeform.reach.quantities.EVERY`, by name or by group.

Only what is asked for is computed: an edge costs some milliseconds, a volume a tenth of a second.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from gougeform.errors import InputError
from gougeform.reach.quantities import EVERY, AtWork
from gougeform.read.library import nearest
from gougeform.recipe.model import Recipe
from gougeform.study.question import Question

GROUPS = tuple(dict.fromkeys(one.of.group for one in EVERY.values()))
"""Groups of outputs that can be asked for by one word."""

_AT_A_TIME_MS, _MOST = 100.0, 16
_TOOL_MS = 6.0  # grind and edge


def named(words: Sequence[str], field: str = "outputs", file: str = "") -> tuple[str, ...]:
    """The outputs meant by names and groups, in the order given, each once; a name without its place means all places.

    Raises InputError for a word that is none of these.
    """
    found: dict[str, None] = {}
    for word in words:
        meant = [name for name, one in EVERY.items() if word in (name, one.of.key, one.of.group)]
        if not meant:
            close = nearest(word, [*EVERY, *GROUPS])
            raise InputError(
                field,
                f'given "{word[:60]}", which is no output of a study',
                (f'did you mean "{close}"? ' if close else "") + "`gougeform study --outputs` lists all of them",
                file,
            )
        found.update(dict.fromkeys(meant))
    return tuple(found)


def chunk_size(names: Sequence[str]) -> int:
    """How many tools to compute at a time: about a tenth of a second's work, the most that a kill can cost."""
    each = _TOOL_MS + max(EVERY[name].of.cost_ms for name in names)
    return min(max(round(_AT_A_TIME_MS / each), 1), _MOST)


def compute(recipe: Recipe, names: Sequence[str], question: Question | None = None) -> dict[str, float]:
    """The outputs of one tool; NaN where one has no meaning.

    Raises InputError where the tool cannot be ground, or the question cannot be put to it.
    """
    asked = question or Question()
    tool = AtWork(recipe, asked.work, asked.terms, asked.overhang_mm)
    _ = tool.measures  # a grind that nobody can make is refused, whatever is asked of it
    values = ((name, tool.value(name)) for name in names)
    return {name: math.nan if value is None else value for name, value in values}
