"""Runs a study: whatever its journal does not have yet is computed, kept row by row, and the table is written."""

from __future__ import annotations

import math
import pickle
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from gougeform.many.crew import Died, asked_to_stop, crew
from gougeform.many.journal import Journal
from gougeform.present.progress import counting
from gougeform.study import table
from gougeform.study.outputs import chunk_size
from gougeform.study.plan import Plan
from gougeform.study.points import Points
from gougeform.study.worker import FAILED, Task, work

if TYPE_CHECKING:
    import pyarrow

JOURNAL = "rows.jsonl"
"""The file of the finished rows, in the study's folder."""

_SMALL = 32  # tools; fewer are done before another process has started
_BLOCK = 4096  # points laid out at a time


@dataclass(frozen=True)
class StudyRun:
    """A run that ended. table has every row so far; computed counts those of this run. stopped: by Ctrl-C.

    damaged: lines of the journal that did not fit their checksums, so that what they held was computed again.
    """

    plan: Plan
    table: pyarrow.Table
    computed: int
    seconds: float
    stopped: bool
    files: tuple[Path, ...] = ()
    damaged: int = 0


def run(
    plan: Plan,
    folder: Path,
    *,
    study: str = "",
    workers: int | None = None,
    cluster: str | None = None,
    restart: bool = False,
    quiet: bool = False,
) -> StudyRun:
    """Compute what is missing of a study in `folder` and write its table there.

    study: the study file's text, kept beside the table. workers: processes on this machine, by default one a core;
    cluster: the address of a dask scheduler instead. restart: throw earlier rows away. quiet: show no progress.
    Raises InputError where the folder cannot be used or there is no such cluster. Ctrl-C ends it with a usable table.
    """
    begin = time.perf_counter()
    with Journal(folder / JOURNAL, plan.fingerprint, restart=restart) as journal, asked_to_stop() as stop:
        rows = table.Rows(plan)
        for number, status, reason, values in journal.records():
            rows.put((number, status, reason, [math.nan if one is None else one for one in values]))
        missing, computed = np.flatnonzero(~rows.done), 0
        here = 1 if cluster is None and len(missing) < _SMALL else workers
        doing = partial(work, pickle.dumps(plan))
        with counting(len(missing), "tools", None if quiet else sys.stderr) as tell, crew(here, cluster) as hands:
            size = chunk_size(plan.outputs)
            for _, row in hands.finished(doing, _tasks(plan, missing), at_a_time=size, stop=stop):
                if isinstance(row, Died):
                    row = (row.task[0], FAILED, row.why, [])
                number, status, reason, values = row
                journal.add([[number, status, reason, [None if math.isnan(one) else one for one in values]]])
                rows.put(row)
                computed += 1
                tell(computed)
        made = rows.table()
        files = table.save(plan, made, folder, study)
    stopped = computed < len(missing)
    return StudyRun(plan, made, computed, time.perf_counter() - begin, stopped, tuple(files), journal.damaged)


def _tasks(plan: Plan, missing: NDArray[np.intp]) -> Iterator[Task]:
    points = Points(plan)
    for begin in range(0, len(missing), _BLOCK):
        block = missing[begin : begin + _BLOCK]
        yield from zip(block.tolist(), points.places(block), strict=True)
