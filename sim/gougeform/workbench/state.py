"""What lies on the bench: two tools, A and B, and how they are looked at. Pure: no server, no page, no clock.

A tool keeps two tables: what the knobs say (which may be wrong) and the last one that could be ground. So a bad value
never takes the shape away, and a later good one mends it. Whether a recipe can be ground is asked of a function that
is passed in and raises InputError.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from copy import deepcopy
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from gougeform.errors import InputError
from gougeform.machine.jig import DISTANCES
from gougeform.part import Table
from gougeform.recipe.change import apply_changes, without_effect
from gougeform.recipe.model import Recipe
from gougeform.recipe.reading import from_table
from gougeform.recipe.references import Place, fill
from gougeform.recipe.sections import LIBRARY_OF, SECTIONS
from gougeform.workbench.incoming import without_files

TOOLS = ("a", "b")
Grind = Callable[[Recipe], object]


@dataclass(frozen=True)
class Trouble:
    """Why the knobs' recipe cannot be ground: the field it is about ("" for the whole), what is wrong, what to do."""

    field: str
    problem: str
    hint: str = ""

    @property
    def plain(self) -> dict[str, str]:
        """As plain values for the page."""
        return {"field": self.field, "problem": self.problem, "hint": self.hint}

    @classmethod
    def of(cls, error: InputError) -> Trouble:
        """What a person reads of an error."""
        return cls(error.field, error.problem, error.hint)


@dataclass(frozen=True)
class Side:
    """wanted: the table the knobs show. good: the last that could be ground. problem: None where both are the same."""

    wanted: Table
    good: Table
    problem: Trouble | None = None

    @property
    def recipe(self) -> Recipe:
        """The recipe of the shape that is shown."""
        return from_table(self.good)


@dataclass(frozen=True)
class Shown:
    """How the bench is looked at. panel: the open sheet; overlay: both heads in one place; section_mm: behind the nose.

    look: the side the heads are seen from; work: a workpiece's library name ("" for none chosen yet).
    """

    panel: str = "edge"
    overlay: bool = False
    section_mm: float = 5.0
    look: str = "corner"
    work: str = ""

    PANELS = ("edge", "section", "grinder", "reach", "ask", "keep")
    LOOKS = ("corner", "side", "above", "ahead", "below")


@dataclass(frozen=True)
class Desk:
    """Two tools and the view. Benches are equal when they say the same."""

    a: Side
    b: Side
    view: Shown = field(default_factory=Shown)

    def tool(self, which: str) -> Side:
        """Tool "a" or "b". Raises InputError for another name."""
        return self.a if checked_tool(which) == "a" else self.b

    def with_tool(self, which: str, tool: Side) -> Desk:
        """The bench with one tool put in place of another."""
        return replace(self, a=tool) if checked_tool(which) == "a" else replace(self, b=tool)


def checked_tool(which: object) -> str:
    """The name of a tool. Raises InputError for anything but "a" and "b"."""
    if which not in TOOLS:
        raise InputError("tool", f"given {str(which)[:20]!r}, allowed are a and b", "choose one of the two tools")
    return str(which)


def start(a: Recipe, b: Recipe, view: Shown | None = None) -> Desk:
    """A bench with two recipes that are known to be good."""
    return Desk(fresh(a), fresh(b), view or Shown())


def fresh(recipe: Recipe) -> Side:
    """A tool from a recipe that is known to be good."""
    return Side(recipe.table, recipe.table)


def turned(bench: Desk, which: str, changes: Mapping[str, Any], grind: Grind) -> Desk:
    """The bench after fields of one tool were set by dotted name, as `gougeform.recipe.change.changed` takes them.

    A name of the library stands for a whole table ("wheel": "wheel-150"). Where the result cannot be ground the knobs
    keep what was set, and the last good shape stays with the problem beside it. Raises InputError only for a name
    that leads nowhere, or a reference to a file.
    """
    tool = bench.tool(which)
    try:
        plain = _filled(tool.wanted, dict(changes))
        wanted = apply_changes(deepcopy(tool.wanted), plain)
        without_files(wanted)
    except InputError as error:
        return bench.with_tool(which, replace(tool, problem=Trouble.of(error)))
    try:
        recipe = from_table(wanted)
        without_effect(recipe, plain, "")
        grind(recipe)
    except InputError as error:
        return bench.with_tool(which, Side(wanted, tool.good, Trouble.of(error)))
    return bench.with_tool(which, Side(recipe.table, recipe.table))


def opened(bench: Desk, which: str, table: Table, grind: Grind) -> Desk:
    """The bench with a whole recipe opened as one tool.

    Raises InputError where it cannot be read or ground: an opened file must not half replace what is there.
    """
    without_files(table)
    recipe = from_table(table)
    grind(recipe)
    return bench.with_tool(which, fresh(recipe))


def copied(bench: Desk, source: str) -> Desk:
    """The bench with the other tool made the same as `source`, knobs, shape and problem alike."""
    other = "b" if checked_tool(source) == "a" else "a"
    return bench.with_tool(other, bench.tool(source))


def swapped(bench: Desk) -> Desk:
    """The bench with A and B changed over."""
    return replace(bench, a=bench.b, b=bench.a)


def put_back(bench: Desk, which: str) -> Desk:
    """The bench with a tool's knobs set back to the last shape that could be ground."""
    return bench.with_tool(which, fresh(bench.tool(which).recipe))


def differences(a: Mapping[str, float | None], b: Mapping[str, float | None]) -> dict[str, float | None]:
    """B less A for every number either has, in A's order and then B's; None where one of them has none."""
    out: dict[str, float | None] = {}
    for name in [*a, *(name for name in b if name not in a)]:
        mine, other = a.get(name), b.get(name)
        out[name] = None if mine is None or other is None else other - mine
    return out


def looked(view: Shown, changes: Mapping[str, Any]) -> Shown:
    """The view with fields changed. Raises InputError for an unknown field or a value that is not allowed."""
    checks: dict[str, Callable[[Any], bool]] = {
        "panel": lambda x: x in Shown.PANELS,
        "overlay": lambda x: isinstance(x, bool),
        "section_mm": lambda x: isinstance(x, int | float) and not isinstance(x, bool) and 0 <= x <= 200,
        "look": lambda x: x in Shown.LOOKS,
        "work": lambda x: isinstance(x, str) and len(x) <= 100,
    }
    for name, value in changes.items():
        if name not in checks:
            raise InputError(f"view.{name[:40]}", "is not part of the view", f"allowed are {', '.join(checks)}")
        if not checks[name](value):
            raise InputError(f"view.{name}", f"given {str(value)[:40]!r}, which is not allowed", "choose another")
    plain: dict[str, Any] = {k: float(v) if k == "section_mm" else v for k, v in changes.items()}
    return replace(view, **plain)


def _filled(table: Table, changes: dict[str, Any]) -> dict[str, Any]:
    """The changes with library names turned into their tables; a new jig keeps the distance it is set to."""
    out = {}
    for name, value in changes.items():
        section = name.split(".")[0] if name.count(".") == (1 if name.startswith("grind.") else 0) else ""
        if section in LIBRARY_OF and isinstance(value, str):
            without_files({section: value} if section != "grind" else {"grind": [value]})
            value = fill(value, section, name, Place("", Path())).table
            if section == "jig":
                value = _same_distance(table, value)
        out[name] = value
        if name == "grind.0.path":  # each way to move needs one length or angle that the other does not know
            first = table["grind"][0] if isinstance(table.get("grind"), list) and table["grind"] else {}
            path = SECTIONS["path"].classes.get(str(value))
            if path is not None and path.extent not in first:
                out.setdefault(f"grind.0.{path.extent}", path.usual_extent)
    return out


def _same_distance(table: Table, jig: Table) -> Table:
    own = table["jig"] if isinstance(table.get("jig"), dict) else {}
    if any(name in jig for name in DISTANCES):
        return jig
    known = SECTIONS["jig"].of(jig, "jig").model_fields  # a table is tilted for an angle and knows no distance
    return jig | {name: own[name] for name in DISTANCES if name in own and name in known}
