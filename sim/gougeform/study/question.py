"""What a study asks besides the edge: which workpiece the tool is to reach into, and how far it hangs over the rest."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

from gougeform.errors import InputError
from gougeform.part import Table
from gougeform.reach.quantities import OVERHANG_MM
from gougeform.reach.result import GAP_MM, LIMIT_DEG, PLACES, Terms, check_terms
from gougeform.read.complaints import shown, unknown_field
from gougeform.read.library import is_path
from gougeform.recipe.references import Place
from gougeform.stiffness.beam import FORCE_N
from gougeform.work.files import load_work
from gougeform.work.meridian import Meridian

PREFIX = "question."
"""Begins the dotted names of a question's fields where they vary."""


@dataclass(frozen=True)
class Question:
    """work: the workpiece; needed by the outputs of the group reach only.

    overhang_mm: edge to rest, for the group stiffness. The rest as in `gougeform.reach.result.Terms`.
    """

    work: Meridian | None = None
    overhang_mm: float = OVERHANG_MM
    force_n: float = FORCE_N
    limit_deg: float = LIMIT_DEG
    places: float = PLACES
    gap_mm: float = GAP_MM

    @property
    def terms(self) -> Terms:
        """The terms of a reach."""
        return Terms(limit_deg=self.limit_deg, places=int(self.places), gap_mm=self.gap_mm, force_n=self.force_n)


_NAMES = [one.name for one in fields(Question)]


def read_question(table: Table, place: Place) -> Question:
    """The [question] of a study; work is a name or a path from the study's folder. Raises InputError."""
    return changed_question(Question(), {key: meaning(key, value, PREFIX + key, place) for key, value in table.items()})


def number(value: object, where: str) -> float:
    """A value that must be a number. Raises InputError."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e300:
        raise InputError(where, f"given {shown(value)}, allowed is a number", "change it")
    return float(value)


def meaning(name: str, value: Any, where: str, place: Place) -> Any:
    """What a value of a question's field stands for: the workpiece of a name, or a number. Raises InputError."""
    if name not in _NAMES:
        raise unknown_field(where, name, _NAMES, "a question")
    if name != "work":
        return number(value, where)
    if not isinstance(value, str):
        given = f"given {shown(value)}, allowed is a name or path in quotation marks"
        raise InputError(where, given, "name a workpiece")
    outside = is_path(value) or value.lower().endswith(".csv")
    return load_work(place.folder / Path(value) if outside else value)


def changed_question(question: Question, changes: dict[str, Any]) -> Question:
    """A question with fields set. Raises InputError for a field that does not exist or a value out of its range."""
    for name in changes:
        if name not in _NAMES:
            raise unknown_field(PREFIX + name, name, _NAMES, "a question")
    made = replace(question, **changes)
    try:
        check_terms(made.terms)
    except InputError as error:
        raise InputError(PREFIX + error.field, error.problem, error.hint) from error
    for name, good, allowed in (
        ("overhang_mm", 0 < made.overhang_mm <= 3000, "is above 0 and at most 3000 mm"),
        ("places", made.places == int(made.places), "is a whole number"),
    ):
        if not good:
            raise InputError(PREFIX + name, f"given {getattr(made, name):g}, allowed {allowed}", f"change {name}")
    return made
