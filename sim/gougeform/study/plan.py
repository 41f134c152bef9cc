"""A study file, read and checked before anything is computed: base recipe, what varies, what is asked of each tool."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field, is_dataclass, replace
from pathlib import Path
from typing import Any

from gougeform import __version__
from gougeform.errors import InputError
from gougeform.part import Table
from gougeform.reach.quantities import EVERY
from gougeform.read.complaints import shown
from gougeform.read.library import find, is_path, unknown_name
from gougeform.read.toml import read_toml
from gougeform.recipe.change import changed
from gougeform.recipe.model import Recipe
from gougeform.recipe.references import Place
from gougeform.study.outputs import named
from gougeform.study.question import PREFIX, Question, changed_question, number, read_question
from gougeform.study.vary import RECIPE, Vary, base_recipe, known, read_vary, whole_number, wrong

SAMPLES = ("grid", "latin", "sobol", "sensitivity", "list")
MOST_POINTS = 1_000_000
"""The largest study: an hour and a half of edges on two cores."""

_KEYS = ("title", "recipe", "question", "sample", "points", "seed", "outputs", "vary", "constraint")
_MOST_SEED = 2**63 - 1


@dataclass(frozen=True)
class Constraint:
    """Least and most that a column may be; -inf and inf where there is no limit."""

    name: str
    least: float = -math.inf
    most: float = math.inf

    def broken_by(self, value: float) -> str:
        """Why a value does not do, or nothing."""
        if math.isnan(value):
            return f"{self.name} has no value here"
        if value < self.least:
            return f"{self.name} is {value:.6g}, asked is at least {self.least:g}"
        return f"{self.name} is {value:.6g}, asked is at most {self.most:g}" if value > self.most else ""


@dataclass(frozen=True)
class Plan:
    """A checked study. size is the number of tools. recipe.table and the values' meanings need no library any more."""

    recipe: Recipe
    vary: tuple[Vary, ...]
    outputs: tuple[str, ...]
    sample: str = "grid"
    points: int = 0
    seed: int = 0
    constraints: tuple[Constraint, ...] = ()
    question: Question = field(default_factory=Question)
    title: str = ""
    name: str = ""
    source: str = field(default="", compare=False)

    @property
    def inputs(self) -> tuple[str, ...]:
        """Columns of the table that are set, not computed."""
        return tuple(name for one in self.vary for name in one.fields)

    @property
    def texts(self) -> tuple[str, ...]:
        """Those of the inputs that are names."""
        columns = ((name, k, one) for one in self.vary for k, name in enumerate(one.fields))
        return tuple(name for name, k, one in columns if any(isinstance(row[k], str) for row in one.values))

    @property
    def size(self) -> int:
        """How many tools the study has."""
        if self.sample == "grid":
            return math.prod(one.count for one in self.vary)
        if self.sample == "list":
            return self.vary[0].count
        return self.points * (len(self.vary) + 2) if self.sample == "sensitivity" else self.points

    @property
    def fingerprint(self) -> str:
        """A text that differs between studies whose tables differ; the program's version is part of it."""
        said = (__version__, self.recipe, self.vary, self.sample, self.points, self.seed, self.outputs,
                self.constraints, self.question)  # fmt: skip
        return hashlib.sha256(json.dumps(said, sort_keys=True, default=_plain).encode()).hexdigest()


def _plain(value: Any) -> Any:
    """A recipe by its table, an array by its numbers, any other dataclass by its fields."""
    if isinstance(value, Recipe):
        return value.table
    if is_dataclass(value):
        return {name: getattr(value, name) for name in value.__dataclass_fields__}
    return value.tolist()


def read(path_or_name: str | Path) -> Plan:
    """Read a study: a file that ends in .toml, or the name of one in the library.

    Raises InputError with file, field, what was given and allowed, and what to change.
    """
    path: Path | None = Path(path_or_name)
    if isinstance(path_or_name, str) and not is_path(path_or_name):
        path = find("studies", path_or_name)
        if path is None:
            raise unknown_name("studies", path_or_name, "", "")
    assert path is not None
    return from_table(read_toml(path), name=path.stem, source=str(path))


def text_of(plan: Plan) -> str:
    """The study file's text. Raises InputError where it can no longer be read."""
    try:
        return Path(plan.source).read_text(encoding="utf-8-sig")
    except OSError as error:
        raise InputError("", f"cannot be read: {error.strerror}", "check who may read it", plan.source) from error


def from_table(table: Table, *, base: Recipe | None = None, name: str = "", source: str = "") -> Plan:
    """A study from a table as tomllib gives it; relative paths in it count from the folder of `source`.

    base: the base recipe, where the table names none. Raises InputError like read.
    """
    try:
        plan = _read(table, base, name, source)
        _check_fields(plan)
        _check_size(plan)
        if any(EVERY[one].of.group == "reach" for one in plan.outputs):
            _check_work(plan)
        constraints = [_constraint(one, f"constraint.{i}", plan) for i, one in enumerate(_tables(table, "constraint"))]
        _check_bounds(plan)
        return replace(plan, constraints=tuple(constraints))
    except InputError as error:
        raise error.in_file(source) from error.__cause__


def _read(table: Table, base: Recipe | None, name: str, source: str) -> Plan:
    known(table, _KEYS, "a study")
    title, sample = table.get("title", ""), table.get("sample", "grid")
    question = table.get("question", {})
    if not isinstance(title, str) or len(title) > 200:
        raise wrong("title", title, "is a text of at most 200 characters")
    if sample not in SAMPLES:
        raise wrong("sample", sample, f"is one of {', '.join(SAMPLES)}", "choose one of them")
    if not isinstance(question, dict):
        raise wrong("question", question, "is a table", "write a [question] table")
    place = Place(source, Path(source).parent if source else Path())
    recipe = base or base_recipe(table.get("recipe"), place)
    vary = tuple(read_vary(one, f"vary.{i}", sample, place) for i, one in enumerate(_tables(table, "vary")))
    if not vary:
        raise InputError("vary", "is missing, at least one field must vary", "add a [[vary]] table")
    words = table.get("outputs", ["settings", "edge"])
    words = [words] if isinstance(words, str) else words
    if not isinstance(words, list) or not words or not all(isinstance(word, str) for word in words):
        raise wrong("outputs", words, "is a list of names", "name some, or leave it out for settings and edge")
    seed = whole_number(table.get("seed", 0), "seed", 0, _MOST_SEED)
    points = _points(table, sample)
    asked = read_question(question, place)
    return Plan(recipe, vary, named(words), sample, points, seed, (), asked, title, name, source)


def _tables(table: Table, key: str) -> list[Table]:
    found = table.get(key, [])
    if not isinstance(found, list) or not all(isinstance(one, dict) for one in found):
        raise InputError(key, f"given {shown(found)}, allowed are tables", f"write [[{key}]] with two brackets")
    return found


def _points(table: Table, sample: str) -> int:
    if sample in ("grid", "list"):
        if "points" in table:
            hint = "remove it, or choose another sample"
            raise InputError("points", f'has no meaning with sample = "{sample}"', hint)
        return 0
    hint = f'sample = "{sample}" needs the number of tools: give points'
    points = whole_number(table.get("points"), "points", 2, 10**12, hint)
    if sample in ("sobol", "sensitivity") and points & (points - 1):
        near = 2 ** round(math.log2(points))
        raise wrong("points", points, "is a power of two: only then are the points even", f"write points = {near}")
    return points


def _constraint(table: Table, where: str, plan: Plan) -> Constraint:
    known(table, ("name", "least", "most"), "a constraint", where)
    name, columns = table.get("name"), [one for one in (*plan.inputs, *plan.outputs) if one not in plan.texts]
    if name not in columns:
        allowed = ", ".join(column[:60] for column in columns)
        raise wrong(f"{where}.name", name, f"is one of {allowed}", "name a column of numbers")
    limits = {key: number(table[key], f"{where}.{key}") for key in ("least", "most") if key in table}
    if not limits:
        raise InputError(where, "has no limit", "add least, most or both")
    made = Constraint(str(name), **limits)
    if made.least > made.most:
        raise wrong(f"{where}.most", made.most, f"is at least {made.least:g}", "swap least and most")
    return made


def _check_work(plan: Plan) -> None:
    if plan.question.work is None and f"{PREFIX}work" not in plan.inputs:
        raise InputError(
            "question.work",
            "is missing: how far a tool reaches depends on the workpiece",
            'add a [question] table with work = "name" (`gougeform profiles work` lists names)',
        )


def _check_fields(plan: Plan) -> None:
    seen: set[str] = set()
    for i, one in enumerate(plan.vary):
        for name in one.fields:
            if name in seen:
                raise InputError(f"vary.{i}.field", f"{name} varies twice", "vary it in one place")
            seen.add(name)
    if plan.sample == "list" and len({one.count for one in plan.vary}) > 1:
        counts = ", ".join(str(one.count) for one in plan.vary)
        given = f"the lists have {counts} values; read side by side they must be equally long"
        raise InputError("vary", given, 'use sample = "grid" for every combination')
    if plan.sample == "sensitivity":
        if len(plan.vary) < 2:
            raise InputError("vary", "one field alone has nothing to share its effect with", "vary two or more fields")
        for i, one in enumerate(plan.vary):
            if not one.is_range:
                raise InputError(f"vary.{i}.values", "a sensitivity study needs ranges", "give from and to")


def _check_size(plan: Plan) -> None:
    if plan.size > MOST_POINTS:
        grid = plan.sample == "grid"
        how = " × ".join(str(one.count) for one in plan.vary) if grid else f'sample = "{plan.sample}"'
        raise InputError(
            "vary" if grid else "points",
            f"the study would have {plan.size:,} tools ({how}), allowed are at most {MOST_POINTS:,}",
            'fewer steps or fields, or sample = "latin" or "sobol" with fewer points',
        )


def _check_bounds(plan: Plan) -> None:
    """Refuse a bound that no recipe can have, whatever the other fields are."""
    each = [one.ends for one in plan.vary]
    for i, ends in enumerate(each):
        others = [{k: v for j, end in enumerate(each) if j != i for k, v in end[at].items()} for at in (0, -1)]
        for own in ends:
            worst = _fault(plan, own)
            if worst is not None and all(_fault(plan, {**other, **own}) is not None for other in others):
                raise InputError(f"vary.{i}", f"{worst.field}: {worst.problem}", worst.hint)


def _fault(plan: Plan, changes: Mapping[str, Any]) -> InputError | None:
    try:
        recipe_of(plan.recipe, changes)
        question_of(plan.question, changes)
    except InputError as error:
        return error
    return None


def recipe_of(base: Recipe, changes: Mapping[str, Any]) -> Recipe:
    """The recipe of one tool of a study; `recipe` among the changes replaces the base. Raises InputError."""
    own = {name: value for name, value in changes.items() if not name.startswith(PREFIX)}
    start = own.pop(RECIPE, base)
    return changed(start, own) if own else start


def question_of(base: Question, changes: Mapping[str, Any]) -> Question:
    """What is asked of one tool of a study. Raises InputError."""
    own = {name.removeprefix(PREFIX): value for name, value in changes.items() if name.startswith(PREFIX)}
    return changed_question(base, own) if own else base
