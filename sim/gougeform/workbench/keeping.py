"""Files to take away: recipe, bench, edge table and numbers at once; meshes, gauges, card, picture as jobs."""

from __future__ import annotations

import base64
import io
import re
import tempfile
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from gougeform.errors import InputError
from gougeform.measure.measures import Measures, result
from gougeform.recipe.model import Recipe
from gougeform.recipe.write import to_toml
from gougeform.workbench import address as addresses
from gougeform.workbench.state import Desk, checked_tool

Measured = Callable[[Recipe], Measures]
Tell = Callable[[float, str], None]

_TYPES = {
    ".toml": "application/toml", ".csv": "text/csv", ".json": "application/json", ".stl": "model/stl",
    ".3mf": "model/3mf", ".png": "image/png",
    ".zip": "application/zip", ".pdf": "application/pdf",
}  # fmt: skip


def small_file(kind: str, bench: Desk, which: str, measured: Measured) -> dict[str, str]:
    """A file that is made at once: kind is recipe, bench, csv or numbers; of one tool, but for the bench.

    Raises InputError for another kind.
    """
    if kind == "bench":
        return as_file("workbench.toml", addresses.bench_toml(bench).encode())
    tool = bench.tool(checked_tool(which))
    stem = file_stem(tool.good, which)
    if kind == "recipe":
        return as_file(f"{stem}.toml", to_toml(tool.recipe).encode())
    measures = measured(tool.recipe)
    if kind == "csv":
        from gougeform.measure.edge import station_table
        from gougeform.present.files import csv_text

        return as_file(f"{stem}-edge.csv", csv_text(station_table(measures.gouge, measures.edge)).encode())
    if kind == "numbers":
        from gougeform.present.json import json_text

        return as_file(f"{stem}.json", json_text(result(measures, [])).encode())
    raise InputError("kind", f"given {kind[:20]!r}, allowed are recipe, bench, csv and numbers", "load the page again")


def files(what: dict[str, Any], tell: Tell) -> dict[str, str]:
    """The job behind a mesh or the gauges: `kind` stl, 3mf or gauges of `recipe`. Raises InputError."""
    from gougeform.grind.gouge import shape
    from gougeform.workbench.incoming import good_recipe

    kind, which = what.get("kind"), checked_tool(what.get("tool"))
    recipe = good_recipe(what.get("recipe"))
    stem = file_stem(recipe.table, which)
    if kind == "gauges":
        return _gauges(recipe, what, stem, tell)
    gouge = shape(recipe)
    if kind in ("stl", "3mf"):
        from gougeform.measure.measures import measure
        from gougeform.mesh.files import write_mesh
        from gougeform.mesh.solid import build_solid
        from gougeform.present.files import captured

        measure(gouge)
        tell(0.1, "building the solid")
        solid = build_solid(gouge)
        tell(0.8, "writing it")
        name = f"{stem}.{kind}"
        return as_file(name, captured(lambda folder: write_mesh(solid, folder / name))[name])
    if kind == "card":
        from gougeform.card.byhand import hand_set
        from gougeform.card.card import write_card
        from gougeform.measure.measures import measure
        from gougeform.present.files import captured

        exact = measure(gouge)
        tell(0.2, "setting it by ruler and protractor")
        measures, _ = hand_set(exact)
        tell(0.6, "laying the card out")
        pages = captured(lambda folder: write_card(measures, folder / "card", exact=exact))
        return as_file(f"{stem}-card.pdf", pages["card.pdf"])
    raise InputError("kind", f"given {str(kind)[:20]!r}, allowed are stl, 3mf, gauges and card", "load the page again")


def _gauges(recipe: Recipe, what: dict[str, Any], stem: str, tell: Tell) -> dict[str, str]:
    """Gauges as STL and 3MF in one archive, with a note on the kinds a tool cannot have: all, or `gauge` by `options`.

    Raises InputError like the command.
    """
    from gougeform.gauges.making import ALL, make

    options = what.get("options") or {}
    if not isinstance(options, dict):
        raise InputError("options", "are not names with values", "load the page again")
    gauges = make(recipe, str(what.get("gauge") or ALL), options, tell)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in gauges.files.items():
            archive.writestr(name, data)
    note = "; ".join(f"{kind}: {why.problem}" for kind, why in gauges.without.items())
    return as_file(f"{stem}-gauges.zip", packed.getvalue()) | {"note": f"Left out: {note}." if note else ""}


def picture(what: dict[str, Any], tell: Tell) -> dict[str, str]:
    """The job behind the picture of a tool's head. Raises InputError where it cannot be drawn, and says why."""
    from gougeform.grind.gouge import shape
    from gougeform.measure.measures import measure
    from gougeform.mesh.files import write_mesh
    from gougeform.mesh.solid import build_solid
    from gougeform.tool.grind import captions
    from gougeform.tool.picture import make_picture
    from gougeform.workbench.incoming import good_recipe

    which, recipe = checked_tool(what.get("tool")), good_recipe(what.get("recipe"))
    measures = measure(shape(recipe))
    tell(0.1, "building the solid")
    solid = build_solid(measures.gouge)
    tell(0.4, "drawing")
    with tempfile.TemporaryDirectory() as folder:
        mesh, out = Path(folder) / "head.vtu", Path(folder) / "head.png"
        write_mesh(solid, mesh)
        title, lines = captions(measures)
        outcome = make_picture(mesh, out, title, lines)
        if not outcome:
            raise InputError("", outcome.problem.rstrip("."), "the other files can be had without it")
        return as_file(f"{file_stem(recipe.table, which)}.png", out.read_bytes())


def file_stem(table: dict[str, Any], which: str) -> str:
    """A file's name from a recipe's title: letters every system takes, and which tool it was."""
    words = re.sub(r"[^a-z0-9.]+", "-", str(table.get("title", "")).lower()).strip("-.")[:60].strip("-.")
    return f"{words or 'gouge'}-{which}"


def as_file(name: str, data: bytes) -> dict[str, str]:
    """A file as plain values: its name, its kind and its bytes as base64."""
    kind = _TYPES.get(Path(name).suffix, "application/octet-stream")
    return {"name": name, "type": kind, "data": base64.b64encode(data).decode()}
