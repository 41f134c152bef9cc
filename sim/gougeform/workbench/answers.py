"""What the page is told: plain values made from a bench. One function a request, none of them knows of a server."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from typing import Any

from gougeform.errors import InputError
from gougeform.measure.measures import Measures
from gougeform.part import Table
from gougeform.present.cautions import STRONG, cautions
from gougeform.quantity import unit_of
from gougeform.recipe.model import Recipe
from gougeform.settings.bench import bench_of
from gougeform.settings.names import NAMES
from gougeform.workbench import address as addresses
from gougeform.workbench.asking import WANTS
from gougeform.workbench.incoming import good_recipe
from gougeform.workbench.knobs import knobs, library_choices
from gougeform.workbench.numbers import numbers, table_rows
from gougeform.workbench.reaching import workpieces
from gougeform.workbench.state import (
    TOOLS,
    Desk,
    Side,
    copied,
    differences,
    looked,
    opened,
    put_back,
    swapped,
    turned,
)
from gougeform.workbench.workroom import table_key

Measured = Callable[[Recipe], Measures]


def whole(bench: Desk, measured: Measured) -> dict[str, Any]:
    """All that changes with a turn of a knob: bench, address, knobs, numbers, charts, cautions."""
    tools = {name: tool_answer(bench.tool(name), measured) for name in TOOLS}
    return {
        "bench": addresses.plain(bench),
        "address": addresses.address(bench),
        "tools": tools,
        "differences": differences(tools["a"]["numbers"], tools["b"]["numbers"]),
    }


def fixed() -> dict[str, Any]:
    """What stays the same while the page is open: the library's choices and the rows of the table of numbers."""
    return {
        "library": library_choices(),
        "rows": table_rows(),
        "works": workpieces(),
        "wants": [(one.name, one.words, unit_of(f"_{one.unit}").sign.strip()) for one in WANTS],
        "free": [(name, one.quantity.label) for name, one in NAMES.items() if one.table != "wheel"],
    }


def tool_answer(tool: Side, measured: Measured) -> dict[str, Any]:
    """One tool: its knobs as set, and numbers and edge of its last good shape."""
    measures = measured(tool.recipe)
    gouge, edge = measures.gouge, measures.edge
    followed: dict[str, float | None] = {}
    for i, setting in enumerate(gouge.settings):
        nose = gouge.recipe.grinds[i].jig.nose_angle_deg
        followed[f"grind.{i}.nose_angle_deg"] = (
            measures.nose_angle if i == 0 else _nose_angle(measures, i) if nose is None else nose
        )
        followed[f"grind.{i}.rim_distance_mm"] = setting.rim_distance
        followed[f"grind.{i}.centre_distance_mm"] = setting.centre_distance
    every = cautions(gouge.recipe)
    return {
        "key": tool_key(tool.good),
        "title": str(tool.wanted.get("title", "")),
        "problem": None if tool.problem is None else tool.problem.plain,
        "knobs": knobs(tool.wanted, followed),
        "numbers": numbers(measures, late=False),
        "notes": measures.notes,
        "free": bench_of(gouge.recipe).names,
        "cautions": [{"text": text, "strong": text.startswith(STRONG)} for text in every],
        "edge": {
            "s_mm": rounded(edge.arc - edge.arc[edge.nose]),
            "wedge_deg": rounded(edge.wedge),
            "bevel_mm": rounded(edge.bevel),
            "land_mm": rounded(edge.land),
        },
    }


def tool_key(table: Table) -> str:
    """Short letters that are the same for tables that say the same."""
    return hashlib.sha256(table_key(table).encode()).hexdigest()[:16]


def done(bench: Desk, deeds: Any, measured: Measured) -> Desk:
    """The bench after a list of deeds, each a table with `do` and what it needs.

    Raises InputError for a deed that is not known or not complete.
    """
    if not isinstance(deeds, list) or len(deeds) > 50:
        raise InputError("do", "is not a list of at most 50 deeds", "load the page again")
    for deed in deeds:
        kind = deed.get("do") if isinstance(deed, dict) else None
        if kind == "turn":
            changes = deed.get("changes")
            if not isinstance(changes, dict) or len(changes) > 50:
                raise InputError("changes", "is not a table of at most 50 fields", "load the page again")
            bench = turned(bench, deed.get("tool", ""), changes, measured)
        elif kind == "copy":
            bench = copied(bench, deed.get("from", ""))
        elif kind == "swap":
            bench = swapped(bench)
        elif kind == "put_back":
            bench = put_back(bench, deed.get("tool", ""))
        elif kind == "recipe":
            table = _library_recipe(deed.get("name"))
            bench = opened(bench, deed.get("tool", ""), table, measured)
        elif kind == "adopt":  # a recipe that the workbench itself has solved for
            bench = opened(bench, deed.get("tool", ""), good_recipe(deed.get("recipe")).table, measured)
        elif kind == "look":
            changes = deed.get("changes")
            bench = Desk(bench.a, bench.b, looked(bench.view, changes if isinstance(changes, dict) else {}))
        else:
            raise InputError("do", f"given {str(kind)[:30]!r}, which is not known", "load the page again")
    return bench


def opened_file(bench: Desk, which: str, table: Table, measured: Measured) -> Desk:
    """The bench after a file was opened: a whole bench takes its place, a recipe that of one tool."""
    if addresses.is_bench(table):
        return addresses.from_bench_table(table, measured)
    return opened(bench, which, table, measured)


def late(measures: Measures) -> dict[str, Any]:
    """The numbers that take a moment."""
    return {"numbers": numbers(measures, late=True)}


def rounded(values: Any, digits: int = 5) -> list[float | None]:
    """An array as a list; not-a-numbers become None."""
    return [round(float(v), digits) if v == v else None for v in values]


def _nose_angle(measures: Measures, i: int) -> float | None:
    """The nose angle a relief's own setting makes by itself, deg; None where its wheel does not touch."""
    import numpy as np

    gouge = measures.gouge
    one = gouge.ground.passes[i]
    pivot = gouge.jigs[i].pivot
    rim = gouge.settings[i].rim_distance
    if pivot is None or rim is None:
        return None
    value = float(np.degrees(pivot.nose_angle(rim, one.wheel.curvature)))
    return value if value == value else None


def _library_recipe(name: Any) -> Table:
    from gougeform.read.library import is_path
    from gougeform.recipe.reading import load

    if not isinstance(name, str) or is_path(name):
        raise InputError("recipe", "is not a name of the library", "choose one of the list")
    return load(name).table
