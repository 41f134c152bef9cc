"""A tool's section, the outline of its edge and templates, 1:1 as SVG and DXF."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from gougeform.grind.gouge import shape
from gougeform.measure.edge import measure_edge
from gougeform.present.answer import Answer, Block, Cell, Files, Maker, Number
from gougeform.present.files import text
from gougeform.present.folder import out_folder
from gougeform.present.progress import step
from gougeform.recipe.model import Recipe
from gougeform.take.export import dxf_text, edge_sheet, section_sheet, svg_text, template_sheet

_SHEETS = {
    "section": "outline and flute, the bar's axis at (0, 0)",
    "edge": "the edge seen from above, its nose at (0, 0)",
    "templates": "plates that fill the flute, lie round the edge, and take the nose in a notch",
}


def answer(recipe: Recipe) -> Answer:
    """The sheets of a recipe, each as SVG and as DXF. Raises InputError where it cannot be ground."""
    with step("grinding it once"):
        gouge = shape(recipe)
        edge = measure_edge(gouge)
    title = recipe.title or recipe.name
    sheets = {
        "section": section_sheet(gouge.section, title),
        "edge": edge_sheet(edge, title),
        "templates": template_sheet(gouge, edge, title),
    }
    make: dict[str, Maker] = {}
    result: dict[str, Any] = {}
    rows: list[list[Cell]] = []
    for name, sheet in sheets.items():
        make[f"{name}.svg"] = text(svg_text(sheet))
        make[f"{name}.dxf"] = text(dxf_text(sheet))
        x0, y0, x1, y1 = sheet.box
        result[name] = {"wide_mm": x1 - x0, "high_mm": y1 - y0, "layers": list(sheet.layers)}
        rows.append([f"{name}: {_SHEETS[name]}", Number(x1 - x0, "wide_mm"), Number(y1 - y0, "high_mm")])
    return Answer(
        blocks=[Block("Sheets, in mm, true to size", rows, ("", "wide", "high"))],
        notes=["Print at 100 %, never fitted to the page, and lay a ruler on it: the sizes above must be there."],
        result={"sheets": result},
        files=Files(make, Path(out_folder(recipe)) / "outlines"),
        recipe=recipe,
    )
