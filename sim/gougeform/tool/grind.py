"""The first question: what edge does this recipe make? Measures, and the tool as files and a picture."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import partial

from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.measure.edge import station_table
from gougeform.measure.measures import Measures, measure, result
from gougeform.measure.quantities.standing import standing
from gougeform.mesh.files import WRITERS, write_mesh
from gougeform.mesh.solid import DEFAULT_TOLERANCE, build_solid
from gougeform.present.answer import Answer, Block, Files
from gougeform.present.files import table, text
from gougeform.present.folder import out_folder
from gougeform.present.progress import step
from gougeform.recipe.model import Recipe
from gougeform.recipe.write import to_toml
from gougeform.tool.costs import order_block, regrind_block, sharpening_block
from gougeform.tool.doubts import doubts
from gougeform.tool.picture import make_picture
from gougeform.tool.rows import (
    edge_block,
    exactness,
    extremes,
    kinked,
    near_misses,
    protractor_block,
    settings_block,
    size_block,
)  # fmt: skip


def answer(recipe: Recipe, tolerance: float = DEFAULT_TOLERANCE) -> Answer:
    """Grind, measure and mesh; tolerance: largest distance (mm) between mesh and true surface.

    Raises InputError where the recipe cannot be ground or the tolerance not be kept.
    """
    with step("measuring"):
        measures = measured(recipe)
        numbers = {key: value for key, value in result(measures, []).items() if key not in ("notes", "files")}
    with step("building the mesh"):
        solid = build_solid(measures.gouge, tolerance)
    numbers["stated_error"]["mesh_mm"] = solid.tolerance
    folder = out_folder(recipe)
    name = folder.name
    return Answer(
        blocks=blocks(measures, solid.tolerance),
        notes=[*measures.notes, *near_misses(measures), *kinked(measures), *(f"{doubt}." for doubt in doubts(recipe))],
        result=numbers,
        files=Files(
            {
                **{f"{name}{ending}": partial(write_mesh, solid) for ending in WRITERS},
                "edge.csv": table(station_table(measures.gouge, measures.edge)),
                "recipe.toml": text(to_toml(recipe)),
            },
            folder,
            record="result.json",
            draw={"head.png": lambda there, path: make_picture(there / f"{name}.vtu", path, *captions(measures))},
            replaces=r"head\.png",
        ),
        recipe=recipe,
    )


def blocks(measures: Measures, mesh_mm: float | None = None) -> list[Block]:
    """All that is told of one tool; mesh_mm: how far the mesh that is written may be off the surface."""
    return [
        settings_block(measures.gouge),
        edge_block(measures),
        Block(below=extremes(measures)),
        protractor_block(measures),
        size_block(measures),
        regrind_block(measures),
        *([order_block(measures.gouge.older, measures)] if measures.gouge.older is not None else []),
        sharpening_block(measures),
        Block(below=exactness(measures, mesh_mm)),
    ]


def measured(recipe: Recipe) -> Measures:
    """The ground and measured tool of a recipe.

    Raises InputError where the set-up cannot stand, too; with the first number that looks like a slip, likelier the
    cause than what was refused.
    """
    try:
        return standing(measure(shape(recipe)))
    except InputError as error:
        found = doubts(recipe)
        raise replace(error, hint=f"{error.hint}. But look first at this: {found[0]}") if found else error from None


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
