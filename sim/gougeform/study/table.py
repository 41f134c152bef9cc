"""A study's results as one tidy table: a row each tool, a column each input and output, units in the columns' names.

Written as Parquet and CSV, with the study file, the base recipe and the versions beside them. Numbers in the CSV read
back bit for bit.
"""

from __future__ import annotations

import json
import platform
import sys
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from gougeform import __version__
from gougeform.errors import InputError
from gougeform.present.folder import publish, stage, write
from gougeform.present.json import json_text
from gougeform.recipe.model import Recipe
from gougeform.recipe.write import to_toml
from gougeform.study.plan import Plan
from gougeform.study.points import Points, labels
from gougeform.study.worker import CONSTRAINT, FAILED, OK, Row

if TYPE_CHECKING:
    import pandas
    import pyarrow

POINT, STATUS, REASON = "point", "status", "reason"
_STATES = (OK, CONSTRAINT, FAILED)
_BLOCK = 65_536  # rows turned into columns at a time


class Rows:
    """The rows of a plan as they come, in any order. done: (size,) which points have one."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.done = np.zeros(plan.size, bool)
        self._values = np.full((plan.size, len(plan.outputs)), np.nan)
        self._status = np.zeros(plan.size, np.int8)
        self._reasons: dict[int, str] = {}

    def put(self, row: Row) -> None:
        """Take one row."""
        number, status, reason, values = row
        self.done[number], self._status[number] = True, _STATES.index(status)
        if values:
            self._values[number] = values
        if reason:
            self._reasons[number] = reason

    def table(self) -> pyarrow.Table:
        """The rows there are, in the order of their points."""
        import pyarrow as pa

        plan, at = self.plan, np.flatnonzero(self.done)
        columns: dict[str, Any] = {POINT: pa.array(at), **_inputs(plan, at)}
        for k, name in enumerate(plan.outputs):
            column = self._values[at, k]
            columns[name] = pa.array(column, mask=np.isnan(column))
        columns[STATUS] = pa.array(np.array(_STATES, object)[self._status[at]], pa.string())
        columns[REASON] = pa.array([self._reasons.get(number, "") for number in at.tolist()], pa.string())
        kept = json.dumps({"study": plan.name, "fingerprint": plan.fingerprint, "versions": versions()})
        return pa.table(columns).replace_schema_metadata({"gougeform": kept})


def _inputs(plan: Plan, at: np.ndarray[Any, Any]) -> dict[str, Any]:
    """The columns of what was set, block by block so that a large study needs little memory for it."""
    import pyarrow as pa

    points = Points(plan)
    kinds = {name: (str, pa.string()) if name in plan.texts else (float, pa.float64()) for name in plan.inputs}
    parts: dict[str, list[Any]] = {name: [] for name in kinds}
    for begin in range(0, max(len(at), 1), _BLOCK):
        rows = [labels(plan, place) for place in points.places(at[begin : begin + _BLOCK])]
        for name, (plain, column) in kinds.items():
            parts[name].append(pa.array([plain(row[name]) for row in rows], column))
    return {name: pa.chunked_array(chunks) for name, chunks in parts.items()}


def versions() -> dict[str, str]:
    """What computed a table: the program, what it stands on, and the machine's kind."""
    return {
        "gougeform": __version__,
        "python": platform.python_version(),
        **{name: version(name) for name in ("numpy", "scipy", "pyarrow")},
        "system": f"{sys.platform} {platform.machine()}",
    }


def counts(table: pyarrow.Table) -> dict[str, int]:
    """How many rows there are of each status."""
    words, number = np.unique(table[STATUS].to_numpy(zero_copy_only=False).astype(str), return_counts=True)
    return dict(zip(words.tolist(), number.tolist(), strict=True))


def save(plan: Plan, table: pyarrow.Table, folder: Path, study: str) -> list[Path]:
    """Write NAME.parquet, NAME.csv, study.toml, recipe.toml and study.json; study: the study file's text.

    Raises InputError where the folder cannot be written.
    """
    import pyarrow.csv
    import pyarrow.parquet

    stem = plan.name or "study"
    with stage(folder) as inner:
        try:
            pyarrow.parquet.write_table(table, inner / f"{stem}.parquet")
            pyarrow.csv.write_csv(table, inner / f"{stem}.csv", pyarrow.csv.WriteOptions(quoting_style="needed"))
        except OSError as error:
            raise InputError("", f"cannot be written: {error}", "name another folder", str(folder)) from error
        write(inner / "study.toml", study)
        write(inner / "recipe.toml", to_toml(plan.recipe))
        write(inner / "study.json", json_text(_about(plan, table)))
        names = [path.name for path in inner.iterdir()]
        publish(inner, folder)
    return [folder / name for name in sorted(names)]


def _about(plan: Plan, table: pyarrow.Table) -> dict[str, Any]:
    meant = {
        f"{name} = {row[k]}": value.table if isinstance(value, Recipe) else value
        for one in plan.vary
        for row, values in zip(one.values, one.meant, strict=True)
        for k, (name, value) in enumerate(zip(one.fields, values, strict=True))
        if isinstance(value, Recipe | dict)
    }
    found = counts(table)
    return {
        "title": plan.title,
        "versions": versions(),
        "fingerprint": plan.fingerprint,
        "tools": plan.size,
        "rows": table.num_rows,
        "complete": table.num_rows == plan.size,
        "ok": found.get(OK, 0),
        "failed": found.get(FAILED, 0),
        "names": meant,
    }


def frame(table: pyarrow.Table) -> pandas.DataFrame:
    """The table for pandas, numbered by point; texts of few kinds stay texts, and what has no value is NaN."""
    return table.to_pandas().set_index(POINT)
