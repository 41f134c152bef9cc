"""A study's results as one tidy table: a row each tool, a column each input and output, units in the columns' names.

Written as Parquet and CSV, with the study file, the base recipe and the versions beside them. Numbers in the CSV read
back bit for bit.
"""

from __future__ import annotations

import json
import platform
import sys
from collections.abc import Iterable
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from gougeform import __version__
from gougeform.errors import InputError
from gougeform.present.folder import publish, stage, write
from gougeform.recipe.model import Recipe
from gougeform.recipe.write import to_toml
from gougeform.study.plan import Plan
from gougeform.study.points import Points, labels
from gougeform.study.worker import FAILED, OK, Row

if TYPE_CHECKING:
    import pandas
    import pyarrow

POINT, STATUS, REASON = "point", "status", "reason"
_BLOCK = 65_536  # rows turned into columns at a time


def build(plan: Plan, rows: Iterable[Row]) -> pyarrow.Table:
    """The table of the rows that are done, in the order of their points."""
    import pyarrow as pa

    size, outputs = plan.size, len(plan.outputs)
    values = np.full((size, outputs), np.nan)
    done, status, reasons = np.zeros(size, bool), np.zeros(size, np.int8), {}
    names: dict[str, int] = {}
    for number, state, reason, found in rows:
        done[number], status[number] = True, names.setdefault(state, len(names))
        if found:
            values[number] = found
        if reason:
            reasons[number] = reason
    at = np.flatnonzero(done)
    columns: dict[str, Any] = {POINT: pa.array(at)}
    columns.update(_inputs(plan, at))
    for k, name in enumerate(plan.outputs):
        column = values[at, k]
        columns[name] = pa.array(column, mask=np.isnan(column))
    words = np.array(list(names) or [""], object)
    columns[STATUS] = pa.array(words[status[at]], pa.string())
    columns[REASON] = pa.array([reasons.get(number, "") for number in at.tolist()], pa.string())
    kept = json.dumps({"study": plan.name, "fingerprint": plan.fingerprint, "versions": versions()})
    return pa.table(columns).replace_schema_metadata({"gougeform": kept})


def _inputs(plan: Plan, at: np.ndarray[Any, Any]) -> dict[str, Any]:
    """The columns of what was set, block by block so that a large study needs little memory for it."""
    import pyarrow as pa

    points = Points(plan)
    texts = {name for name in plan.inputs if _is_text(plan, name)}
    parts: dict[str, list[Any]] = {name: [] for name in plan.inputs}
    for begin in range(0, max(len(at), 1), _BLOCK):
        places = [labels(plan, place) for place in points.places(at[begin : begin + _BLOCK])]
        for name, chunks in parts.items():
            if name in texts:
                chunks.append(pa.array([str(one[name]) for one in places], pa.string()))
            else:
                chunks.append(pa.array([float(one[name]) for one in places], pa.float64()))
    return {name: pa.chunked_array(chunks) for name, chunks in parts.items()}


def _is_text(plan: Plan, name: str) -> bool:
    for one in plan.vary:
        if name in one.fields:
            k = one.fields.index(name)
            return any(isinstance(row[k], str) for row in one.values)
    raise KeyError(name)


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
            raise InputError("", f"cannot be written: {error}", "name another folder with -o", str(folder)) from error
        write(inner / "study.toml", study)
        write(inner / "recipe.toml", to_toml(plan.recipe))
        write(inner / "study.json", json.dumps(_about(plan, table), indent=1, ensure_ascii=False) + "\n")
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


def load(folder: Path, name: str) -> pyarrow.Table:
    """The table of a study as it was saved. Raises InputError where there is none."""
    import pyarrow.parquet

    path = folder / f"{name}.parquet"
    try:
        return pyarrow.parquet.read_table(path)
    except (OSError, ValueError) as error:
        raise InputError("", "cannot be read as a study's table", "run the study first", str(path)) from error


def frame(table: pyarrow.Table) -> pandas.DataFrame:
    """The table for pandas, numbered by point; texts of few kinds stay texts, and what has no value is NaN."""
    return table.to_pandas().set_index(POINT)
