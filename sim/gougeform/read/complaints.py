"""Turns what pydantic finds in a table into one InputError with field, given, allowed and what to change."""

from __future__ import annotations

import datetime
import json
from typing import Any, Literal, TypeVar, get_args, get_origin

from pydantic import ValidationError
from pydantic.fields import FieldInfo

from gougeform.errors import InputError
from gougeform.read.library import nearest
from gougeform.read.parts import VARIANTS, Part

Model = TypeVar("Model", bound=Part)

_UNITS = {
    "_mm": " mm",
    "_deg": " degrees",
    "_gpa": " GPa",
    "_g_cm3": " g/cm³",
    "_m_s": " m/s",
    "rpm": " turns a minute",
}


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


def allowed(name: str, info: FieldInfo) -> str:
    """What a field of a model may be, in words: "a number above 0 and at most 200 mm"."""
    if get_origin(info.annotation) is Literal:
        return "one of " + ", ".join(f'"{choice}"' for choice in get_args(info.annotation))
    if name == "points_mm":
        return "a list of 3 to 5000 pairs [x, y], each a number from -200 to 200 mm"
    if info.annotation is str:
        return "a text of at most 200 characters"
    limits = {
        key: getattr(item, key) for item in info.metadata for key in ("gt", "ge", "lt", "le") if hasattr(item, key)
    }
    words = {"gt": "above", "ge": "at least", "lt": "below", "le": "at most"}
    unit = next((text for end, text in _UNITS.items() if name.endswith(end)), "")
    return "a number " + " and ".join(f"{words[key]} {limit:.12g}" for key, limit in limits.items()) + unit


def unknown_field(field: str, name: str, known: list[str], noun: str, file: str = "") -> InputError:
    """The error for a field that a table does not have; `field` is its dotted place."""
    close = nearest(name, known)
    start = f"did you mean {close}? " if close else ""
    place = "".join(letter if letter.isprintable() else "?" for letter in field[:120])
    return InputError(place, f"is not a field of {noun}", f"{start}Allowed are {', '.join(known)}", file)


def model_for(section: str, table: dict[str, Any], field: str) -> type[Part]:
    """The model a table of that section must fit, by its outline, shape, kind or path.

    Raises InputError where that field is missing or has a value that does not exist.
    """
    tag, models, default = VARIANTS[section]
    value = table.get(tag, default)
    choices = ", ".join(f'"{choice}"' for choice in models)
    place = f"{field}.{tag}" if field else tag
    if value is None:
        known = {name for model in models.values() for name in model.model_fields}
        strange = [name for name in table if name not in known]
        other = f"; {shown(strange[0])} is not a field of it" if strange else ""
        raise InputError(
            place, f"is missing, allowed is one of {choices}", f"add {tag} to say which {section} it is{other}"
        )
    if not isinstance(value, str) or value not in models:
        close = nearest(value, list(models)) if isinstance(value, str) else None
        raise InputError(
            place,
            f"given {shown(value)}, allowed is one of {choices}",
            f'did you mean "{close}"' if close else f"choose one of them for {tag}",
        )
    return models[value]


def validated(model: type[Model], table: dict[str, Any], field: str) -> Model:
    """The table as a model; `field` is its dotted place in the recipe.

    Raises InputError for the worst fault.
    """
    try:
        return model.model_validate(table)
    except InputError as error:
        raise InputError(f"{field}.{error.field}", error.problem, error.hint) from None
    except ValidationError as error:
        found = error.errors(include_url=False, include_input=False, include_context=False)
        # A misspelt field is also a missing one: the spelling is what the person can act on.
        rank = {"extra_forbidden": 0, "missing": 2}
        worst = min(found, key=lambda item: rank.get(item["type"], 1) if len(item["loc"]) == 1 else 1)
        complaint = _complaint(model, worst["type"], worst["loc"], table, field)
        also = [str(item["loc"][0]) for item in found if item["type"] == "missing" and item is not worst]
        if worst["type"] == "missing" and also:
            told = ", ".join(f"{name} ({model.model_fields[name].description or name})" for name in also)
            complaint = InputError(complaint.field, complaint.problem, f"{complaint.hint}. Also missing: {told}")
        raise complaint from None


def _complaint(
    model: type[Part], fault: str, loc: tuple[int | str, ...], table: dict[str, Any], field: str
) -> InputError:
    name = str(loc[0])
    place = f"{field}.{name}"
    if fault == "extra_forbidden":
        return unknown_field(place, name, list(model.model_fields), model.noun)
    info = model.model_fields[name]
    what = info.description or name
    if len(loc) > 1:
        place, value = f"{place}.{loc[1]}", table[name][loc[1]]
        problem = f"given {shown(value)}, allowed is a pair [x, y] of numbers from -200 to 200 mm"
        return InputError(place, problem, f"correct point {int(loc[1]) + 1} of {name}")
    if fault == "missing":
        return InputError(place, f"is missing, allowed is {allowed(name, info)}", f"add {name}: {what}")
    value = table[name]
    hint = f"change {name}: {what}"
    if isinstance(value, str) and info.annotation is not str:
        hint = f"write {name} as a number without quotation marks: {what}"
    elif name == "points_mm" and isinstance(value, list) and len(value) != 0:
        return InputError(place, f"given {len(value)} points, allowed is {allowed(name, info)}", hint)
    return InputError(place, f"given {shown(value)}, allowed is {allowed(name, info)}", hint)
