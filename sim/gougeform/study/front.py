"""Studies from Python: a table of many tools, and one tool's edge, ready for pandas.

Lengths are in mm and angles in degrees, as the columns' names say.
"""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from gougeform.errors import InputError
from gougeform.measure.edge import station_table
from gougeform.measure.measures import Measures
from gougeform.recipe.model import Recipe
from gougeform.recipe.reading import load
from gougeform.study.plan import from_table, read, text_of
from gougeform.study.run import StudyRun, run
from gougeform.study.table import frame

if TYPE_CHECKING:
    import pandas

__all__ = ["edge_frame", "run_study", "sweep"]


def edge_frame(measures: Measures) -> pandas.DataFrame:
    """The whole edge from left lip to right lip: one row a station, columns with units in their names."""
    import pandas

    return pandas.DataFrame(station_table(measures.gouge, measures.edge))


def sweep(
    recipe: Recipe | str | Path,
    vary: Mapping[str | tuple[str, ...], Any],
    outputs: str | Sequence[str] = ("settings", "edge"),
    *,
    together: bool = False,
    workers: int = 1,
    folder: str | Path | None = None,
    quiet: bool = True,
) -> pandas.DataFrame:
    """Measure many tools: every combination of the values, one row each, the last field varying fastest.

    vary: values by field, each a number, an array or a list of numbers or of names; arrays of more than one dimension
    are read flat. A tuple of fields, (“bar”, “flute”), takes rows of values that belong together. The field "recipe"
    stands for the whole recipe. together: read the fields' values side by side instead; a single value serves all rows.
    outputs: names or groups, `gougeform study --outputs` lists them. workers: processes on this machine.
    folder: keep rows and table there, so that a stopped sweep goes on; by default nothing is kept.
    quiet: show no progress.
    A tool that cannot be ground is a row with status "failed" and its reason.
    Raises InputError for a field, value or output that does not exist.
    """
    base = recipe if isinstance(recipe, Recipe) else load(recipe)
    rows = {fields: _listed(values) for fields, values in vary.items()}
    if together:
        longest = max((len(values) for values in rows.values()), default=1)
        rows = {fields: values * longest if len(values) == 1 else values for fields, values in rows.items()}
    tables = [
        {"fields": list(fields), "values": [list(value) for value in values]}
        if isinstance(fields, tuple)
        else {"field": fields, "values": values}
        for fields, values in rows.items()
    ]
    words = [outputs] if isinstance(outputs, str) else list(outputs)
    plan = from_table(
        {"sample": "list" if together else "grid", "outputs": words, "vary": tables}, base=base, name="sweep"
    )
    if folder is not None:
        return _finished(run(plan, Path(folder), workers=workers, quiet=quiet))
    with tempfile.TemporaryDirectory(prefix="gougeform-") as place:
        return _finished(run(plan, Path(place), workers=workers, quiet=quiet))


def run_study(
    study: str | Path,
    folder: str | Path | None = None,
    *,
    workers: int | None = None,
    cluster: str | None = None,
    restart: bool = False,
    quiet: bool = False,
) -> pandas.DataFrame:
    """Run a study file, or go on with it, as `gougeform study` does; returns its table.

    folder: where table and rows are kept, by default out/NAME. workers: processes here, by default one a core; cluster:
    the address of a dask scheduler instead. Raises InputError like the command.
    """
    plan = read(study)
    place = Path("out") / plan.name if folder is None else Path(folder)
    outcome = run(plan, place, study=text_of(plan), workers=workers, cluster=cluster, restart=restart, quiet=quiet)
    return _finished(outcome)


def _finished(outcome: StudyRun) -> pandas.DataFrame:
    if outcome.stopped:
        raise KeyboardInterrupt
    return frame(outcome.table)


def _listed(values: Any) -> list[Any]:
    """Values as a list of plain numbers and texts."""
    if isinstance(values, str):
        return [values]
    if isinstance(values, list | tuple) and any(isinstance(one, str | list | tuple) for one in values):
        return list(values)
    array = np.asarray(values)
    if array.dtype.kind not in "iufU" or array.size == 0:
        raise InputError("vary", f"given {str(values)[:60]}", "give numbers, or names in a list")
    plain: list[Any] = array.ravel().tolist()
    return plain
