"""A study file, read and checked before anything is computed: base recipe, what varies, what is asked of each tool."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from gougeform import __version__
from gougeform.errors import InputError
from gougeform.part import Table
from gougeform.reach.quantities import EVERY
from gougeform.read.complaints import shown, unknown_field
from gougeform.read.library import find, is_path, unknown_name
from gougeform.read.toml import read_toml
from gougeform.recipe.change import changed
from gougeform.recipe.model import Recipe
from gougeform.recipe.references import Place
from gougeform.study.outputs import named
from gougeform.study.question import (
    NAMES,
    PREFIX,
    Question,
    changed_question,
    plain,
    plain_work,
    read_question,
)
from gougeform.study.vary import RECIPE, Vary, base_recipe, ends, number, read_vary, whole_number
from gougeform.work.meridian import Meridian

SAMPLES = ("grid", "latin", "sobol", "sensitivity", "list")
MOST_POINTS = 1_000_000
"""The largest study: an hour and a half of edges on two cores."""

_KEYS = ["title", "recipe", "question", "sample", "points", "seed", "outputs", "vary", "constraint"]
_CONSTRAINT_KEYS = ["name", "least", "most"]
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
        said = {
            "version": __version__,
            "recipe": self.recipe.table,
            "vary": [[one.fields, one.low, one.high, one.steps, one.values, one.meant] for one in self.vary],
            "sample": [self.sample, self.points, self.seed],
            "outputs": self.outputs,
            "constraints": [[one.name, one.least, one.most] for one in self.constraints],
            "question": plain(self.question),
        }
        return hashlib.sha256(json.dumps(said, sort_keys=True, default=_plain).encode()).hexdigest()


def _plain(value: object) -> Any:
    if isinstance(value, Recipe):
        return value.table
    if isinstance(value, Meridian):
        return plain_work(value)
    raise TypeError(f"no plain form of {type(value).__name__}")


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
        return _checked(table, base, name, source)
    except InputError as error:
        raise error.in_file(source) from error.__cause__


def _checked(table: Table, base: Recipe | None, name: str, source: str) -> Plan:
    for key in table:
        if key not in _KEYS:
            raise unknown_field(key, key, _KEYS, "a study")
    title = table.get("title", "")
    if not isinstance(title, str) or len(title) > 200:
        raise InputError("title", f"given {shown(title)}, allowed is a text of at most 200 characters", "change title")
    place = Place(source, Path(source).parent if source else Path())
    sample = table.get("sample", "grid")
    if sample not in SAMPLES:
        raise InputError(
            "sample", f"given {shown(sample)}, allowed is one of {', '.join(SAMPLES)}", "choose one of them"
        )
    recipe = base or base_recipe(table.get("recipe"), place)
    vary = tuple(read_vary(one, i, sample, place) for i, one in enumerate(_tables(table, "vary")))
    if not vary:
        raise InputError("vary", "is missing, at least one field must vary", "add a [[vary]] table")
    plan = Plan(
        recipe,
        vary,
        named(_words(table.get("outputs", ["settings", "edge"]))),
        sample,
        _points(table, sample),
        whole_number(table.get("seed", 0), "seed", 0, _MOST_SEED),
        (),
        read_question(_question(table), place),
        title,
        name,
        source,
    )
    _check_fields(plan)
    _check_size(plan)
    if any(EVERY[name].of.group == "reach" for name in plan.outputs):
        _check_work(plan)
    columns = (*plan.inputs, *plan.outputs)
    constraints = tuple(_constraint(one, i, plan, columns) for i, one in enumerate(_tables(table, "constraint")))
    _check_bounds(plan)
    return replace(plan, constraints=constraints)


def _question(table: Table) -> Table:
    value = table.get("question", {})
    if not isinstance(value, dict):
        raise InputError("question", f"given {shown(value)}, allowed is a table", "write a [question] table")
    return value


def _check_work(plan: Plan) -> None:
    if plan.question.work is None and f"{PREFIX}work" not in plan.inputs:
        raise InputError(
            "question.work",
            "is missing: how far a tool reaches depends on the workpiece",
            'add a [question] table with work = "name" (`gougeform profiles work` lists names)',
        )


def _tables(table: Table, key: str) -> list[Table]:
    found = table.get(key, [])
    if not isinstance(found, list) or not all(isinstance(one, dict) for one in found):
        raise InputError(key, f"given {shown(found)}, allowed are tables", f"write [[{key}]] with two brackets")
    return found


def _words(value: object) -> Sequence[str]:
    words = [value] if isinstance(value, str) else value
    if not isinstance(words, list) or not words or not all(isinstance(word, str) for word in words):
        raise InputError(
            "outputs",
            f"given {shown(value)}, allowed is a list of names",
            "`gougeform study --outputs` lists all of them",
        )
    return words


def _points(table: Table, sample: str) -> int:
    if sample in ("grid", "list"):
        if "points" in table:
            raise InputError(
                "points", f'has no meaning with sample = "{sample}"', "remove it, or choose another sample"
            )
        return 0
    if "points" not in table:
        raise InputError("points", f'is missing: sample = "{sample}" needs the number of tools', "add points")
    points = whole_number(table["points"], "points", 2, 10**12)
    if sample in ("sobol", "sensitivity") and points & (points - 1):
        near = 2 ** round(math.log2(points))
        raise InputError(
            "points",
            f"given {points}, allowed is a power of two: only then are the points even",
            f"write points = {near}",
        )
    return points


def _constraint(table: Table, at: int, plan: Plan, columns: Sequence[str]) -> Constraint:
    where = f"constraint.{at}"
    for key in table:
        if key not in _CONSTRAINT_KEYS:
            raise unknown_field(f"{where}.{key}", key, _CONSTRAINT_KEYS, "a constraint")
    name = table.get("name")
    texts = {f for one in plan.vary for k, f in enumerate(one.fields) if any(isinstance(r[k], str) for r in one.values)}
    if not isinstance(name, str) or name not in columns or name in texts:
        allowed = ", ".join(column[:60] for column in columns if column not in texts)
        raise InputError(
            f"{where}.name", f"given {shown(name)}, allowed is one of {allowed}", "name a column of numbers"
        )
    if "least" not in table and "most" not in table:
        raise InputError(where, "has no limit", "add least, most or both")
    least = number(table["least"], f"{where}.least") if "least" in table else -math.inf
    most = number(table["most"], f"{where}.most") if "most" in table else math.inf
    if least > most:
        raise InputError(f"{where}.most", f"given {most:g}, allowed is at least {least:g}", "swap least and most")
    return Constraint(name, least, most)


def _check_fields(plan: Plan) -> None:
    seen: set[str] = set()
    for i, one in enumerate(plan.vary):
        for name in one.fields:
            if name in seen:
                raise InputError(f"vary.{i}.field", f"{name} varies twice", "vary it in one place")
            seen.add(name)
    if plan.sample == "list" and len({one.count for one in plan.vary}) > 1:
        counts = ", ".join(str(one.count) for one in plan.vary)
        raise InputError(
            "vary",
            f"the lists have {counts} values; read side by side they must be equally long",
            'use sample = "grid" for every combination',
        )
    if plan.sample == "sensitivity":
        if len(plan.vary) < 2:
            raise InputError("vary", "one field alone has nothing to share its effect with", "vary two or more fields")
        for i, one in enumerate(plan.vary):
            if not one.is_range:
                raise InputError(f"vary.{i}.values", "a sensitivity study needs ranges", "give from and to")


def _check_size(plan: Plan) -> None:
    if plan.size <= MOST_POINTS:
        return
    how = " × ".join(str(one.count) for one in plan.vary) if plan.sample == "grid" else f'sample = "{plan.sample}"'
    raise InputError(
        "vary" if plan.sample == "grid" else "points",
        f"the study would have {plan.size:,} tools ({how}), allowed are at most {MOST_POINTS:,}",
        'fewer steps or fields, or sample = "latin" or "sobol" with fewer points',
    )


def _check_bounds(plan: Plan) -> None:
    """Refuse a bound that no recipe can have, whatever the other fields are."""
    each = [ends(one) for one in plan.vary]
    for i in range(len(plan.vary)):
        others = [{k: v for j, end in enumerate(each) if j != i for k, v in end[at].items()} for at in (0, -1)]
        for own in each[i]:
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
    unknown = next((name for name in own if name not in NAMES), None)
    if unknown is not None:
        raise unknown_field(PREFIX + unknown, unknown, list(NAMES), "a question")
    return changed_question(base, own) if own else base
