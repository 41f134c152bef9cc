"""Which gauges help to set this up? Each as files to print, measured on the file, with a picture."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from gougeform.gauges.gauge import Gauge, Printing
from gougeform.gauges.kinds import all_gauges, gauges
from gougeform.gauges.making import Made, as_files, made
from gougeform.gauges.picture import make_picture
from gougeform.gauges.plate import lay_out
from gougeform.gauges.setup import Setup, Wishes
from gougeform.grind.gouge import shape
from gougeform.measure.measures import measure
from gougeform.present.answer import Answer, Block, Cell, Files, Number
from gougeform.present.apart import Outcome
from gougeform.present.files import raw
from gougeform.present.folder import out_folder
from gougeform.present.progress import step
from gougeform.recipe.model import Recipe

_NAMES = {
    "projection": "Projection stop",
    "spacer": "Rim spacer",
    "angle": "Angle gauge",
    "outline": "Outline template",
    "wheel": "Wheel gauge",
    "relief": "Relief block",
    "tag": "Tag",
}
_FILES = (
    r"(projection|angle|outline|wheel|tag|relief(-\d+)?|plate(-\d+)?|spacer-[\d.]+mm(-wheel[\d.]+)?)\.(stl|3mf|png)"
)
"""Names that are written here, and no others: a folder of a person's own may hold more."""


def answer(recipe: Recipe, kind: str, wishes: Wishes | None = None, printing: Printing | None = None) -> Answer:
    """The gauges of one kind, or with "all" every one this recipe can have, laid out on plates.

    Raises InputError where a gauge cannot exist, cannot be printed as it is, or does not fit the bed.
    """
    with step("grinding the recipe"):
        gouge = shape(recipe)
        measure(gouge)  # refuses what cannot be ground
    setup, every = Setup(gouge, printing or Printing(), wishes or Wishes()), kind == "all"
    planned, without = all_gauges(setup) if every else (gauges(kind, setup), {})
    with step("building the gauges, writing them and measuring the files"):
        ready = [made(gauge, setup) for gauge in planned]
        plates = _plates(ready, setup) if every else {}
    left_out = {name: str(replace(error, file="")) for name, error in without.items()}
    title = recipe.title or recipe.name or "Gauges"
    bed = setup.printing.bed_mm if every else None
    heads = {name: (title, [_plate_words(number, len(plates), setup)]) for number, name in enumerate(plates, 1)}
    if not every:
        heads = {one.body.name: (_NAMES[one.gauge.kind], _captions(one.gauge)) for one in ready}
    contents = [content for one in ready for content in one.files.items()]
    contents += [content for files in plates.values() for content in files.items()]
    return Answer(
        title,
        [*map(_block, ready), Block("Left out", points=[f"{name}: {why}" for name, why in left_out.items()])],
        result={
            "gauges": [_entry(one, setup) for one in ready],
            "without": left_out,
            "plates": [*plates],
        },
        files=Files(
            {name: raw(content) for name, content in contents},
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


def _plates(ready: list[Made], setup: Setup) -> dict[str, dict[str, bytes]]:
    plates = lay_out([one.body for one in ready], setup.printing.bed_mm)
    names = ["plate" if len(plates) == 1 else f"plate-{number}" for number in range(1, len(plates) + 1)]
    return {name: as_files(name, plate.bodies) for name, plate in zip(names, plates, strict=True)}


def _entry(one: Made, setup: Setup) -> dict[str, Any]:
    gauge, found = one.gauge, one.found
    return {
        "kind": gauge.kind,
        "name": one.body.name,
        "text": [line.replace("\u00a0", " ") for line in gauge.says],
        "dimensions": gauge.dimensions,
        "scale": setup.printing.scale,
        "size_mm": found.size,
        "wall_mm": found.wall_mm,
        "overhang_deg": found.overhang_deg,
        "volume_mm3": found.volume,
        "use": gauge.use,
        "notes": gauge.notes,
    }


def _block(one: Made) -> Block:
    found = one.found
    rows: list[tuple[str, Cell]] = [(_spoken(name), Number(v, name)) for name, v in one.gauge.dimensions.items()]
    rows += [
        ("thinnest wall, measured on the file", Number(found.wall_mm, "wall_mm")),
        ("steepest overhang", Number(found.overhang_deg, "overhang_deg", 0)),
        ("size", " x ".join(f"{v:.1f}" for v in found.size) + " mm"),
    ]
    return Block(one.body.name, rows, ("", ""), below="\n".join([one.gauge.use, *one.gauge.notes]))


def _captions(gauge: Gauge) -> list[str]:
    sizes = " · ".join(f"{_spoken(name)} {Number(value, name)}" for name, value in gauge.dimensions.items())
    return [gauge.use, sizes]


def _spoken(name: str) -> str:
    kind, *rest = name.split("_")
    if kind == "notch":
        return f"notch for {rest[0]}° cut to"
    if kind == "diameter":
        return f"arc for {rest[0]} mm"
    key, _, place = name.partition(".")
    return f"{key.rsplit('_', 1)[0].replace('_', ' ')} {place}".rstrip()


def _plate_words(number: int, count: int, setup: Setup) -> str:
    bed = setup.printing.bed_mm
    which = "All gauges" if count == 1 else f"Plate {number} of {count}"
    return f"{which}, as they lie on a bed of {bed[0]:g} x {bed[1]:g} mm"
