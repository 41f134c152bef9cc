"""What a person wants of the edge, and the settings that are free to give it: read from words, and put in numbers."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from gougeform.errors import InputError
from gougeform.grind.gouge import Gouge, shape
from gougeform.measure.edge import Edge, measure_edge
from gougeform.read.complaints import shown
from gougeform.recipe.model import Recipe
from gougeform.settings.bench import Bench, with_settings
from gougeform.settings.names import NAMES, Name, setting_name
from gougeform.settings.trial import Reading, Tracer

Span = tuple[float, float]
"""From and to, mm or deg."""
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
    def words(self) -> str:
        """What a person calls it.

        >>> Want("wing50", 45.0).words, Want("wing_length", 9.0).words
        ('wing at 50 %', 'wing length')
        """
        return self.name.replace("_", " ") if self.per_cent is None else f"wing at {self.per_cent:g} %"

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


def read_wants(given: Mapping[str, float], field: str = "want") -> tuple[Want, ...]:
    """Wants by name, {"nose": 35}. Raises InputError naming the question's parameter `field`."""
    wants: list[Want] = []
    for text, size in given.items():
        name = text.lower().replace("-", "_")
        found = re.fullmatch(r"wing(\d{1,2}(?:\.\d+)?)", name)
        if name not in ("nose", "wing_length", "land") and (not found or not 0 < float(found[1]) < 100):
            raise InputError(field, f"given {shown(name)}, which cannot be asked for", f"allowed are {_WANTS}")
        if name in ("wing_length", "land") and not 0 < size <= 200:
            raise InputError(f"{field} {name}", f"given {size:g}, allowed is above 0 and at most 200 mm", "change it")
        if name not in ("wing_length", "land") and not 1 <= size <= 179:
            raise InputError(f"{field} {name}", f"given {size:g}, allowed is from 1 to 179 degrees", "change it")
        if any(want.name == name for want in wants):
            raise InputError(field, f"{name} is asked for twice", "keep one of them")
        wants.append(Want(name, float(size)))
    if not wants:
        raise InputError(field, "nothing is asked for", f"write nose=35; allowed are {_WANTS}")
    return tuple(wants)


def read_frees(
    bench: Bench, free: Mapping[str, Span | None], stops: Mapping[str, Sequence[float]], wants: Sequence[Want] = ()
) -> tuple[Free, ...]:
    """The free settings by name: {"projection": (50, 90)}, None for as far as is usual; stops: {"cant": [30, 35, 40]}.

    With neither, as many are free as angles are wanted: first the distance (on a table its tilt), then projection,
    cant, fullness and shoulder (after a steady path: its roll). Raises InputError.
    """
    made: dict[str, Free] = {}
    for name, span in free.items():
        one = _mine(bench, setting_name(name, "free"), "free")
        if span is not None and not span[0] < span[1]:
            raise InputError("free", f"given {one.name} from {span[0]:g} to {span[1]:g}", "put the smaller one first")
        if span is not None:
            _before_the_ferrule(bench, one, span[1], "free")
        low, high = span or bench.bounds(one)
        made[one.name] = Free(one, low, high)
    for name, listed in stops.items():
        one = _mine(bench, setting_name(name, "stops"), "stops")
        places = tuple(sorted(set(listed)))
        _before_the_ferrule(bench, one, places[-1], "stops")
        made[one.name] = Free(one, places[0], places[-1], places)
    if not made:
        count = sum(want.unit == "deg" for want in wants)
        order = [bench.jig.dial, "projection", "cant", "roll", "fullness", "shoulder"]
        if not bench.jig.clamps:
            order.remove("projection")  # where the fingers hold a bar hardly changes what the table grinds
        usable = [name for name in order if name in bench.names]
        for name in usable[: max(count, 1)]:
            made[name] = Free(NAMES[name], *bench.bounds(NAMES[name]))
    return tuple(made.values())


def _mine(bench: Bench, name: Name, field: str) -> Name:
    if name.name not in bench.names:
        if name.name == "distance":
            raise InputError(field, f"{bench.jig.noun} has no distance to set", f"free its {bench.jig.dial} instead")
        raise InputError(
            field, f"given {name.name}, which {bench.noun} does not have", f"allowed are {', '.join(bench.names)}"
        )
    return name


def _before_the_ferrule(bench: Bench, name: Name, most: float, field: str) -> None:
    if bench.ends_at_ferrule(name) and most >= bench.steel_mm:
        raise InputError(
            field,
            f"given {name.name} up to {most:g}, but the bar has only {bench.steel_mm:g} mm of steel ahead of the"
            " ferrule, and the clamp holds it behind that projection",
            "end below that, or make bar.length_mm larger",
        )


class Reader:
    """Reads the wanted numbers off the edge that settings give: from poses for a traced path, else from the surface."""

    def __init__(self, recipe: Recipe, bench: Bench, per_cents: Sequence[float], grind: int = 0) -> None:
        self.recipe, self.bench, self.grind = recipe, bench, grind
        self.per_cents = tuple(sorted(set(per_cents)))
        self._tracer = Tracer()

    def read(self, values: dict[str, float]) -> Reading:
        """The edge at these settings (mm, deg by plain name). Raises InputError where it cannot be ground."""
        return self._tracer.read(self.bench.set(values), self.per_cents)

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
