"""The figures and the sensitivities of a finished or half-finished study, written beside its table."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from gougeform.errors import InputError
from gougeform.folder import publish, stage
from gougeform.study import plot
from gougeform.study.plan import Plan
from gougeform.study.sobol import as_table, of_table
from gougeform.study.table import frame

if TYPE_CHECKING:
    import pyarrow


def draw(plan: Plan, table: pyarrow.Table, folder: Path) -> tuple[list[Path], list[str]]:
    """Write all figures that a study has; returns their files and why others are missing."""
    data, stem = frame(table), plan.name or "study"
    makers = {
        "curves": lambda: plot.response_curves(data, plan.inputs, plan.outputs),
        "map": lambda: plot.heat_maps(data, plan.inputs, plan.outputs),
    }
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
