"""Changes a recipe: sets fields by their dotted names."""

from __future__ import annotations

from collections.abc import Mapping
from copy import deepcopy
from typing import Any

from gougeform.errors import InputError
from gougeform.machine.jig import DISTANCES
from gougeform.part import Table
from gougeform.read.complaints import shown
from gougeform.recipe.model import Recipe
from gougeform.recipe.reading import from_table
from gougeform.recipe.references import overlaid
from gougeform.recipe.sections import INSIDE


def changed(recipe: Recipe, changes: Mapping[str, Any]) -> Recipe:
    """The recipe with fields set by dotted name: {"jig.projection_mm": 70, "grind.0.shoulder": 1}.

    Whole tables and references can be set too ("wheel": "wheel-150"), a grind appended by the next number,
    and a field removed by None. One of the three distances replaces the others. Raises InputError like load,
    and for a change that could have no effect because every grind has its own value.
    """
    table = apply_changes(recipe.table, changes, recipe.source)
    result = from_table(table, name=recipe.name, source=recipe.source)
    without_effect(result, changes, recipe.source)
    return result


def apply_changes(table: Table, changes: Mapping[str, Any], file: str = "") -> Table:
    """The table, changed in place: {"jig.projection_mm": 70, "grind.0.fullness": 0.5}.

    A whole table goes before its fields; None removes. Raises InputError for a name that leads nowhere.
    """
    by_section: dict[tuple[str, ...], Table] = {}
    for name in sorted(changes, key=lambda key: key.count(".")):
        parts = tuple(name.split("."))
        value = deepcopy(changes[name])
        length = _section_length(parts)
        if len(parts) <= length:
            _set_whole(table, parts, value, name, file)
        else:
            by_section.setdefault(parts[:length], {})[".".join(parts[length:])] = value
    for section, own in by_section.items():
        if section == ("older",):
            older = table.get("older")
            table["older"] = apply_changes(_as_table(older, "older", file), own, file)
        else:
            _set_fields(table, section, own, file)
    # Removed grinds are dropped last, so that numbers mean the same throughout.
    if isinstance(table.get("grind"), list):
        table["grind"] = [grind for grind in table["grind"] if grind is not None]
    return table


def without_effect(recipe: Recipe, changes: Mapping[str, Any], file: str = "") -> None:
    """Raise InputError where a change of the jig or wheel cannot matter, since the first grind has its own.

    Later grinds inherit from the first, so none is left that would use it.
    """
    first = recipe.grind[0].plain()
    for name, value in changes.items():
        section, _, inner = name.partition(".")
        if section == "jig" and inner and value is not None:
            rivals = DISTANCES if inner in DISTANCES else (inner,)
            own = next((rival for rival in rivals if rival in first), None)
        else:
            own = "wheel" if section == "wheel" and "wheel" in first else None
        if own is not None:
            raise InputError(
                name,
                f"changing it has no effect: the first grind has its own {own}",
                f"change grind.0.{own} instead",
                file,
            )


def _section_length(parts: tuple[str, ...]) -> int:
    return 2 if parts[0] == "grind" else 1


def _set_whole(table: Table, parts: tuple[str, ...], value: Any, name: str, file: str) -> None:
    if len(parts) == 2:
        i = _grind_number(table, parts[1], name, file, append=True)
        table["grind"][i : i + 1] = [value]
    elif value is None:
        table.pop(parts[0], None)
    else:
        table[parts[0]] = value


def _set_fields(table: Table, section: tuple[str, ...], own: Table, file: str) -> None:
    where = ".".join(section)
    if section[0] == "grind":
        holder: Any = table["grind"]
        key: Any = _grind_number(table, section[1], where, file)
    else:
        holder, key = table, section[0]
        if key not in table:
            raise InputError(f"{where}.{next(iter(own))}", f"the recipe has no {where}", "check the name", file)
    holder[key] = _overlaid_deep(_as_table(holder[key], where, file), own, section[0], where, file)


def _overlaid_deep(target: Table, own: Table, section: str, where: str, file: str) -> Table:
    """The table with fields set by name, or by dotted name in the tables that stand in it; None removes."""
    direct = {name: value for name, value in own.items() if "." not in name}
    target = overlaid(target, {name: value for name, value in direct.items() if value is not None}, section)
    for name in (name for name, value in direct.items() if value is None):
        target.pop(name, None)
    for name in (name for name in own if "." in name):
        inner, _, rest = name.partition(".")
        if inner not in INSIDE.get(section, ()) or inner not in target:
            raise InputError(f"{where}.{name}", f"the recipe has no table {where}.{inner}", "check the name", file)
        inside = _as_table(target[inner], f"{where}.{inner}", file)
        target[inner] = _overlaid_deep(inside, {rest: own[name]}, inner, f"{where}.{inner}", file)
    return target


def _as_table(value: object, where: str, file: str) -> Table:
    """A table to set fields in; a reference becomes the start of one."""
    if isinstance(value, str):
        return {"from": value}
    if isinstance(value, dict):
        return dict(value)
    raise InputError(where, f"given {shown(value)}, allowed is a table or a name", "set the table first", file)


def _grind_number(table: Table, text: str, name: str, file: str, *, append: bool = False) -> int:
    count = len(table["grind"]) if isinstance(table.get("grind"), list) else 0
    most = count if append else count - 1
    if not (text.isascii() and text.isdigit() and len(text) < 4 and int(text) <= most):
        raise InputError(
            name,
            f'given grind number "{text[:20]}", allowed is 0 to {most}',
            f"grinds count from 0 and there are {count}; change the number",
            file,
        )
    return int(text)
