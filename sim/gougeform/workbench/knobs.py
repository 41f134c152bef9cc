"""The knobs of one tool: for each table of its recipe the library's choices and the fields, with units and reach.

What a slider spans is what a workshop meets; a typed value may be anything the recipe allows.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from gougeform.errors import InputError
from gougeform.read.library import catalogue
from gougeform.read.parts import DISTANCES
from gougeform.read.references import LIBRARY_OF, Place, Table, fill


@dataclass(frozen=True)
class Reach:
    """How a field is shown: label, unit, and what its slider spans. step 0: a field with no slider."""

    label: str
    unit: str
    low: float
    high: float
    step: float


_MM, _DEG = "mm", "°"
REACH: dict[str, dict[str, Reach]] = {
    "bar": {
        "diameter_mm": Reach("diameter", _MM, 5, 20, 0.1),
        "side_mm": Reach("side of the square", _MM, 5, 20, 0.1),
        "corner_radius_mm": Reach("corner radius", _MM, 0, 5, 0.1),
        "length_mm": Reach("length of the bar", _MM, 80, 300, 1),
    },
    "flute": {
        "radius_mm": Reach("flute radius", _MM, 1.5, 12, 0.1),
        "floor_radius_mm": Reach("radius at the floor", _MM, 0.5, 12, 0.1),
        "flank_angle_deg": Reach("flank to middle plane", _DEG, 5, 60, 0.5),
        "half_width_mm": Reach("half width", _MM, 1, 12, 0.1),
        "web_mm": Reach("web under the flute", _MM, 2, 12, 0.1),
        "length_mm": Reach("full-depth length", _MM, 20, 150, 1),
        "run_out_mm": Reach("run-out", _MM, 1, 60, 1),
    },
    "wheel": {
        "diameter_mm": Reach("diameter", _MM, 80, 300, 1),
        "width_mm": Reach("width of the face", _MM, 15, 80, 1),
        "corner_radius_mm": Reach("corner radius", _MM, 0, 8, 0.1),
        "rpm": Reach("speed", "rpm", 200, 4000, 5),
        "rated_m_s": Reach("speed printed on it", "m/s", 10, 80, 1),
    },
    "jig": {
        "projection_mm": Reach("projection", _MM, 30, 120, 0.5),
        "hinge_back_mm": Reach("hinge behind clamp", _MM, 0, 60, 0.5),
        "hinge_drop_mm": Reach("hinge below the bar", _MM, -20, 50, 0.5),
        "vee_deg": Reach("opening of the V", _DEG, 60, 150, 1),
        "arm_length_mm": Reach("arm length", _MM, 30, 200, 0.5),
        "arm_cant_deg": Reach("arm below bar axis", _DEG, -10, 80, 0.5),
        "hinge_cant_deg": Reach("hinge axis to bar axis", _DEG, -10, 80, 0.5),
        "shoe_mm": Reach("hinge to rod centre", _MM, 5, 100, 0.5),
        "rod_diameter_mm": Reach("rod diameter", _MM, 6, 25, 0.5),
        "height_mm": Reach("pivot above centre", _MM, -250, 150, 1),
    },
    "setting": {
        "nose_angle_deg": Reach("nose angle", _DEG, 20, 80, 0.1),
        "rim_distance_mm": Reach("rim to pocket", _MM, 10, 250, 0.1),
        "centre_distance_mm": Reach("centre to pocket", _MM, 60, 400, 0.1),
    },
    "grind": {
        "wing_length_mm": Reach("wing length", _MM, 1, 25, 0.1),
        "fullness": Reach("fullness", "", 0.1, 0.9, 0.005),
        "shoulder": Reach("shoulder", "", 0.3, 1, 0.005),
        "contact_mm": Reach("contact across", _MM, -15, 15, 0.5),
        "roll_max_deg": Reach("roll to either side", _DEG, 20, 120, 1),
        "land_mm": Reach("land left at the nose", _MM, 0.2, 8, 0.1),
    },
}
_DEFAULTS: dict[str, float] = {
    "corner_radius_mm": 1.0, "height_mm": 0.0, "fullness": 2**0.5 - 1, "shoulder": 0.8, "contact_mm": 0.0,
}  # fmt: skip
_CLAMPS = {"axis": "its axis", "below": "a flat below", "above": "a plate above", "vee": "a V"}
_PATHS = {"traced": "traced along an outline", "steady": "rolled at one setting"}


def knobs(table: Table, followed: Mapping[str, float | None] | None = None) -> list[dict[str, Any]]:
    """The groups of knobs for a tool's table, as plain values for a page.

    followed: distances of the last good shape by "grind.N.field", shown where the recipe gives another of the three.
    """
    jig, grinds = _of(table, "jig"), table.get("grind", [])
    first = grinds[0] if grinds and isinstance(grinds[0], dict) else {}
    groups = [_group(table, name, name.capitalize()) for name in ("bar", "flute", "wheel")]
    holder = {name: ("grind.0" if name in first else "jig") for name in REACH["jig"]}
    group = _group(table, "jig", "Jig", {name: f"{where}.{name}" for name, where in holder.items()}, first)
    if jig.get("kind") in ("foot", "rod"):
        group["choices"] = [_choice("jig.clamp", "bar held against", jig.get("clamp", "axis"), _CLAMPS)]
        if jig.get("clamp") == "vee" and not any(k["field"].endswith("vee_deg") for k in group["knobs"]):
            group["knobs"].append(_knob("jig.vee_deg", REACH["jig"]["vee_deg"], None))
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


def _group(
    table: Table, section: str, title: str, places: Mapping[str, str] | None = None, over: Table | None = None
) -> dict[str, Any]:
    own = _of(table, section)
    shown = dict(_of(table, section)) | {k: v for k, v in (over or {}).items() if places and k in places}
    fields = []
    for name, reach in REACH[section].items():
        if name in shown or (name in _DEFAULTS and _has(section, own, name)):
            place = (places or {}).get(name, f"{section}.{name}")
            fields.append(_knob(place, reach, shown.get(name, _DEFAULTS.get(name))))
    return {"section": section, "title": title, "library": _library_name(section, own), "knobs": fields, "choices": []}


def _has(section: str, own: Table, name: str) -> bool:
    """Whether a field that was left at its default belongs to this kind of table."""
    if section == "bar":
        return name == "corner_radius_mm" and own.get("outline") == "square"
    if section == "jig":
        return name == "height_mm" and own.get("kind") in ("foot", "rod")
    return section == "wheel"


def _grind(i: int, own: Table, jig: Table, first: Table, followed: Mapping[str, float | None]) -> dict[str, Any]:
    whole = own if i == 0 else {**{k: v for k, v in first.items() if k not in DISTANCES}, **own}
    path = whole.get("path", "traced")
    given, where = _given(i, own, jig, first)
    fields = []
    kind = whole.get("kind", jig.get("kind"))
    for name in DISTANCES if kind != "table" else DISTANCES[:1]:
        value = given.get(name, followed.get(f"grind.{i}.{name}"))
        if value is None and name not in given:
            continue  # a belt has no centre
        knob = _knob(f"{where}.{name}", REACH["setting"][name], value)
        if kind == "rod":
            knob["label"] = knob["label"].replace("pocket", "rod")
        fields.append(knob | {"given": name in given, "follows": name not in given})
    names = ("wing_length_mm", "fullness", "shoulder", "contact_mm") if path == "traced" else ("roll_max_deg",)
    for name in names if i == 0 else ("land_mm", *(name for name in names if name in own)):
        fields.append(_knob(f"grind.{i}.{name}", REACH["grind"][name], whole.get(name, _DEFAULTS.get(name))))
    if i:
        for name, reach in REACH["jig"].items():
            if name in own:
                fields.append(_knob(f"grind.{i}.{name}", reach, own[name]))
    choices = [_choice("grind.0.path", "how it moves", path, _PATHS)] if i == 0 and kind != "foot" else []
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


def _knob(field: str, reach: Reach, value: Any) -> dict[str, Any]:
    return {
        "field": field, "label": reach.label, "unit": reach.unit, "low": reach.low, "high": reach.high,
        "step": reach.step, "value": value,
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
