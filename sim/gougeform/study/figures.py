"""The figures and the sensitivities of a finished or half-finished study, written beside its table."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from gougeform.errors import InputError
from gougeform.present.folder import publish, stage
from gougeform.study import plot
from gougeform.study.plan import Plan
from gougeform.study.sobol import as_table, of_table
from gougeform.study.table import frame
from gougeform.study.worker import OK

if TYPE_CHECKING:
    import pyarrow


_REACHES = {
    "tightest_cove_mm": False,
    "depth_reached_mm": True,
    "reached_mm": True,
    "clearance_mm": True,
    "cheek_past_edge_mm.10": False,
    "cheek_width_mm.5": False,
    "cheek_width_mm.3": False,
    "cheek_width_mm.10": False,
}
"""Outputs that tell how far a tool gets, the most telling first, and whether more is better."""


def draw(plan: Plan, table: pyarrow.Table, folder: Path) -> tuple[list[Path], list[str]]:
    """Write all figures that a study has; returns their files and why others are missing."""
    data, stem = frame(table), plan.name or "study"
    makers = {
        "curves": lambda: plot.response_curves(data, plan.inputs, plan.outputs),
        "map": lambda: plot.heat_maps(data, plan.inputs, plan.outputs),
    }
    far = next((name for name in _REACHES if name in plan.outputs), None)
    if far is not None and "stiffness_n_mm" in plan.outputs:
        makers["front"] = lambda: plot.against(
            data[data["status"] == OK], far, "stiffness_n_mm", more=(_REACHES[far], True), by=_named(plan)
        )
    notes: list[str] = []
    with stage(folder) as inner:
        if plan.sample == "sensitivity":
            import pyarrow.csv

            try:
                found = of_table(plan, table)
                plot.save(plot.sensitivities(found), inner / f"{stem}-sensitivity.png")
                pyarrow.csv.write_csv(as_table(found), inner / f"{stem}-sensitivity.csv")
            except InputError as error:
                notes.append(f"no sensitivities: {error}")
        for name, make in makers.items():
            try:
                plot.save(make(), inner / f"{stem}-{name}.png")
            except InputError as error:
                notes.append(f"no {name}: {error}")
        names = sorted(path.name for path in inner.iterdir())
        publish(inner, folder, instead_of=[f"{stem}-{name}.png" for name in (*makers, "sensitivity", "front")])
    return [folder / name for name in names], notes


def _named(plan: Plan) -> str | None:
    """The first column of names, which gets colours of its own."""
    for one in plan.vary:
        for k, name in enumerate(one.fields):
            if 1 < len({row[k] for row in one.values}) <= 12 and isinstance(one.values[0][k], str):
                return name
    return None
