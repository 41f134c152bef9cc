"""One tool of a study as one row: what a process of ours, or a worker of a cluster, is given to do."""

from __future__ import annotations

import pickle
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any

from gougeform.errors import InputError
from gougeform.study.outputs import compute
from gougeform.study.plan import Constraint, Plan, question_of, recipe_of
from gougeform.study.points import Spot, changes, labels

OK, CONSTRAINT, FAILED = "ok", "constraint", "failed"
"""What can become of a tool: measured; measured or skipped because a constraint is not met; not to be ground."""

FAULT = "fault of the program:"
"""Begins the reason of a row that failed for no fault of the input."""

Task = tuple[int, Spot]
"""The number of a point and its spot."""

Row = tuple[int, str, str, list[float]]
"""The number of a point, its status, the reason, and its outputs (empty where it has none)."""


@lru_cache(maxsize=4)
def _plan(pack: bytes) -> Plan:
    plan: Plan = pickle.loads(pack)  # pickled in the process that asked
    return plan


def work(pack: bytes, task: Task) -> Row:
    """The row of one tool of the pickled plan; a tool that cannot be ground is a row with its reason."""
    return row(_plan(pack), *task)


def row(plan: Plan, number: int, place: Spot) -> Row:
    """Compute one tool."""
    given = labels(plan, place)
    broken = _broken([one for one in plan.constraints if one.name in given], given)
    if broken:
        return number, CONSTRAINT, broken, []
    try:
        own = changes(plan, place)
        values = compute(recipe_of(plan.recipe, own), plan.outputs, question_of(plan.question, own))
    except InputError as error:
        # The file's name would differ from one machine to the next.
        where = f"{error.field}: " if error.field else ""
        return number, FAILED, where + error.problem, []
    except Exception as error:  # a fault of the program in one tool must not stop ten thousand others; the row says so
        return number, FAILED, f"{FAULT} {type(error).__name__}: {str(error)[:200]}", []
    broken = _broken([one for one in plan.constraints if one.name in values], values)
    return number, CONSTRAINT if broken else OK, broken, list(values.values())


def _broken(constraints: Sequence[Constraint], values: Mapping[str, Any]) -> str:
    found = (one.broken_by(float(values[one.name])) for one in constraints)
    return next((text for text in found if text), "")
