"""What a person wants of the edge, and the settings that are free to give it: read from words, and put in numbers."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from gougeform.errors import InputError
from gougeform.grind.gouge import Gouge, shape
from gougeform.measure.edge import Edge, measure_edge
from gougeform.read.complaints import shown
from gougeform.recipe.model import Recipe
from gougeform.settings.bench import Bench, with_settings
from gougeform.settings.names import NAMES, Name, number, pair, setting_name
from gougeform.settings.trial import Reading, Tracer, steady_reading

_WANTS = "nose, wing_length, land, or wing with a per cent of its length along the edge as wing50"


@dataclass(frozen=True)
class Want:
    """name: nose, wingNN, wing_length or land; value in deg or mm."""

    name: str
    value: float

    @property
    def unit(self) -> str:
        """Unit of the value."""
        return "mm" if self.name in ("wing_length", "land") else "deg"

    @property
    def per_cent(self) -> float | None:
        """Where on the wing, per cent of its arc length; None for the others."""
        return float(self.name[4:]) if re.fullmatch(r"wing[\d.]+", self.name) else None


@dataclass(frozen=True)
class Free:
    """A setting that may change, from low to high, or only to its stops (notches), mm or deg."""

    name: Name
    low: float
    high: float
    stops: tuple[float, ...] = ()


def read_wants(texts: Sequence[str], option: str = "--want") -> tuple[Want, ...]:
    """Wants from texts such as nose=35. Raises InputError naming the option."""
    wants: list[Want] = []
    for text in texts:
        name, value = pair(text, option, f"{option} nose=35")
        name = name.lower().replace("-", "_")
        found = re.fullmatch(r"wing(\d{1,2}(?:\.\d+)?)", name)
        if name not in ("nose", "wing_length", "land") and (not found or not 0 < float(found[1]) < 100):
            raise InputError(option, f"given {shown(name)}, which cannot be asked for", f"allowed are {_WANTS}")
        size = number(value, option, name)
        if name in ("wing_length", "land") and not 0 < size <= 200:
            raise InputError(option, f"given {name}={size:g}, allowed is above 0 and at most 200 mm", "change it")
        if name not in ("wing_length", "land") and not 1 <= size <= 179:
            raise InputError(option, f"given {name}={size:g}, allowed is from 1 to 179 degrees", "change it")
        if any(want.name == name for want in wants):
            raise InputError(option, f"{name} is asked for twice", "keep one of them")
        wants.append(Want(name, size))
    if not wants:
        raise InputError(option, "nothing is asked for", f"write {option} nose=35; allowed are {_WANTS}")
    return tuple(wants)


def read_frees(bench: Bench, free: Sequence[str], stops: Sequence[str], wants: Sequence[Want]) -> tuple[Free, ...]:
    """The free settings from texts such as projection, projection=50:90, and stops such as cant=30,35,40.

    With neither, as many are free as angles are wanted: first the distance (on a table its tilt), then projection,
    cant, fullness and shoulder (after a steady path: its roll). Raises InputError.
    """
    made: dict[str, Free] = {}
    for text in free:
        name, _, span = text.partition("=")
        one = _mine(bench, setting_name(name, "--free"), "--free")
        low, high = _span(bench, span, one) if span else bench.bounds(one)
        made[one.name] = Free(one, low, high)
    for text in stops:
        name, listed = pair(text, "--stops", "--stops cant=30,35,40")
        one = _mine(bench, setting_name(name, "--stops"), "--stops")
        places = tuple(sorted({number(item, "--stops", one.name) for item in listed.split(",")}))
        _before_the_ferrule(bench, one, places[-1], "--stops")
        made[one.name] = Free(one, places[0], places[-1], places)
    if not made:
        count = sum(want.unit == "deg" for want in wants)
        order = ["distance", "tilt", "projection", "cant", "roll", "fullness", "shoulder"]
        if bench.jig.kind == "table":
            order.remove("projection")  # where the fingers hold a bar hardly changes what the table grinds
        usable = [name for name in order if name in bench.names]
        for name in usable[: max(count, 1)]:
            made[name] = Free(NAMES[name], *bench.bounds(NAMES[name]))
    return tuple(made.values())


def _mine(bench: Bench, name: Name, option: str) -> Name:
    if name.name not in bench.names:
        if bench.jig.kind == "table" and name.name == "distance":
            raise InputError(option, "a table has no distance to set", "free its tilt instead")
        raise InputError(
            option, f"given {name.name}, which {bench.noun} does not have", f"allowed are {', '.join(bench.names)}"
        )
    return name


def _before_the_ferrule(bench: Bench, name: Name, most: float, option: str) -> None:
    if bench.ends_at_ferrule(name) and most >= bench.steel_mm:
        raise InputError(
            option,
            f"given {name.name} up to {most:g}, but the bar has only {bench.steel_mm:g} mm of steel ahead of the"
            " ferrule, and the clamp holds it behind that projection",
            "end below that, or make bar.length_mm larger",
        )


def _span(bench: Bench, text: str, name: Name) -> tuple[float, float]:
    low, sign, high = text.partition(":")
    if not sign:
        raise InputError("--free", f"given {name.name}={text}", f"write from and to, as {name.name}=50:90")
    ends = number(low, "--free", name.name), number(high, "--free", name.name)
    if not ends[0] < ends[1]:
        raise InputError("--free", f"given {name.name} from {ends[0]:g} to {ends[1]:g}", "put the smaller one first")
    _before_the_ferrule(bench, name, ends[1], "--free")
    return ends


class Reader:
    """Reads the wanted numbers off the edge that settings give: from poses for a traced path, else from the surface."""

    def __init__(self, recipe: Recipe, bench: Bench, per_cents: Sequence[float], grind: int = 0) -> None:
        self.recipe, self.bench, self.grind = recipe, bench, grind
        self.per_cents = tuple(sorted(set(per_cents)))
        self._tracer = Tracer()

    def read(self, values: dict[str, float]) -> Reading:
        """The edge at these settings (mm, deg by plain name). Raises InputError where it cannot be ground."""
        if self.bench.path.path == "traced":
            return self._tracer.read(self.bench.set(values), self.per_cents)
        return steady_reading(self.bench.set(values), self.per_cents)

    def measured(self, values: dict[str, float]) -> tuple[Reading, Gouge, Edge]:
        """The same from the finished surface: slower, and true where a path cuts past its outline."""
        gouge = shape(with_settings(self.recipe, values, self.grind))
        edge = measure_edge(gouge)
        return reading_of(edge, self.per_cents), gouge, edge


def reading_of(edge: Edge, per_cents: Sequence[float]) -> Reading:
    """Nose and wing angles of a measured edge, the mean of both wings."""
    both = (edge.at_per_cents(side, edge.wedge, per_cents) for side in (-1, 1))
    wings = {float(p): (left + right) / 2 for p, left, right in zip(per_cents, *both, strict=True)}
    lengths = [edge.wing_length(side) for side in (-1, 1)]
    return Reading(float(edge.wedge[edge.nose]), wings, sum(lengths) / 2)
