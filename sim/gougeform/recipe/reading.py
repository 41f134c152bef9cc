"""From a file or a table to a checked recipe. All faults are InputError."""

from __future__ import annotations

from pathlib import Path as FilePath

from gougeform.bar.bar import USUAL_STEEL, Bar
from gougeform.bar.flute import Flute
from gougeform.bar.flutes import FLUTES
from gougeform.bar.handle import Handle
from gougeform.bar.outlines import BARS
from gougeform.errors import InputError
from gougeform.machine.jig import Jig
from gougeform.machine.wheel import WHEELS, Wheel
from gougeform.part import Table
from gougeform.read.complaints import checked_field, shown, unknown_field, validated
from gougeform.read.inches import hinted
from gougeform.read.library import find, is_path, unknown_name
from gougeform.read.toml import read_toml
from gougeform.recipe.model import KEYS, MOST_GRINDS, MOST_OLDER, Recipe, check_flute
from gougeform.recipe.references import Place, entered, file_of, fill, locate, under
from gougeform.recipe.resolving import Grind, checked_jig, resolved


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
        if key not in KEYS:
            raise unknown_field(key, key, list(KEYS), "a recipe")
    title = raw.get("title", "")
    if not isinstance(title, str) or len(title) > 200:
        raise InputError("title", f"given {shown(title)}, allowed is a text of at most 200 characters", "change title")
    table: Table = {}
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
        filled = fill(USUAL_STEEL, "steel", "bar.steel", place)
        table["bar"]["steel"] = filled.table
        files.update(under("bar.steel", filled.files))
    table["grind"] = _filled_grinds(raw.get("grind"), place, files)
    bar: Bar = validated(BARS.of(table["bar"], "bar"), table["bar"], "bar")
    flute: Flute = validated(FLUTES.of(table["flute"], "flute"), table["flute"], "flute")
    check_flute(bar, flute)
    wheel = validated(WHEELS.of(table["wheel"], "wheel"), table["wheel"], "wheel")
    jig = checked_jig(table["jig"], "jig")
    given: Table = {"title": title} if "title" in raw else {}
    for key in ("ruler_mm", "protractor_deg", "taken_mm"):
        if key in raw:
            given[key] = checked_field(Recipe, key, raw[key])
    recipe = Recipe(
        bar=bar, flute=flute, wheel=wheel, jig=jig, grind=_grinds(wheel, jig, table["grind"]), name=name,
        source=place.file, **given,
    )  # fmt: skip
    if "older" in raw:
        recipe = recipe.with_(older=_older(raw["older"], place, depth))
    if "handle" in raw:
        filled = fill(raw["handle"], "handle", "handle", place)
        files.update(under("handle", filled.files))
        recipe = recipe.with_(handle=validated(Handle, filled.table, "handle"))
    return recipe


def _grinds(wheel: Wheel, jig: Jig, tables: list[Table]) -> tuple[Grind, ...]:
    grinds: list[Grind] = []
    for i, table in enumerate(tables):
        try:
            grinds.append(validated(Grind, table, f"grind.{i}"))
        except InputError:
            if grinds:
                resolved(wheel, jig, grinds)  # a fault in an earlier grind is told first
            raise
    return tuple(grinds)


def _filled_grinds(raw: object, place: Place, files: dict[str, str]) -> list[Table]:
    if isinstance(raw, dict):
        raise InputError("grind", "given one table, allowed is a list of tables", "write [[grind]] with two brackets")
    if raw is None or raw == []:
        raise InputError("grind", "is missing, at least one is needed", "add a [[grind]] table")
    if not isinstance(raw, list) or len(raw) > MOST_GRINDS:
        given = f"{len(raw)} grinds" if isinstance(raw, list) else shown(raw)
        raise InputError("grind", f"given {given}, allowed are 1 to {MOST_GRINDS} tables", "write [[grind]] tables")
    tables = []
    for i, value in enumerate(raw):
        filled = fill(value, "grind", f"grind.{i}", place)
        tables.append(filled.table)
        files.update(under(f"grind.{i}", filled.files))
    return tables


def _older(value: object, place: Place, depth: int) -> Recipe:
    if depth >= MOST_OLDER:
        raise InputError("older", f"more than {MOST_OLDER} older tools in a row", "leave out the oldest")
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
