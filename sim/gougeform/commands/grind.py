"""Grind a recipe: print its measures and write mesh, edge table, numbers and a picture to out/NAME/.

RECIPE is a file that ends in .toml, or the name of a library recipe (`gougeform profiles recipes` lists them).
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
    from gougeform.measures import Measures
    from gougeform.recipe import Recipe

DEFAULT_TOLERANCE_MM = 0.01
_PICTURE, _RESULT = "head.png", "result.json"


@dataclass(frozen=True)
class Done:
    """A finished job.

    result: the JSON object. files: what was written. without_picture: why there is no picture; "" where there is one
    or none was asked for.
    """

    measures: Measures
    result: dict[str, Any]
    files: tuple[Path, ...]
    without_picture: str = ""


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform grind` takes."""
    parser.add_argument("recipe", metavar="RECIPE", help="a .toml file, or the name of a library recipe")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of tables")
    output_arguments(parser)


def output_arguments(parser: argparse.ArgumentParser) -> None:
    """The options about what is written, shared by the commands that grind."""
    parser.add_argument("--no-picture", action="store_true", help="do not draw the head")
    parser.add_argument(
        "--tolerance",
        metavar="MM",
        default=str(DEFAULT_TOLERANCE_MM),
        help="largest distance between mesh and true surface (default %(default)s)",
    )
    parser.add_argument("-o", metavar="FOLDER", dest="folder", help="write the files here (default out/NAME)")


def run(arguments: argparse.Namespace) -> int:
    """Do the job and print its tables, or with --json its result."""
    done = grind_named(arguments.recipe, arguments)
    if arguments.json:
        from gougeform.cautions import cautions

        lines = [f"- {line}" for line in cautions(done.measures.gouge.recipe)]
        print("\n".join(["Before you grind", *lines]), file=sys.stderr)
        print(json.dumps(done.result, indent=1, ensure_ascii=False, allow_nan=False))
    else:
        print_tables(done)
    print_missing_picture(done)
    return 0


def grind_named(recipe_name: str, arguments: argparse.Namespace) -> Done:
    """Do the job for a recipe's name or path, with what `output_arguments` has read."""
    tolerance = tolerance_mm(arguments.tolerance)
    from gougeform.progress import step

    with step("reading the recipe"):
        from gougeform.recipe import load

        recipe = load(recipe_name)
    folder = Path("out") / file_name(recipe) if arguments.folder is None else Path(arguments.folder)
    return do(recipe, folder, tolerance, picture=not arguments.no_picture)


def print_tables(done: Done) -> None:
    """Measures, and where the files are, on standard output."""
    from gougeform.report import print_report

    print_report(done.measures, sys.stdout)
    print(f"Written to {done.files[0].parent}:")
    for path in done.files:
        print(f"  {path.name}")


def print_missing_picture(done: Done) -> None:
    """Why there is no picture, on standard error."""
    if done.without_picture:
        sys.stdout.flush()
        print(f"gougeform: {done.without_picture} All other files are written.", file=sys.stderr)


def tolerance_mm(text: str) -> float:
    """The option as a number; the mesh has limits of its own. Raises InputError where it is none, or not above 0."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and value > 0):
        raise InputError(
            "--tolerance",
            f"given {text[:40]}, allowed is a number of mm above 0",
            f"leave it out for {DEFAULT_TOLERANCE_MM:g} mm",
        )
    return value


def file_name(recipe: Recipe) -> str:
    """A recipe's name as a file's name on any system."""
    return re.sub(r'[\x00-\x1f<>:"/\\|?*]', "-", recipe.name).strip(" .") or "gouge"


def do(recipe: Recipe, folder: Path, tolerance: float = DEFAULT_TOLERANCE_MM, *, picture: bool = True) -> Done:
    """Grind, measure, mesh and write; then, with all that safe, draw.

    Raises InputError where the recipe cannot be ground, the tolerance not be kept, or the folder not be written.
    """
    from gougeform.folder import publish, stage
    from gougeform.gouge import shape
    from gougeform.measures import measure, result
    from gougeform.progress import step

    with step("measuring"):
        measures = measure(shape(recipe))
        numbers = finite(result(measures, []))
    name = file_name(recipe)
    with stage(folder) as inner:
        with step("building the mesh and writing it"):
            _write_tool(measures, inner / name, tolerance)
        files = tuple(folder / path.name for path in sorted(inner.iterdir())) + (folder / _RESULT,)
        done = Done(measures, numbers, files)
        written = _write_result(done, inner)
        publish(inner, folder, instead_of=[_PICTURE])
        if not picture:
            return replace(done, result=_with_files(done))
        with step("drawing the head"):
            from gougeform.picture import make_picture

            outcome = make_picture(folder / f"{name}.vtu", inner / _PICTURE, *captions(measures))
        if outcome:
            drawn = replace(done, files=(*files, folder / _PICTURE))
            _write_result(drawn, inner)
            if publish(inner, folder, only_if=(_RESULT, written)):
                return replace(drawn, result=_with_files(drawn))
            outcome = replace(outcome, problem="Another run has written to this folder, so its picture is there.")
        return replace(done, result=_with_files(done), without_picture=outcome.problem)


def _write_tool(measures: Measures, stem: Path, tolerance: float) -> None:
    """STEM.stl, STEM.3mf, STEM.vtu, and beside them edge.csv and recipe.toml."""
    from gougeform.edge import station_table
    from gougeform.files import WRITERS, write_mesh
    from gougeform.folder import write
    from gougeform.recipe import to_toml
    from gougeform.solid import build_solid
    from gougeform.tables import csv_text

    gouge = measures.gouge
    solid = build_solid(gouge, tolerance)
    for ending in WRITERS:
        write_mesh(solid, stem.with_name(stem.name + ending))
    write(stem.with_name("edge.csv"), csv_text(station_table(gouge, measures.edge)))
    write(stem.with_name("recipe.toml"), to_toml(gouge.recipe))


def _with_files(done: Done) -> dict[str, Any]:
    return done.result | {"files": [str(path) for path in done.files]}


def _write_result(done: Done, inner: Path) -> bytes:
    """result.json with the files' names; returns its bytes."""
    from gougeform.folder import write

    plain = done.result | {"files": [path.name for path in done.files]}
    text = json.dumps(plain, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    write(inner / _RESULT, text)
    return text.encode()


def finite(value: Any) -> Any:
    """The same plain value with None for numbers that JSON cannot hold."""
    if isinstance(value, dict):
        return {key: finite(one) for key, one in value.items()}
    if isinstance(value, list):
        return [finite(one) for one in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def captions(measures: Measures) -> tuple[str, list[str]]:
    """The picture's title and the lines under it."""
    recipe, edge = measures.gouge.recipe, measures.edge
    wings = " · ".join(f"{angle:.1f}°" for angle in measures.wing_angles.values())
    first = f"nose {measures.nose_angle:.1f}°     wings {wings} at {' · '.join(map(str, measures.wing_angles))} %"
    lengths = [("wing", edge.wing_length(1)), ("edge", edge.length), ("bevel", float(edge.bevel[edge.nose]))]
    if measures.land is not None:
        lengths.append(("land", measures.land))
    second = "     ".join(f"{name} {value:.1f} mm" for name, value in lengths)
    return recipe.title or recipe.name or "Ground tool", [first, second]
