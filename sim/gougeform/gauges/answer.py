"""Which gauges help to set this up? Each as files to print, measured on the file, with a picture."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from gougeform.gauges.gauge import Gauge
from gougeform.gauges.kinds import KINDS
from gougeform.gauges.making import ALL, MadeGauge, make
from gougeform.gauges.picture import make_picture
from gougeform.present.answer import Answer, Block, Cell, Files, Number
from gougeform.present.apart import Outcome
from gougeform.present.files import raw
from gougeform.present.folder import out_folder
from gougeform.present.progress import step
from gougeform.recipe.model import Recipe

_NAMES = "|".join([*(kind.name + kind.parts for kind in KINDS.values()), r"plate(-\d+)?"])
_FILES = rf"({_NAMES})\.(stl|3mf|png)"
"""Names that are written here, and no others: a folder of a person's own may hold more."""


def answer(recipe: Recipe, kind: str = ALL, options: Mapping[str, Any] | None = None) -> Answer:
    """The gauges of one kind, or of all this recipe can have, laid out on plates; options as in `make`.

    Raises InputError where a gauge cannot exist, cannot be printed as it is, or does not fit the bed.
    """
    with step("building the gauges, writing them and measuring the files"):
        gauges = make(recipe, kind, options)
    printing, every = gauges.setup.printing, kind == ALL
    left_out = {name: str(replace(error, file="")) for name, error in gauges.without.items()}
    title, count = recipe.title or recipe.name or "Gauges", len(gauges.plates)
    bed = printing.bed_mm if every else None
    heads = {name: (title, [_plate_words(k, count, printing.bed_mm)]) for k, name in enumerate(gauges.plates, 1)}
    if not every:
        heads = {one.body.name: (KINDS[one.gauge.kind].title, _captions(one.gauge)) for one in gauges.made}
    return Answer(
        title,
        [*map(_block, gauges.made), Block("Left out", points=[f"{name}: {why}" for name, why in left_out.items()])],
        result={
            "gauges": [_entry(one, printing.scale) for one in gauges.made],
            "without": left_out,
            "plates": [*gauges.plates],
        },
        files=Files(
            {name: raw(content) for name, content in gauges.files.items()},
            out_folder(recipe) / "gauges",
            draw={f"{name}.png": partial(_draw, name, *head, bed) for name, head in heads.items()},
            # A whole set replaces the whole set before it: what is printed from two of them would not belong together.
            replaces=_FILES if every else "",
            beside=_FILES,
        ),
        recipe=recipe,
    )


def _draw(name: str, title: str, lines: list[str], bed: tuple[float, float] | None, folder: Path, out: Path) -> Outcome:
    return make_picture(folder / f"{name}.3mf", out, title, lines, bed=bed)


def _entry(one: MadeGauge, scale: float) -> dict[str, Any]:
    gauge, found = one.gauge, one.found
    return {
        "kind": gauge.kind,
        "name": one.body.name,
        "text": [line.replace("\u00a0", " ") for line in gauge.says],
        "dimensions": gauge.dimensions,
        "scale": scale,
        "size_mm": found.size,
        "wall_mm": found.wall_mm,
        "overhang_deg": found.overhang_deg,
        "volume_mm3": found.volume,
        "use": gauge.use,
        "notes": gauge.notes,
    }


def _block(one: MadeGauge) -> Block:
    found = one.found
    rows: list[tuple[str, Cell]] = [*_sizes(one.gauge).items()]
    rows += [
        ("thinnest wall, measured on the file", Number(found.wall_mm, "wall_mm")),
        ("steepest overhang", Number(found.overhang_deg, "overhang_deg", 0)),
        ("size", " x ".join(f"{v:.1f}" for v in found.size) + " mm"),
    ]
    return Block(one.body.name, rows, ("", ""), below="\n".join([one.gauge.use, *one.gauge.notes]))


def _captions(gauge: Gauge) -> list[str]:
    return [gauge.use, " · ".join(f"{words} {number}" for words, number in _sizes(gauge).items())]


def _sizes(gauge: Gauge) -> dict[str, Number]:
    """Its dimensions in words."""
    kind = KINDS[gauge.kind]()
    return {kind.spoken(name): Number(value, name) for name, value in gauge.dimensions.items()}


def _plate_words(number: int, count: int, bed: tuple[float, float]) -> str:
    which = "All gauges" if count == 1 else f"Plate {number} of {count}"
    return f"{which}, as they lie on a bed of {bed[0]:g} x {bed[1]:g} mm"
