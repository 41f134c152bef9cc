"""The question as data: the work, the bars there are, the machine, and the fields that are searched. mm and deg."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import product
from pathlib import Path
from typing import Any

from gougeform.errors import InputError
from gougeform.part import Table
from gougeform.reach.result import Terms
from gougeform.read.complaints import shown
from gougeform.read.library import is_path, names
from gougeform.read.rows import read_text, rows
from gougeform.read.toml import read_toml
from gougeform.work.meridian import Meridian

PLACES = 20
"""Places along each workpiece that are asked of every tool tried; those that are told are asked at the usual ones."""

Values = dict[str, float]


@dataclass(frozen=True)
class Offer:
    """A bar with its flute that could be bought or made: names of the library, or tables; and its price, if known."""

    name: str
    bar: str | Table
    flute: str | Table
    price: float | None = None


@dataclass(frozen=True)
class FieldRange:
    """One field that is searched: from low to high by steps that a person can set."""

    label: str
    low: float
    high: float
    step: float

    @property
    def values(self) -> list[float]:
        """All of them."""
        count = round((self.high - self.low) / self.step)
        return [round(self.low + i * self.step, 6) for i in range(count + 1)]


SPANS: dict[str, FieldRange] = {
    "nose_deg": FieldRange("nose angle", 30.0, 70.0, 1.0),
    "wing_mm": FieldRange("wing length", 2.0, 16.0, 1.0),
    "fullness": FieldRange("fullness", 0.2, 0.8, 0.1),
    "finer_deg": FieldRange("relief finer than the nose by (0: none)", 0.0, 12.0, 4.0),
    "land_mm": FieldRange("land", 1.0, 3.0, 0.5),
}
"""What is searched beside bar and flute. Usual ranges of spindle and detail gouges: common practice, no source."""


@dataclass(frozen=True, eq=False)
class Choice:
    """What is asked. works: by name. spans: the fields searched, by key of SPANS. tries: tools looked at, at most.

    robust: whether those named must reach as much with every setting off by half a step of the ruler, and so.
    """

    works: dict[str, Meridian]
    stock: Sequence[Offer]
    jig: str | Table
    wheel: str | Table
    terms: Terms = field(default_factory=Terms)
    spans: dict[str, FieldRange] = field(default_factory=lambda: dict(SPANS))
    tries: int = 240
    seed: int = 1
    robust: bool = False

    def __post_init__(self) -> None:
        """Raise InputError for a question that has no answer."""
        if not self.works:
            raise InputError("work", "none is given", "name one or more workpieces")
        for name, work in self.works.items():
            if not work.cut.any():
                raise InputError("work", f"{name} has no place that is to be cut", "leave out cut = false on a piece")
        if not self.stock:
            raise InputError("bars", "none is given", "name one or more bars")
        if not 1 <= self.tries <= 100_000:
            raise InputError("tries", f"given {self.tries}, allowed is from 1 to 100000", "change it")

    @property
    def prices(self) -> bool:
        """Whether every bar has its price."""
        return all(one.price is not None for one in self.stock)

    def table(self, number: int, values: Values) -> Table:
        """The recipe, as a file would say it, of one bar with these values."""
        stock = self.stock[number]
        first: dict[str, Any] = {
            "path": "traced",
            "wing_length_mm": values["wing_mm"],
            "fullness": values["fullness"],
            "nose_angle_deg": values["nose_deg"],
        }
        grinds = [first]
        if values["finer_deg"] > 0:
            grinds.append({"nose_angle_deg": values["nose_deg"] - values["finer_deg"], "land_mm": values["land_mm"]})
        told = f"{stock.name}, nose {values['nose_deg']:g}°, wings {values['wing_mm']:g} mm"
        relief = f", relief {values['nose_deg'] - values['finer_deg']:g}°" if len(grinds) > 1 else ""
        return {
            "title": told + relief,
            "bar": stock.bar,
            "flute": stock.flute,
            "wheel": self.wheel,
            "jig": self.jig,
            "grind": grinds,
        }

    def every(self) -> list[tuple[int, Values]]:
        """Every tool of the question's grid; where there is no relief its land makes no difference."""
        out: list[tuple[int, Values]] = []
        seen: set[tuple[float, ...]] = set()
        fields = list(product(*(span.values for span in self.spans.values())))
        for number, one in product(range(len(self.stock)), fields):
            values = plain(dict(zip(self.spans, one, strict=True)), self.spans)
            key = (number, *values.values())
            if key not in seen:
                seen.add(key)
                out.append((number, values))
        return out


def plain(values: Values, spans: dict[str, FieldRange]) -> Values:
    """The values with the land at its first where there is no relief, so that one tool has one name."""
    return values if values["finer_deg"] > 0 else values | {"land_mm": spans["land_mm"].low}


def stock_of(bars: Sequence[str], flutes: Sequence[str] = ()) -> list[Offer]:
    """Bars by name with the library's flutes made for them, or files: TOML of a bar, or CSV of bar, flute, price.

    flutes: first words of the flutes' names (detail, spindle, deep) to take; all where none is given. No bars: those of
    the library that have a flute. Raises InputError.
    """
    known, every = names("bars"), names("flutes")
    out: list[Offer] = []
    for bar in bars or known:
        if str(bar).lower().endswith(".csv"):
            out += _listed(Path(bar))
            continue
        path = is_path(bar)
        if not path and bar not in known:
            raise InputError(
                "bars", f"given {shown(bar)}, which the library does not have", f"allowed are {', '.join(known)}"
            )
        fits = [
            one for one in every if (not flutes or one.split("-")[0] in flutes) and (path or one.endswith(f"-{bar}"))
        ]
        table: str | Table = read_toml(Path(bar)) if path else bar
        if path and not flutes:
            raise InputError(
                "flutes", f"{bar} is a bar of your own, whose flute is not known", "name a flute of the library"
            )
        out += [Offer(f"{Path(bar).stem if path else bar} {one.removesuffix(f'-{bar}')}", table, one) for one in fits]
    if not out:
        raise InputError(
            "flutes", f"no flute of the library fits {', '.join(map(str, bars))}", f"allowed are {', '.join(every)}"
        )
    return out


def _listed(path: Path) -> list[Offer]:
    """A person's own list, one bar a line: bar, flute, price; a first line that names these may stand above."""
    out = []
    for number, row in enumerate(rows(read_text(path), str(path), ","), start=1):
        cells = [cell.strip() for cell in row]
        if not any(cells) or cells[0].startswith("#") or cells[0].lower() == "bar":
            continue
        try:
            bar, flute, *rest = cells
            price = float(rest[0]) if rest and rest[0] else None
            if price is not None and not 0 <= price < 1e9:
                raise ValueError
        except ValueError:
            given = shown(",".join(row))
            raise InputError(
                f"line {number}", f"given {given}, allowed is bar, flute, price", "correct it", str(path)
            ) from None
        for name, folder in ((bar, "bars"), (flute, "flutes")):
            if not is_path(name) and name not in names(folder):
                hint = f"allowed are {', '.join(names(folder))}, or a file"
                raise InputError(
                    f"line {number}", f"given {shown(name)}, which the library does not have", hint, str(path)
                )
        parts = [read_toml(path.parent / name) if is_path(name) else name for name in (bar, flute)]
        out.append(Offer(f"{Path(bar).stem} {Path(flute).stem}", parts[0], parts[1], price))
    if not out:
        raise InputError("", "lists no bar", "one bar a line: bar, flute, price", str(path))
    return out
