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
    """work: the workpiece, and its name as it was written; both are needed by the outputs of the group reach only.

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


NAMES = tuple(one.name for one in fields(Question))


def read_question(table: Table, place: Place) -> Question:
    """The [question] of a study; work is a name or a path from the study's folder. Raises InputError."""
    given = {key: meaning(key, value, f"{PREFIX}{key}", place) for key, value in table.items()}
    return changed_question(Question(), given)


def meaning(name: str, value: Any, where: str, place: Place) -> Any:
    """What a value of a question's field stands for: the workpiece of a name, or a number. Raises InputError."""
    if name not in NAMES:
        raise unknown_field(where, name, list(NAMES), "a question")
    if name != "work":
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e300:
            raise InputError(where, f"given {shown(value)}, allowed is a number", "change it")
        return float(value)
    if not isinstance(value, str):
        raise InputError(
            where, f"given {shown(value)}, allowed is a name or path in quotation marks", "name a workpiece"
        )
    outside = is_path(value) or value.lower().endswith(".csv")
    return load_work(place.folder / Path(value) if outside else value)


def changed_question(question: Question, changes: dict[str, Any]) -> Question:
    """A question with fields set. Raises InputError for a value out of its range."""
    made = replace(question, **changes)
    try:
        check_terms(made.terms)
    except InputError as error:
        raise InputError(PREFIX + error.field, error.problem, error.hint) from error
    if not 0 < made.overhang_mm <= 3000:
        raise InputError(
            f"{PREFIX}overhang_mm",
            f"given {made.overhang_mm:g}, allowed is above 0 and at most 3000 mm",
            "change overhang_mm",
        )
    if made.places != int(made.places):
        raise InputError(f"{PREFIX}places", f"given {made.places:g}, allowed is a whole number", "change places")
    return made


def plain(question: Question) -> Table:
    """A question as plain values, the workpiece by its numbers."""
    out: Table = {name: getattr(question, name) for name in NAMES if name != "work"}
    return out | {"work": None if question.work is None else plain_work(question.work)}


def plain_work(work: Meridian) -> Table:
    """A workpiece by its numbers."""
    arrays = {name: getattr(work, name).tolist() for name in ("start", "end", "centre", "turn", "cut", "inside")}
    return arrays | {"ring": work.ring}
