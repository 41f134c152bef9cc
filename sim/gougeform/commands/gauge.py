"""Setup gauges to print: STL, 3MF and a picture of each, measured again on the written file.

KIND is one of
  projection  how far the nose stands ahead of the clamp face: a lane and a stop under the nose
  spacer      rim of the wheel to pocket or rod, between two seats
  angle       notches for nose angles, the recipe's own framed
  outline     the edge from above as a cut-out, both wings
  wheel       arcs of several diameters, to read how far a wheel is worn
  relief      how far pocket or rod move from the first to the second setting
  tag         a label to keep with them
  all         every gauge this recipe can have, laid out on the bed
RECIPE is a file that ends in .toml, or the name of a library recipe.
"""

from __future__ import annotations

import argparse
import json
import math
import re
import sys
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gougeform.errors import InputError

if TYPE_CHECKING:
    from gougeform.gauges.build import Body
    from gougeform.gauges.checks import Found
    from gougeform.gauges.gauge import Gauge
    from gougeform.gauges.setup import Setup

KIND_NAMES = ("projection", "spacer", "angle", "outline", "wheel", "relief", "tag")

_NAMES = {
    "projection": "Projection stop",
    "spacer": "Rim spacer",
    "angle": "Angle gauge",
    "outline": "Outline template",
    "wheel": "Wheel gauge",
    "relief": "Relief block",
    "tag": "Tag",
}


_GAUGE_FILE = re.compile(
    r"(projection|angle|outline|wheel|tag|relief(-\d+)?|plate(-\d+)?|spacer-[\d.]+mm(-wheel[\d.]+)?)\.(stl|3mf|png)"
)
"""Names this command writes, and no others: a folder of a person's own may hold more."""


@dataclass(frozen=True)
class Made:
    """One written gauge: what it is, its solid, and what the file was found to be."""

    gauge: Gauge
    body: Body
    found: Found


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform gauge` takes."""
    parser.add_argument("kind", metavar="KIND", choices=(*KIND_NAMES, "all"), help="the kind of gauge, or all")
    parser.add_argument("recipe", metavar="RECIPE", help="a .toml file, or the name of a library recipe")
    add = parser.add_argument
    add(
        "--wheel",
        metavar="MM",
        action="append",
        default=[],
        help="wheel diameter for spacers and wheel gauge; may be repeated",
    )
    add("--projection", metavar="MM", action="append", default=[], help="projection of the stop; may be repeated")
    add("--angle", metavar="DEG", action="append", default=[], help="notch of the angle gauge; may be repeated")
    add("--reads", choices=("edge", "chord"), default="edge", help="what notches are labelled with (default edge)")
    add("--foot", metavar="MM", default="8", help="diameter of the foot's end in its pocket (default %(default)s)")
    add(
        "--slide",
        choices=("radial", "level"),
        default="radial",
        help="how pocket or rod move for a relief (default radial)",
    )
    add("--fit", metavar="MM", default="0.2", help="gap on faces that go round a part (default %(default)s)")
    add("--scale", metavar="FACTOR", default="1", help="factor on all lengths, against shrinkage (default %(default)s)")
    add("--chamfer", metavar="MM", default="0.4", help="chamfer at the bed (default %(default)s)")
    add("--text", metavar="MM", default="4", help="height of capital letters (default %(default)s)")
    add("--raised", action="store_true", help="raised text instead of sunk")
    add(
        "--bed",
        metavar="WxD",
        default="220x220",
        help="width and depth of the printer's bed in mm (default %(default)s)",
    )
    add("--no-picture", action="store_true", help="do not draw previews")
    add("--json", action="store_true", help="print one JSON object instead of tables")
    add("-o", metavar="FOLDER", dest="folder", help="write the files here (default out/NAME/gauges)")


def run(arguments: argparse.Namespace) -> int:
    """Make, write, measure and draw the gauges, and say what each is for."""
    from gougeform.tell.progress import step

    wishes, printing = _asked(arguments)
    with step("grinding the recipe"):
        from gougeform.gauges.setup import Setup
        from gougeform.grind.gouge import shape
        from gougeform.measure.measures import measure
        from gougeform.recipe.reading import load
        from gougeform.tell.folder import file_name

        recipe = load(arguments.recipe)
        gouge = shape(recipe)
        measure(gouge)  # refuses what cannot be ground
    setup = Setup(gouge, printing, wishes)
    folder = Path("out") / file_name(recipe) / "gauges" if arguments.folder is None else Path(arguments.folder)
    result, problems = make(arguments.kind, setup, folder, picture=not arguments.no_picture)
    from gougeform.tell.cautions import cautions

    if arguments.json:
        print("\n".join(["Before you grind", *(f"- {line}" for line in cautions(recipe))]), file=sys.stderr)
        print(json.dumps(result, indent=1, ensure_ascii=False, allow_nan=False))
    else:
        _print(result, cautions(recipe))
    for problem in problems:
        sys.stdout.flush()
        print(f"gougeform: {problem} All other files are written.", file=sys.stderr)
    return 0


def make(kind: str, setup: Setup, folder: Path, *, picture: bool = True) -> tuple[dict[str, Any], list[str]]:
    """Write the gauges of one kind, or all on plates; returns the JSON object and what could not be drawn.

    Raises InputError where a gauge cannot exist, does not fit the bed, or the folder cannot be written.
    """
    from gougeform.gauges.kinds import all_gauges, gauges
    from gougeform.gauges.picture import make_picture
    from gougeform.tell.folder import publish, stage
    from gougeform.tell.progress import step

    without: dict[str, InputError] = {}
    if kind == "all":
        planned, without = all_gauges(setup)
    else:
        planned = gauges(kind, setup)
    bed = setup.printing.bed_mm if kind == "all" else None
    title = setup.gouge.recipe.title or setup.gouge.recipe.name or "Gauges"
    problems: list[str] = []
    with stage(folder) as inner:
        with step("building the gauges, writing them and measuring the files"):
            made = [_written(gauge, setup, inner) for gauge in planned]
            plates = _write_plates(made, setup, inner) if kind == "all" else []
        files = [folder / path.name for path in sorted(inner.iterdir())]
        # A whole set replaces the whole set before it: what is printed from two of them would not belong together.
        older = [path.name for path in folder.iterdir() if _GAUGE_FILE.fullmatch(path.name)]
        publish(inner, folder, instead_of=older if kind == "all" else [])
        drawings: list[tuple[str, str, list[str]]] = []
        if picture:
            drawings = [(m.body.name, _heading(m.gauge), _captions(m.gauge)) for m in made if kind != "all"]
            drawings += [
                (name, title, [_plate_words(number, len(plates), setup)]) for number, name in enumerate(plates, 1)
            ]
        for name, heading, lines in drawings:
            with step(f"drawing {name}"):
                outcome = make_picture(folder / f"{name}.3mf", inner / f"{name}.png", heading, lines, bed=bed)
            if outcome:
                files.append(folder / f"{name}.png")
            else:
                problems.append(outcome.problem)
        publish(inner, folder)
    result = {
        "title": setup.gouge.recipe.title,
        "gauges": [_entry(m, setup) for m in made],
        "without": {name: str(replace(error, file="")) for name, error in without.items()},
        "plates": plates,
        "files": [str(path) for path in files],
        "from_earlier_runs": sorted(
            str(folder / name) for name in older if kind != "all" and folder / name not in files
        ),
    }
    return result, list(dict.fromkeys(problems))


def _written(gauge: Gauge, setup: Setup, inner: Path) -> Made:
    """Build one gauge, write both files, and measure the STL as it lies on the disk."""
    from gougeform.gauges.build import build
    from gougeform.gauges.checks import inspect, read
    from gougeform.gauges.gauge import LEAST_WALL_MM, TEXT_DEPTH_MM
    from gougeform.gauges.writing import write_3mf, write_stl

    try:
        body = build(gauge, setup.printing)
    except ValueError as error:
        raise InputError(
            "--chamfer",
            f"given {setup.printing.chamfer_mm:g}, for the {gauge.kind} gauge {error}",
            "ask for a smaller one, or 0",
        ) from error
    write_stl([body], inner / f"{body.name}.stl")
    write_3mf([body], inner / f"{body.name}.3mf")
    (mesh,) = read(inner / f"{body.name}.stl").values()
    scale = setup.printing.scale
    bands = [(scale * (t.top - TEXT_DEPTH_MM - 0.01), scale * (t.top + TEXT_DEPTH_MM + 0.01)) for t in gauge.lettering]
    found = inspect(mesh, bands, rays=150)
    faults = [
        *(["it is not closed"] if not found.closed else []),
        *([f"it falls into {found.bodies} pieces"] if found.bodies != 1 else []),
        *([f"{found.crossings} of its faces cut each other"] if found.crossings else []),
        *([f"a wall is only {found.wall_mm:.2f} mm"] if found.wall_mm < LEAST_WALL_MM * min(scale, 1.0) - 0.01 else []),
        *([f"a face overhangs by {found.overhang_deg:.0f} degrees"] if found.overhang_deg > 45.1 else []),
    ]
    if faults or abs(found.volume - body.volume) > 1e-4 * body.volume:
        why = "; ".join(faults) or "its volume changed when it was written"
        raise InputError(
            "",
            f"the {gauge.kind} gauge cannot be printed as it is: {why}",
            "try another --text, --fit or --chamfer, or leave this kind out",
            setup.gouge.recipe.source,
        )
    return Made(gauge, body, found)


def _write_plates(made: list[Made], setup: Setup, inner: Path) -> list[str]:
    from gougeform.gauges.plate import lay_out
    from gougeform.gauges.writing import write_3mf, write_stl

    plates = lay_out([m.body for m in made], setup.printing.bed_mm)
    names = ["plate" if len(plates) == 1 else f"plate-{number}" for number in range(1, len(plates) + 1)]
    for name, plate in zip(names, plates, strict=True):
        write_stl(plate.bodies, inner / f"{name}.stl")
        write_3mf(plate.bodies, inner / f"{name}.3mf")
    return names


def _entry(made: Made, setup: Setup) -> dict[str, Any]:
    found = made.found
    return {
        "kind": made.gauge.kind,
        "name": made.body.name,
        "text": [line.replace("\u00a0", " ") for line in made.gauge.says],
        "dimensions": made.gauge.dimensions,
        "scale": setup.printing.scale,
        "size_mm": list(found.size),
        "wall_mm": found.wall_mm if math.isfinite(found.wall_mm) else None,
        "overhang_deg": found.overhang_deg,
        "volume_mm3": found.volume,
        "use": made.gauge.use,
        "notes": list(made.gauge.notes),
    }


def _heading(gauge: Gauge) -> str:
    return _NAMES[gauge.kind]


def _captions(gauge: Gauge) -> list[str]:
    sizes = " · ".join(f"{_spoken(name)} {value:.2f}{_unit(name)}" for name, value in gauge.dimensions.items())
    return [gauge.use, sizes]


def _spoken(name: str) -> str:
    kind, *rest = name.split("_")
    if kind == "notch":
        return f"notch for {rest[0]}° cut to"
    if kind == "diameter":
        return f"arc for {rest[0]} mm"
    return name.rsplit("_", 1)[0].replace("_", " ")


def _unit(name: str) -> str:
    return "°" if name.endswith("_deg") else " mm"


def _plate_words(number: int, count: int, setup: Setup) -> str:
    bed = setup.printing.bed_mm
    which = "All gauges" if count == 1 else f"Plate {number} of {count}"
    return f"{which}, as they lie on a bed of {bed[0]:g} x {bed[1]:g} mm"


def _print(result: dict[str, Any], sentences: list[str]) -> None:
    from gougeform.tell.report import console_for, print_list, table

    console = console_for(sys.stdout)
    console.print(result["title"] or "Gauges", style="bold", markup=False)
    console.print()
    for entry in result["gauges"]:
        rows = [(_spoken(name), f"{value:.2f}{_unit(name)}") for name, value in entry["dimensions"].items()]
        wall = entry["wall_mm"]
        rows.append(("thinnest wall, measured on the file", "–" if wall is None else f"{wall:.2f} mm"))
        rows.append(("steepest overhang", f"{entry['overhang_deg']:.0f}°"))
        rows.append(("size", " x ".join(f"{v:.1f}" for v in entry["size_mm"]) + " mm"))
        console.print(table(entry["name"], ("", ""), rows, "\n".join([entry["use"], *entry["notes"]])))
    print_list(console, "Left out", [f"{name}: {why}" for name, why in result["without"].items()])
    print_list(console, "Before you grind", sentences)
    files = [Path(name) for name in result["files"]]
    print(f"Written to {files[0].parent}:")
    for path in files:
        print(f"  {path.name}")
    if earlier := result["from_earlier_runs"]:
        print("Also there, from earlier runs, perhaps for other settings:")
        for name in earlier:
            print(f"  {Path(name).name}")


def _asked(arguments: argparse.Namespace) -> tuple[Any, Any]:
    """Wishes and printing from the options. Raises InputError for what is no number."""
    from gougeform.gauges.gauge import Printing
    from gougeform.gauges.setup import Wishes

    def numbers(name: str) -> tuple[float, ...]:
        return tuple(_number(f"--{name}", text) for text in getattr(arguments, name))

    wishes = Wishes(
        wheel_mm=numbers("wheel"),
        projection_mm=numbers("projection"),
        angle_deg=numbers("angle"),
        reads=arguments.reads,
        foot_mm=_number("--foot", arguments.foot),
        slide=arguments.slide,
    )
    sides = arguments.bed.lower().split("x")
    if len(sides) != 2:
        raise InputError(
            "--bed", f"given {arguments.bed[:40]}, allowed is width x depth in mm", "write it like 220x220"
        )
    printing = Printing(
        fit_mm=_number("--fit", arguments.fit),
        scale=_number("--scale", arguments.scale),
        chamfer_mm=_number("--chamfer", arguments.chamfer),
        text_mm=_number("--text", arguments.text),
        raised=arguments.raised,
        bed_mm=(_number("--bed", sides[0]), _number("--bed", sides[1])),
    )
    return wishes, printing


def _number(name: str, text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(
            name, f"given {text[:40]}, allowed is a number", "write it with a decimal point, without a unit"
        )
    return value
