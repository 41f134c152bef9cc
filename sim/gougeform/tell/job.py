"""The main job: a recipe in, a measured gouge out, as files in a folder.

Numbers and meshes are written first, all at once; then the picture, whose process may die without harm.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.measure.edge import station_table
from gougeform.measure.measures import Measures, measure, result
from gougeform.mesh.files import WRITERS, write_mesh
from gougeform.mesh.solid import DEFAULT_TOLERANCE, build_solid
from gougeform.recipe.model import Recipe
from gougeform.recipe.write import to_toml
from gougeform.tell.doubts import doubts
from gougeform.tell.folder import file_name, publish, stage, write
from gougeform.tell.picture import make_picture
from gougeform.tell.progress import step
from gougeform.tell.tables import csv_text

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


def do(recipe: Recipe, folder: Path, tolerance: float = DEFAULT_TOLERANCE, *, picture: bool = True) -> Done:
    """Grind, measure, mesh and write; then, with all that safe, draw.

    Raises InputError where the recipe cannot be ground, the tolerance not be kept, or the folder not be written.
    """
    with step("measuring"):
        try:
            measures = measure(shape(recipe))
        except InputError as error:
            raise _doubted(error, recipe) from None
        numbers = finite(result(measures, []))
    name = file_name(recipe)
    with stage(folder) as inner:
        with step("building the mesh and writing it"):
            numbers["stated_error"]["mesh_mm"] = _write_tool(measures, inner / name, tolerance)
        files = (*(folder / path.name for path in sorted(inner.iterdir())), folder / _RESULT)
        done = Done(measures, numbers, files)
        written = _write_result(done, inner)
        publish(inner, folder, instead_of=[_PICTURE])
        if not picture:
            return replace(done, result=_with_files(done))
        with step("drawing the head"):
            outcome = make_picture(folder / f"{name}.vtu", inner / _PICTURE, *captions(measures))
        if outcome:
            drawn = replace(done, files=(*files, folder / _PICTURE))
            _write_result(drawn, inner)
            if publish(inner, folder, only_if=(_RESULT, written)):
                return replace(drawn, result=_with_files(drawn))
            outcome = replace(outcome, problem="Another run has written to this folder, so its picture is there.")
        return replace(done, result=_with_files(done), without_picture=outcome.problem)


def _doubted(error: InputError, recipe: Recipe) -> InputError:
    """A refusal with the first number that looks like a slip, which is more likely the cause than what was refused."""
    found = doubts(recipe)
    return replace(error, hint=f"{error.hint}. But look first at this: {found[0]}") if found else error


def _write_tool(measures: Measures, stem: Path, tolerance: float) -> float:
    """STEM.stl, STEM.3mf, STEM.vtu, and beside them edge.csv and recipe.toml; returns how exact the mesh is, mm."""
    gouge = measures.gouge
    solid = build_solid(gouge, tolerance)
    for ending in WRITERS:
        write_mesh(solid, stem.with_name(stem.name + ending))
    write(stem.with_name("edge.csv"), csv_text(station_table(gouge, measures.edge)))
    write(stem.with_name("recipe.toml"), to_toml(gouge.recipe))
    return solid.tolerance


def _with_files(done: Done) -> dict[str, Any]:
    return done.result | {"files": [str(path) for path in done.files]}


def _write_result(done: Done, inner: Path) -> bytes:
    """result.json with the files' names; returns its bytes."""
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
    second = "     ".join(f"{name} {value:.1f} mm" for name, value in lengths if math.isfinite(value))
    return recipe.title or recipe.name or "Ground tool", [first, second]
