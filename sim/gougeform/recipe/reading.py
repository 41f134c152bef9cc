"""A recipe: one tool and the ways it is ground, read from a file, checked, changed and written back.

Lengths are in mm and angles in degrees throughout, as the field names say. All faults are InputError.
"""

from __future__ import annotations

from collections.abc import Sequence
from copy import deepcopy
from dataclasses import dataclass, field
from pathlib import Path as FilePath
from typing import Any, cast

from gougeform.errors import InputError
from gougeform.read.changes import apply_changes, without_effect
from gougeform.read.complaints import model_for, shown, unknown_field, validated
from gougeform.read.inches import hinted
from gougeform.read.library import find, is_path, unknown_name
from gougeform.read.parts import (
    ArcFlute,
    Bar,
    EllipseFlute,
    Flute,
    FootJig,
    Handle,
    Jig,
    ParabolaFlute,
    Path,
    PointsBar,
    PointsFlute,
    RodJig,
    RoundBar,
    SquareBar,
    SteadyPath,
    Steel,
    TableJig,
    TracedPath,
    VeeFlute,
    Wheel,
)
from gougeform.read.references import Place, Table, entered, file_of, fill, locate, under
from gougeform.read.resolving import ResolvedGrind, part_of, resolved_grinds
from gougeform.read.toml import read_toml
from gougeform.read.writing import toml_text

__all__ = [
    "ArcFlute",
    "Bar",
    "EllipseFlute",
    "Flute",
    "FootJig",
    "Handle",
    "Jig",
    "ParabolaFlute",
    "Path",
    "PointsBar",
    "PointsFlute",
    "Recipe",
    "ResolvedGrind",
    "RodJig",
    "RoundBar",
    "SquareBar",
    "SteadyPath",
    "Steel",
    "TableJig",
    "TracedPath",
    "VeeFlute",
    "Wheel",
    "changed",
    "from_table",
    "load",
    "to_toml",
]

_KEYS = ["title", "bar", "flute", "wheel", "jig", "grind", "older", "handle"]
_MOST_GRINDS = 20
_MOST_OLDER = 20


@dataclass(frozen=True)
class Recipe:
    """One tool and its grinds. Two recipes are equal when they say the same, wherever they were read.

    wheel is the recipe's own; a grind may have another. older is the tool's shape before, or None.
    handle is what follows behind the steel. name is the file's name without .toml and source its path as given, both
    "" for one made from a table.
    table is what it was checked from, with all references filled in.
    """

    bar: Bar
    flute: Flute
    wheel: Wheel
    grinds: tuple[ResolvedGrind, ...]
    older: Recipe | None = None
    handle: Handle = field(default_factory=Handle)
    title: str = ""
    name: str = field(default="", compare=False)
    source: str = field(default="", compare=False)
    table: Table = field(default_factory=dict, compare=False, repr=False)

    @property
    def jig(self) -> Jig:
        """The jig as set for the first grind."""
        return self.grinds[0].jig


def load(path_or_name: str | FilePath) -> Recipe:
    """Read a recipe: a file (ends in .toml, or has a folder in it), or the name of a library recipe.

    Raises InputError with file, field, what was given and allowed, and what to change.
    """
    path: FilePath | None = FilePath(path_or_name)
    if isinstance(path_or_name, str) and not is_path(path_or_name):
        path = find("recipes", path_or_name)
        if path is None:
            raise unknown_name("recipes", path_or_name, "", "")
    assert path is not None
    return _load(path, "", Place("", FilePath()))


def from_table(table: Table, *, name: str = "", source: str = "") -> Recipe:
    """A recipe from a table as tomllib gives it; relative paths in it count from the folder of `source`.

    Raises InputError like load.
    """
    return _build(table, Place(source, FilePath(source).parent if source else FilePath()), name)


def changed(recipe: Recipe, changes: dict[str, Any]) -> Recipe:
    """The recipe with fields set by dotted name: {"jig.projection_mm": 70, "grind.0.shoulder": 1}.

    Whole tables and references can be set too ("wheel": "wheel-150"), a grind appended by the next number,
    and a field removed by None. One of the three distances replaces the others. Raises InputError like load,
    and for a change that could have no effect because every grind has its own value.
    """
    table = apply_changes(deepcopy(recipe.table), changes, recipe.source)
    result = from_table(table, name=recipe.name, source=recipe.source)
    without_effect(result.table, changes, recipe.source)
    return result


def to_toml(recipe: Recipe) -> str:
    """The recipe as TOML that needs no library and reads back equal."""
    return toml_text(recipe.table)


def _load(path: FilePath, where: str, place: Place) -> Recipe:
    inside = entered(path, where, place)
    try:
        table = read_toml(path)
    except InputError as error:
        raise InputError(where, error.problem, error.hint, error.file) from error
    return _build(table, inside, path.stem)


def _build(raw: Table, place: Place, name: str, depth: int = 0) -> Recipe:
    """Check a recipe's table. Errors without a file get the file of the field they name."""
    files: dict[str, str] = {"": place.file}
    try:
        return _checked(raw, place, name, files, depth)
    except InputError as error:
        raise hinted(error, raw).in_file(file_of(files, error.field)) from error.__cause__


def _checked(raw: Table, place: Place, name: str, files: dict[str, str], depth: int) -> Recipe:
    for key in raw:
        if key not in _KEYS:
            raise unknown_field(key, key, _KEYS, "a recipe")
    title = raw.get("title", "")
    if not isinstance(title, str) or len(title) > 200:
        raise InputError("title", f"given {shown(title)}, allowed is a text of at most 200 characters", "change title")
    table: Table = {"title": title} if title else {}
    for section in ("bar", "flute", "wheel", "jig"):
        if section not in raw:
            raise InputError(
                section,
                "is missing, allowed is a table, or the name or path of a file",
                f'add a [{section}] table, or {section} = "name" (`gougeform profiles` lists names)',
            )
        filled = fill(raw[section], section, section, place)
        table[section] = filled.table
        files.update(under(section, filled.files))
    if "steel" not in table["bar"]:
        filled = fill("hss", "steel", "bar.steel", place)
        table["bar"]["steel"] = filled.table
        files.update(under("bar.steel", filled.files))
    table["grind"] = _filled_grinds(raw.get("grind"), place, files)
    bar, flute = _bar(table["bar"]), cast(Flute, part_of("flute", table["flute"], "flute"))
    if flute.length_mm > bar.length_mm:
        raise InputError(
            "flute.length_mm",
            f"given {flute.length_mm:g}, allowed is at most bar.length_mm = {bar.length_mm:g} mm",
            "make the flute shorter or the bar longer",
        )
    wheel = cast(Wheel, part_of("wheel", table["wheel"], "wheel"))
    grinds = resolved_grinds(table, wheel)
    _steel_in_the_clamp(table, bar, grinds)
    older = None
    if "older" in raw:
        older = _older(raw["older"], place, depth)
        _same_stock(older, bar, flute)
        table["older"] = older.table
    handle = Handle()
    if "handle" in raw:
        filled = fill(raw["handle"], "handle", "handle", place)
        table["handle"] = filled.table
        files.update(under("handle", filled.files))
        handle = validated(Handle, filled.table, "handle")
    return Recipe(bar, flute, wheel, grinds, older, handle, title, name, place.file, table)


def _steel_in_the_clamp(table: Table, bar: Bar, grinds: Sequence[ResolvedGrind]) -> None:
    """The projection ends at the clamp face, and behind it the clamp needs bar to hold. Fingers at a table do not."""
    for i, grind in enumerate(grinds):
        given = grind.jig.projection_mm
        if grind.jig.kind == "table" or given < bar.length_mm:
            continue
        holders = (f"grind.{i}", "grind.0")
        own = next((place for place in holders if "projection_mm" in table["grind"][int(place[6:])]), "jig")
        raise InputError(
            f"{own}.projection_mm",
            f"given {given:g}, but the bar has only bar.length_mm = {bar.length_mm:g} mm of steel ahead of the ferrule,"
            " and the clamp holds it behind that projection",
            "a shorter projection, or a longer bar",
        )


def _bar(table: Table) -> Bar:
    model = model_for("bar", table, "bar")
    steel = validated(Steel, table["steel"], "bar.steel")
    return cast(Bar, validated(model, table | {"steel": steel}, "bar"))


def _filled_grinds(raw: object, place: Place, files: dict[str, str]) -> list[Table]:
    if isinstance(raw, dict):
        raise InputError("grind", "given one table, allowed is a list of tables", "write [[grind]] with two brackets")
    if raw is None or raw == []:
        raise InputError("grind", "is missing, at least one is needed", "add a [[grind]] table")
    if not isinstance(raw, list) or len(raw) > _MOST_GRINDS:
        given = f"{len(raw)} grinds" if isinstance(raw, list) else shown(raw)
        raise InputError("grind", f"given {given}, allowed are 1 to {_MOST_GRINDS} tables", "write [[grind]] tables")
    tables = []
    for i, value in enumerate(raw):
        filled = fill(value, "grind", f"grind.{i}", place)
        tables.append(filled.table)
        files.update(under(f"grind.{i}", filled.files))
    return tables


def _older(value: object, place: Place, depth: int) -> Recipe:
    if depth >= _MOST_OLDER:
        raise InputError("older", f"more than {_MOST_OLDER} older tools in a row", "leave out the oldest")
    if isinstance(value, str):
        return _load(locate(value, "recipes", "older", place), "older", place)
    if not isinstance(value, dict):
        raise InputError(
            "older", f"given {shown(value)}, allowed is the name or path of a recipe", 'write older = "name"'
        )
    try:
        return _build(value, place, "", depth + 1)
    except InputError as error:
        inside = f"older.{error.field}" if error.field else "older"
        raise InputError(inside, error.problem, error.hint, error.file) from error.__cause__


def _same_stock(older: Recipe, bar: Bar, flute: Flute) -> None:
    """A tool keeps its bar and flute from one grind to the next; only their lengths change."""
    for section, was, now in (("bar", older.bar, bar), ("flute", older.flute, flute)):
        before, after = was.model_dump(exclude={"length_mm"}), now.model_dump(exclude={"length_mm"})
        for name in sorted({*before, *after}):
            if before.get(name) != after.get(name):
                raise InputError(
                    "older",
                    f"its {section}.{name} is {shown(before.get(name))}, "
                    f"this recipe's is {shown(after.get(name))}; they must be equal, but for length_mm",
                    "name a recipe of the same tool, or give both the same bar and flute",
                )
