"""The figures and the sensitivities of a finished or half-finished study, written beside its table."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gougeform.errors import InputError
from gougeform.present.folder import publish, stage
from gougeform.study import plot
from gougeform.study.plan import Plan
from gougeform.study.sobol import as_table, of_table
from gougeform.study.table import frame
from gougeform.study.worker import OK

if TYPE_CHECKING:
    import pandas
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

_KINDS = ("curves", "map", "front", "sensitivity")


def draw(plan: Plan, table: pyarrow.Table, folder: Path) -> tuple[list[Path], list[str]]:
    """Write all figures that a study has; returns their files and why others are missing."""
    data, stem = frame(table), plan.name or "study"
    notes: list[str] = []
    with stage(folder) as inner:
        for kind in _KINDS:
            try:
                for number, make in enumerate(_figures(kind, plan, table, data, inner / f"{stem}-{kind}.csv"), 1):
                    plot.save(make(), inner / f"{stem}-{kind}{f'-{number}' if number > 1 else ''}.png")
            except InputError as error:
                notes.append(f"no {kind}: {error}")
        same = [name for name in plan.outputs if name not in plot.varying(data, plan.outputs)]
        if same:
            notes.append(f"not drawn, the same for all tools or blank: {', '.join(same)}")
        names = sorted(path.name for path in inner.iterdir())
        older = [path.name for kind in _KINDS for path in folder.glob(f"{stem}-{kind}*.png")]
        publish(inner, folder, instead_of=older)
    return [folder / name for name in names], notes


def _figures(
    kind: str, plan: Plan, table: pyarrow.Table, data: pandas.DataFrame, beside: Path
) -> Iterator[Callable[[], Any]]:
    """What makes the pages of one kind. beside: where the numbers of the sensitivities go."""
    title = plan.title or plan.name
    if kind in ("curves", "map"):
        part = plot.mapped(data, plan.inputs)[0] if kind == "map" else data
        shown, fields = plot.alike(part, plan.outputs), plot.varying(part, plan.inputs)
        if kind == "map":
            make, what, most = plot.heat_maps, "what two of the fields do together", plot.ACROSS * plot.DOWN
        else:
            make, what, most = plot.response_curves, "what each field does", plot.DOWN
            most *= 1 if len(fields) > 1 else plot.ACROSS
        for some in _pages(list(shown), most) or [[]]:
            twins = [name for one in some for name in (one, *shown[one])]
            yield partial(make, data, plan.inputs, twins or plan.outputs, f"{title}\n{what}")
    elif kind == "front":
        far = next((name for name in _REACHES if name in plan.outputs), None)
        if far is not None and "stiffness_n_mm" in plan.outputs:
            good, more = data[data["status"] == OK], (_REACHES[far], True)
            what = f"{title}\nhow far a tool gets against how stiff it is"
            yield partial(plot.against, good, far, "stiffness_n_mm", more=more, by=_named(plan), title=what)
    elif plan.sample == "sensitivity":
        import pyarrow.csv

        found = of_table(plan, table)
        pyarrow.csv.write_csv(as_table(found), beside)
        for some in _pages(found, plot.DOWN * plot.ACROSS) or [[]]:
            what = f"{title}\neach setting's share of how much an output varies; lines: 95 % of resamples"
            yield partial(plot.sensitivities, some, what)


def _pages(items: Sequence[Any], most: int) -> list[Sequence[Any]]:
    """The items on as few pages as hold so many, evenly."""
    pages = -(-len(items) // most)
    return [items[len(items) * k // pages : len(items) * (k + 1) // pages] for k in range(pages)]


def _named(plan: Plan) -> str | None:
    """The first column of names, which gets colours of its own."""
    rows = {name: {row[k] for row in one.values} for one in plan.vary for k, name in enumerate(one.fields)}
    return next((name for name in plan.texts if 1 < len(rows[name]) <= 12), None)
