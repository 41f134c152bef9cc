"""The knobs of one tool: for each table of its recipe the library's choices and the fields, with units and reach.

What a slider spans is what a workshop meets; a typed value may be anything the recipe allows.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

from gougeform.errors import InputError
from gougeform.machine.clamp import DATUMS
from gougeform.machine.jig import DISTANCES, Jig
from gougeform.machine.paths import PATHS
from gougeform.part import Part, Table
from gougeform.quantity import Quantity, unit_of
from gougeform.read.library import catalogue
from gougeform.recipe.references import Place, fill
from gougeform.recipe.resolving import Grind
from gougeform.recipe.sections import LIBRARY_OF, SECTIONS


def knobs(table: Table, followed: Mapping[str, float | None] | None = None) -> list[dict[str, Any]]:
    """The groups of knobs for a tool's table, as plain values for a page.

    followed: distances of the last good shape by "grind.N.field", shown where the recipe gives another of the three.
    """
    jig, grinds = _of(table, "jig"), table.get("grind", [])
    first = grinds[0] if grinds and isinstance(grinds[0], dict) else {}
    groups = [_group(table, name, name.capitalize()) for name in ("bar", "flute", "wheel")]
    group = _group(table, "jig", "Jig", first)
    if any("clamp" in model.model_fields for model in _models("jig", jig)):
        options = {name: datum.words.partition(",")[0] for name, datum in DATUMS.items()}
        group["choices"] = [_choice("jig.clamp", "bar held against", jig.get("clamp", "axis"), options)]
        if jig.get("clamp") == "vee" and not any(k["field"].endswith("vee_deg") for k in group["knobs"]):
            group["knobs"].append(_knob("jig.vee_deg", *_quantity("jig", jig, "vee_deg"), None))
    groups.append(group)
    for i, own in enumerate(grinds):
        groups.append(_grind(i, own if isinstance(own, dict) else {}, jig, first, followed or {}))
    return groups


def library_choices() -> dict[str, list[dict[str, str]]]:
    """Names and titles of the library by table: bars, flutes, wheels, jigs, grinds and whole recipes."""
    found = catalogue()
    kinds = {
        **{table: kind for table, kind in LIBRARY_OF.items() if table not in ("older", "steel")},
        "recipe": "recipes",
    }
    return {
        table: [{"name": e.name, "title": e.title or e.name} for e in found[kind] if e.problem is None]
        for table, kind in kinds.items()
    }


def _models(section: str, own: Table) -> tuple[type[Part], ...]:
    """The kind a table is of; every kind of its section where it does not say, or says one that does not exist."""
    kinds = SECTIONS[section]
    named = kinds.classes.get(str(own.get(kinds.tag, kinds.default)))
    return tuple(dict.fromkeys(kinds.classes.values())) if named is None else (named,)


def _quantity(section: str, own: Table, name: str) -> tuple[str, Quantity]:
    """A field's name and what it means on a table of that kind."""
    owners = [model for model in _models(section, own) if name in model.model_fields] or SECTIONS[section].fields[name]
    meaning = owners[0].meaning(name)
    assert isinstance(meaning, Quantity)
    return name, meaning


def _sliders(section: str, own: Table) -> dict[str, Any]:
    """The fields with a slider that a table may have, in order, with their defaults (None without one)."""
    found: dict[str, Any] = {}
    for model in _models(section, own):
        for name, quantity in model.quantities().items():
            if quantity.span is not None and name not in DISTANCES:
                default = model.model_fields[name].default
                found.setdefault(name, default if isinstance(default, float) else None)
    return found


def _group(table: Table, section: str, title: str, over: Table | None = None) -> dict[str, Any]:
    """One table's knobs; fields that stand in `over`, the first grind, are turned there."""
    own = _of(table, section)
    fields = []
    for name, default in _sliders(section, own).items():
        held = over is not None and name in over
        value = over[name] if over is not None and held else own.get(name, default)
        if value is not None:
            place = f"grind.0.{name}" if held else f"{section}.{name}"
            fields.append(_knob(place, *_quantity(section, own, name), value))
    return {"section": section, "title": title, "library": _library_name(section, own), "knobs": fields, "choices": []}


def _grind(i: int, own: Table, jig: Table, first: Table, followed: Mapping[str, float | None]) -> dict[str, Any]:
    whole = own if i == 0 else {**{k: v for k, v in first.items() if k not in DISTANCES}, **own}
    held = {**jig, **{name: value for name, value in whole.items() if name == SECTIONS["jig"].tag}}
    jigs = _models("jig", held)
    given, where = _given(i, own, jig, first)
    fields = []
    for name in DISTANCES:
        value = given.get(name, followed.get(f"grind.{i}.{name}"))
        if not any(name in model.model_fields for model in jigs) or (value is None and name not in given):
            continue  # a table knows no distance, a belt has no centre
        knob = _knob(f"{where}.{name}", *_quantity("jig", held, name), value)
        fields.append(knob | {"given": name in given, "follows": name not in given})
    moves = _sliders("path", whole)
    if i:
        land = Grind.meaning("land_mm")
        assert isinstance(land, Quantity)
        fields.append(_knob(f"grind.{i}.land_mm", "land_mm", land, own.get("land_mm")))
    for name, default in moves.items():
        if i == 0 or name in own:
            fields.append(_knob(f"grind.{i}.{name}", *_quantity("path", whole, name), whole.get(name, default)))
    if i:
        for name in _sliders("jig", held):
            if name in own:
                fields.append(_knob(f"grind.{i}.{name}", *_quantity("jig", held, name), own[name]))
    path = whole.get("path", SECTIONS["path"].default)
    ways = {name: model.words for name, model in PATHS.classes.items()}
    steady = not any(model.loose for model in jigs if issubclass(model, Jig))
    choices = [_choice("grind.0.path", "how it moves", path, ways)] if i == 0 and steady else []
    title = "Grind" if i == 0 else "Relief" if i == 1 else f"Relief {i}"
    return {
        "section": f"grind.{i}", "title": title, "library": _library_name("grind", own), "knobs": fields,
        "choices": choices, "removable": i > 0,
    }  # fmt: skip


def _given(i: int, own: Table, jig: Table, first: Table) -> tuple[Table, str]:
    """The distance a grind is set by, and the table it stands in; a relief always gets its own."""
    for holder, where in ((own, f"grind.{i}"), (first, "grind.0"), (jig, "jig")):
        found = {name: holder[name] for name in DISTANCES if name in holder}
        if found:
            return found, where if i == 0 else f"grind.{i}"
    return {}, f"grind.{i}"


def _knob(place: str, name: str, quantity: Quantity, value: Any) -> dict[str, Any]:
    assert quantity.span is not None
    low, high = quantity.span
    return {
        "field": place, "label": quantity.label, "unit": unit_of(name).sign.strip(), "low": low, "high": high,
        "step": quantity.step, "value": value,
    }  # fmt: skip


def _choice(field: str, label: str, value: Any, options: Mapping[str, str]) -> dict[str, Any]:
    return {"field": field, "label": label, "value": value, "options": [[k, v] for k, v in options.items()]}


def _of(table: Table, section: str) -> Table:
    value = table.get(section)
    return value if isinstance(value, dict) else {}


def _library_name(section: str, own: Table) -> str:
    """The library entry a table agrees with in all that the entry says; "" for values of one's own."""
    best = [name for name, entry in _entries(section).items() if all(own.get(k) == v for k, v in entry.items())]
    return max(best, key=lambda name: len(_entries(section)[name]), default="")


@lru_cache(maxsize=16)
def _entries(section: str) -> dict[str, Table]:
    out = {}
    for entry in catalogue()[LIBRARY_OF[section]]:
        try:
            out[entry.name] = fill(entry.name, section, section, Place("", Path())).table
        except InputError:
            continue  # an own library may hold a file that cannot be read; `gougeform profiles` says so
    return out
