"""The numbers of a starter recipe: usual ones for the chosen kinds, with a person's own readings laid over them.

A reading is a recipe's field ("bar.diameter_mm") or one that a hand can take and a recipe does not have: fields follow
from those by `gougeform.starter.ruler`, or as the jig says (`Jig.readings`). Lengths mm, angles degrees.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from gougeform.bar.flute import Flute
from gougeform.errors import InputError
from gougeform.machine.jig import DISTANCES, Jig
from gougeform.machine.jigs import JIGS as JIG_KINDS
from gougeform.machine.path import Path
from gougeform.machine.paths import PATHS as PATH_KINDS
from gougeform.part import Part
from gougeform.read.complaints import allowed, shown
from gougeform.read.library import nearest
from gougeform.recipe.sections import SECTIONS
from gougeform.starter.ruler import Stock, flatted_outline, flute_depth, round_outline_points

Table = dict[str, Any]

BARS = ("round", "square", "flatted", "points")
FLUTES = tuple(SECTIONS["flute"].classes)
WHEELS = tuple(SECTIONS["wheel"].classes)
JIGS = tuple(SECTIONS["jig"].classes)
CLAMPS = ("below", "axis", "above", "vee")
PATHS = tuple(SECTIONS["path"].classes)

_OPTIONAL = {"wheel": ("rpm", "rated_m_s"), "grind": ("fullness", "shoulder", "contact_mm"), "jig": DISTANCES}


@dataclass(frozen=True)
class Choices:
    """Which bar, flute, wheel, jig, clamp and path; "" is filled in by what goes with the others."""

    bar: str = "round"
    flute: str = ""
    wheel: str = "wheel"
    jig: str = "foot"
    clamp: str = ""
    path: str = ""

    def filled(self) -> Choices:
        """Every kind named. Raises InputError for a clamp on a jig without, and for a path that the jig cannot hold."""
        jig = self.of_jig
        if self.clamp and not jig.clamps:
            raise InputError("clamp", f"given {self.clamp}, but {jig.noun} holds no bar", "leave it out")
        filled = replace(self, path=self.path or jig.usual_path)
        rolls = filled.of_path.holds
        if rolls and jig.loose:
            raise InputError(
                "path", f"given {self.path}, not possible with {jig.noun}, {jig.loose}", "use traced, or `jig` rod"
            )
        clamp = self.clamp or ("axis" if rolls else "below")
        flute = self.flute or filled.of_path.suits
        return replace(filled, clamp=clamp if jig.clamps else "", flute=flute)

    @property
    def of_jig(self) -> type[Jig]:
        """The jig's class."""
        return JIG_KINDS.classes[self.jig]

    @property
    def of_path(self) -> type[Path]:
        """The path's class."""
        return PATH_KINDS.classes[self.path]


def gone_with(asked: Choices, filled: Choices) -> list[str]:
    """What a path that was asked for has chosen with it, so that nothing changes in silence."""
    if not asked.path:
        return []
    beside = Choices(filled.bar, asked.flute, filled.wheel, filled.jig, asked.clamp).filled()
    words = {"flute": "flute", "clamp": "bar held against"}
    chosen = [f"{words[n]}: {getattr(filled, n)}" for n in words if getattr(filled, n) != getattr(beside, n)]
    jigs = [_jig(one, {}) for one in (filled, beside)]
    chosen += [
        f"{name} = {value:g}" if isinstance(value, float) else f"{name} = {value}"
        for name, value in jigs[0].items()
        if jigs[1].get(name) != value and name not in ("clamp",)
    ]
    if not chosen:
        return []
    return [f"With a {filled.path} path go other usual values, since it grinds another edge: {', '.join(chosen)}."]


def tables(kinds: Choices, given: Mapping[str, float | str]) -> dict[str, Table]:
    """The recipe's tables by name, fields in the order in which they are measured; "grind" is the one grind.

    given: readings by "table.field" (see `full_name`). Raises InputError for readings that contradict each other or
    fit no bar.
    """
    own: dict[str, Table] = {name: {} for name in ("bar", "flute", "wheel", "jig", "grind")}
    for name, value in given.items():
        section, _, field = name.partition(".")
        own[section][field] = value
    flute: type[Flute] = SECTIONS["flute"].classes[kinds.flute]
    follows = {"flute.width_mm": tuple(f"flute.{name}" for name in flute.by_width)}
    if (extra := kinds.of_jig.readings) is not None:
        # Both at once would contradict each other.
        follows |= {f"jig.{name}": tuple(f"jig.{field}" for field in extra.fields) for name in extra.how}
    for reading, fields in follows.items():
        clash = [name for name in fields if name in given and reading in given]
        if clash:
            raise InputError(clash[0], f"is given, and so is {reading}, from which it follows", "give one of the two")
    out: dict[str, Table] = {}
    stock, out["bar"] = _bar(kinds.bar, own["bar"])
    out["flute"] = _flute(flute, stock, own["flute"])
    out["wheel"] = _laid_over(_wheel(kinds.wheel), own["wheel"])
    out["jig"] = _jig(kinds, own["jig"])
    out["grind"] = _laid_over(_grind(kinds, stock.size), own["grind"])
    return out


def names(kinds: Choices) -> tuple[str, ...]:
    """All readings that may be given for these kinds, as "table.field"."""
    usual = tables(kinds, {})
    found = []
    for section, fields in usual.items():
        tag = SECTIONS["path" if section == "grind" else section].tag
        known = [*fields, *(name for name in _OPTIONAL.get(section, ()) if name in model(section, fields).model_fields)]
        found += [f"{section}.{name}" for name in known if name not in (tag, "clamp", "points_mm")]
    if kinds.bar in ("flatted", "points"):
        found.append("bar.diameter_mm")
    if kinds.bar == "flatted":
        found.append("bar.over_flat_mm")
    if SECTIONS["flute"].classes[kinds.flute].by_width:
        found.append("flute.width_mm")
    if (extra := kinds.of_jig.readings) is not None:
        found += [f"jig.{name}" for name in extra.how]
    return tuple(dict.fromkeys(found))


def full_name(text: str, kinds: Choices) -> str:
    """The reading "table.field" that a person means by it, or by the field alone. Raises InputError."""
    known = names(kinds)
    word = text.strip().removeprefix("grind.0.")
    word = word if "." in word or f"grind.{word}" not in known else f"grind.{word}"
    fits = [name for name in known if word in (name, name.partition(".")[2])]
    if len(fits) == 1:
        return fits[0]
    if fits:
        raise InputError("set", f"given {shown(text)}, which is {' and '.join(fits)}", "write which of the two")
    close = nearest(word, known) or nearest(word, [name.partition(".")[2] for name in known])
    start = f"did you mean {close}? " if close else ""
    raise InputError(
        "set", f"given {shown(text)}, which these kinds do not have", f"{start}Allowed are {', '.join(known)}"
    )


def model(section: str, fields: Table) -> type[Part]:
    """The reader's own model of a table."""
    kinds = SECTIONS["path" if section == "grind" else section]
    return kinds.classes[str(fields.get(kinds.tag, kinds.default))]


def _laid_over(usual: Table, own: Table) -> Table:
    """Usual values with a person's own; a distance takes the place of the usual one."""
    out: Table = {}
    distances = {name: own[name] for name in DISTANCES if name in own}
    for name, value in usual.items():
        if name in DISTANCES and distances:
            out |= distances
        else:
            out[name] = own.get(name, value)
    return out | {name: value for name, value in own.items() if name not in out}


def _bar(kind: str, own: Table) -> tuple[Stock, Table]:
    ends = {"length_mm": 150.0, "steel": "hss"}
    if kind == "square":
        size = _size(own.get("side_mm", 10.0), "side_mm")
        usual = {"outline": "square", "side_mm": size, "corner_radius_mm": round(0.06 * size, 1)} | ends
        made = _laid_over(usual, own)
        return Stock("square", size, made["corner_radius_mm"]), made
    size = _size(own.get("diameter_mm", 10.0), "diameter_mm")
    if kind == "round":
        return Stock("round", size), _laid_over({"outline": "round", "diameter_mm": size} | ends, own)
    if kind == "points":
        rest = {name: value for name, value in own.items() if name != "diameter_mm"}
        usual = {"outline": "points", "points_mm": round_outline_points(size), "smooth": True} | ends
        return Stock("round", size), _laid_over(usual, rest)
    over = own.get("over_flat_mm", round(0.94 * size, 2))
    rest = {name: value for name, value in own.items() if name not in ("diameter_mm", "over_flat_mm")}
    points = flatted_outline(size, over)
    return Stock("flatted", size, over_flat=over), _laid_over({"outline": "points", "points_mm": points} | ends, rest)


def _size(value: float, name: str) -> float:
    """A bar's diameter or side within what the reader allows; everything else is scaled by it. Raises InputError."""
    (owner, *_) = SECTIONS["bar"].fields[name]
    if not 0 < value <= 200:
        raise InputError(f"bar.{name}", f"given {value:g}, allowed is {allowed(owner, name)}", f"change {name}")
    return value


def _flute(kind: type[Flute], stock: Stock, own: Table) -> Table:
    share = kind.shares
    width = own.get("width_mm", round((share.on_square if stock.kind == "square" else share.on_round) * stock.size, 1))
    web = own.get("web_mm", round(share.web * stock.size - (stock.size / 2 + stock.underside), 1))
    usual: Table = {kind.tag: kind.model_fields[kind.tag].default}
    if not any(name in own and not share.floor for name in kind.by_width):
        floor_radius = own.get("floor_radius_mm", round(share.floor * stock.size, 2))
        curve = kind.through(width, flute_depth(stock, width, web), floor_radius)
        usual |= {name: round(value, 3) if isinstance(value, float) else value for name, value in curve.items()}
    usual |= {"web_mm": web, "length_mm": 60.0}
    return _laid_over(usual, {name: value for name, value in own.items() if name != "width_mm"})


def _wheel(kind: str) -> Table:
    if kind == "belt":
        return {"kind": "belt", "width_mm": 50.0, "corner_radius_mm": 0.0}
    return {"kind": "wheel", "diameter_mm": 200.0, "width_mm": 40.0, "corner_radius_mm": 1.0}


def _jig(kinds: Choices, own: Table) -> Table:
    jig = kinds.of_jig
    usual = jig.first(kinds.clamp, rolls=kinds.of_path.holds, belt=kinds.wheel == "belt")
    extra = {} if jig.readings is None else jig.readings.how
    read = {name: own[name] for name in extra if name in own}
    made = _laid_over(usual, {name: value for name, value in own.items() if name not in read})
    if not read or jig.readings is None:
        return made
    missing = next((name for name in extra if name not in read), None)
    if missing:
        hint = f"add `set` jig.{missing}=…: {extra[missing]}"
        raise InputError(f"jig.{missing}", f"is missing: {jig.readings.problem}", hint)
    return made | jig.from_readings(made, read)


def _grind(kinds: Choices, size: float) -> Table:
    edge = dict(kinds.of_jig.edge)
    share = edge.pop("wing", SECTIONS["flute"].classes[kinds.flute].wing_share)
    return kinds.of_path.first(share * size, edge)
