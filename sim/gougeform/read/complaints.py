"""Turns what pydantic finds in a table into one InputError with field, given, allowed and what to change."""

from __future__ import annotations

import datetime
import json
from collections.abc import Mapping
from typing import Annotated, Any, Literal, TypeVar, get_args, get_origin

from pydantic import TypeAdapter, ValidationError

from gougeform.errors import InputError
from gougeform.part import Part
from gougeform.quantity import Quantity, Words, unit_of
from gougeform.read.library import nearest

Model = TypeVar("Model", bound=Part)


def shown(value: object, depth: int = 0) -> str:
    """A value as a person wrote it in TOML, cut to 60 characters; lists in lists only to the third."""
    if isinstance(value, bool):
        text = "true" if value else "false"
    elif isinstance(value, str):
        text = json.dumps(value, ensure_ascii=False)
    elif isinstance(value, dict):
        text = "a table"
    elif isinstance(value, list | tuple) and depth > 2:
        text = "[…]"
    elif isinstance(value, list | tuple):
        text = "[" + ", ".join(shown(item, depth + 1) for item in value[:6]) + (", …]" if len(value) > 6 else "]")
    elif isinstance(value, int) and abs(value) >= 10**15:
        text = "a whole number of more than 15 digits"
    elif isinstance(value, datetime.date | datetime.time):
        text = f"the date {value}" if isinstance(value, datetime.date) else f"the time {value}"
    else:
        text = str(value)
    return text if len(text) <= 60 else text[:59] + "…"


def allowed(model: type[Part], name: str) -> str:
    """What a field of a model may be, in words: "a number above 0 and at most 200 mm"."""
    annotation, meaning = model.model_fields[name].annotation, model.meaning(name)
    if get_origin(annotation) is Literal:
        return "one of " + ", ".join(f'"{choice}"' for choice in get_args(annotation))
    if isinstance(meaning, Words) and meaning.allowed:
        return meaning.allowed
    if annotation is str:
        return "a text of at most 200 characters"
    inner = inner_part(model, name)
    if inner is not None:
        return f"a table with {', '.join(inner.model_fields)}"
    if not isinstance(meaning, Quantity):
        return "true or false"
    number = meaning.allowed(unit_of(name))
    several = get_args(annotation) if get_origin(annotation) is tuple else ()
    return f"a list of {len(several)} numbers, each {number.removeprefix('a ')}" if several else number


def inner_part(model: type[Part], name: str) -> type[Part] | None:
    """The model of a table that stands inside another under that name; None for a field that is no table."""
    annotation = model.model_fields[name].annotation if name in model.model_fields else None
    ways = get_args(annotation) or (annotation,)
    parts = [way for way in ways if isinstance(way, type) and issubclass(way, Part)]
    return parts[0] if len(parts) == 1 else None


def unknown_field(field: str, name: str, known: list[str], noun: str, file: str = "") -> InputError:
    """The error for a field that a table does not have; `field` is its dotted place."""
    close = nearest(name, known)
    start = f"did you mean {close}? " if close else ""
    place = "".join(letter if letter.isprintable() else "?" for letter in field[:120])
    return InputError(place, f"is not a field of {noun}", f"{start}Allowed are {', '.join(known)}", file)


def validated(model: type[Model], table: Mapping[str, Any], field: str) -> Model:
    """The table as a model, tables inside it first; `field` is its dotted place in the recipe.

    Raises InputError for the worst fault.
    """
    whole = dict(table)
    for name, value in table.items():
        inner = inner_part(model, name) if isinstance(value, dict) else None
        if inner is not None:
            whole[name] = validated(inner, value, f"{field}.{name}")
    try:
        return model.model_validate(whole)
    except InputError as error:
        raise InputError(f"{field}.{error.field}" if field else error.field, error.problem, error.hint) from None
    except ValidationError as error:
        found = error.errors(include_url=False, include_input=False, include_context=False)
        # A misspelt field is also a missing one: the spelling is what the person can act on.
        rank = {"extra_forbidden": 0, "missing": 2}
        worst = min(found, key=lambda item: rank.get(item["type"], 1) if len(item["loc"]) == 1 else 1)
        complaint = _complaint(model, worst["type"], worst["loc"], whole, field)
        also = [str(item["loc"][0]) for item in found if item["type"] == "missing" and item is not worst]
        if worst["type"] == "missing" and also:
            told = ", ".join(f"{name} ({model.meaning(name).description})" for name in also)
            complaint = InputError(complaint.field, complaint.problem, f"{complaint.hint}. Also missing: {told}")
        raise complaint from None


def checked_field(model: type[Part], name: str, value: Any) -> Any:
    """The value of one field of a model whose other fields are checked elsewhere. Raises InputError at that name."""
    info = model.model_fields[name]
    annotation: Any = Annotated[(info.annotation, *info.metadata)]
    try:
        return TypeAdapter(annotation).validate_python(value)
    except ValidationError as error:
        raise _complaint(model, error.errors()[0]["type"], (name,), {name: value}, "") from None


def _complaint(
    model: type[Part], fault: str, loc: tuple[int | str, ...], table: dict[str, Any], field: str
) -> InputError:
    name = str(loc[0])
    place = f"{field}.{name}" if field else name
    if fault == "extra_forbidden":
        return unknown_field(place, name, list(model.model_fields), model.noun)
    what = model.meaning(name).description
    if fault == "missing" and len(loc) == 1:
        return InputError(place, f"is missing, allowed is {allowed(model, name)}", f"add {name}: {what}")
    value = table[name]
    if len(loc) > 1 and name.startswith("points"):
        place, value = f"{place}.{loc[1]}", value[loc[1]]
        problem = f"given {shown(value)}, allowed is a pair [x, y] of numbers from -200 to 200 mm"
        return InputError(place, problem, f"correct point {int(loc[1]) + 1} of {name}")
    hint = f"change {name}: {what}"
    if isinstance(value, str) and isinstance(model.meaning(name), Quantity):
        hint = f"write {name} as a number without quotation marks: {what}"
    elif name == "points_mm" and isinstance(value, list) and len(value) != 0:
        return InputError(place, f"given {len(value)} points, allowed is {allowed(model, name)}", hint)
    return InputError(place, f"given {shown(value)}, allowed is {allowed(model, name)}", hint)
