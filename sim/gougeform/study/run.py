"""Runs a study: whatever its journal does not have yet is computed, kept row by row, and the table is written."""

from __future__ import annotations

import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from typing import IO, TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from gougeform.study import table
from gougeform.study.journal import Journal
from gougeform.study.outputs import chunk_size
from gougeform.study.plan import Plan
from gougeform.study.points import Points
from gougeform.study.spread import Chunk, cores, in_cluster, in_processes, in_this_process
from gougeform.study.worker import packed

if TYPE_CHECKING:
    import pyarrow

_SMALL = 32  # tools; fewer are done before another process has started
_BLOCK = 4096  # points laid out at a time
_LINE_S = 5.0  # between lines of progress where there is no terminal


@dataclass(frozen=True)
class Outcome:
    """A run that ended. table has every row so far; computed counts those of this run. stopped: by Ctrl-C."""

    plan: Plan
    table: pyarrow.Table
    computed: int
    seconds: float
    stopped: bool
    files: tuple[Path, ...] = ()


def run(
    plan: Plan,
    folder: Path,
    *,
    study: str = "",
    workers: int | None = None,
    cluster: str | None = None,
    restart: bool = False,
    quiet: bool = False,
) -> Outcome:
    """Compute what is missing of a study in `folder` and write its table there.

    study: the study file's text, kept beside the table. workers: processes on this machine, by default one a core;
    cluster: the address of a dask scheduler instead. restart: throw earlier rows away. quiet: show no progress.
    Raises InputError where the folder cannot be used or there is no such cluster. Ctrl-C ends it with a usable table.
    """
    begin = time.perf_counter()
    with Journal(folder, plan.fingerprint, restart=restart) as journal, _asked_to_stop() as stop:
        done = np.zeros(plan.size, bool)
        for number, *_ in journal.rows(plan.size, len(plan.outputs)):
            done[number] = True
        missing = np.flatnonzero(~done)
        shown = _Progress(len(missing), None if quiet else sys.stderr)
        with shown:
            chunks = _chunks(plan, missing)
            pack, count = packed(plan), workers or cores()
            if cluster is not None:
                finished = in_cluster(pack, chunks, stop, cluster)
            elif count == 1 or len(missing) < _SMALL:
                finished = in_this_process(pack, chunks, stop)
            else:
                finished = in_processes(pack, chunks, stop, count)
            for rows in finished:
                journal.add(rows)
                shown.advance(len(rows))
        stopped = shown.done < len(missing)
        made = table.build(plan, journal.rows(plan.size, len(plan.outputs)))
        files = table.save(plan, made, folder, study)
    return Outcome(plan, made, shown.done, time.perf_counter() - begin, stopped, tuple(files))


def _chunks(plan: Plan, missing: NDArray[np.intp]) -> Iterator[Chunk]:
    points, size = Points(plan), chunk_size(plan.outputs)
    for begin in range(0, len(missing), _BLOCK):
        block = missing[begin : begin + _BLOCK]
        tasks = list(zip(block.tolist(), points.places(block), strict=True))
        for i in range(0, len(tasks), size):
            yield tasks[i : i + size]


@contextmanager
def _asked_to_stop() -> Iterator[Callable[[], bool]]:
    """The first Ctrl-C (or TERM) asks to finish what is under way; a second one interrupts at once."""
    asked = threading.Event()
    before = {}

    def ask(number: int, frame: FrameType | None) -> None:
        if asked.is_set():
            raise KeyboardInterrupt
        asked.set()

    if threading.current_thread() is threading.main_thread():
        before = {number: signal.signal(number, ask) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield asked.is_set
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


class _Progress:
    """How many tools are done and how long the rest takes: a bar on a terminal, a line now and then elsewhere."""

    def __init__(self, total: int, stream: IO[str] | None) -> None:
        self.total, self.stream, self.done = total, stream, 0
        self.begin = self.told = time.monotonic()
        self.bar: object = None

    def __enter__(self) -> _Progress:
        if self.total and self.stream is not None and self.stream.isatty():
            from rich.console import Console
            from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

            self.bar = Progress(
                TextColumn("grinding"),
                BarColumn(),
                MofNCompleteColumn(),
                TextColumn("time left"),
                TimeRemainingColumn(elapsed_when_finished=True),
                console=Console(file=self.stream),
            )
            self.bar.start()
            self.task = self.bar.add_task("", total=self.total)
        return self

    def advance(self, count: int) -> None:
        """Some more are done."""
        self.done += count
        if self.bar is not None:
            self.bar.advance(self.task, count)  # type: ignore[attr-defined]
            return
        now = time.monotonic()
        if self.stream is not None and now - self.told > _LINE_S:
            self.told = now
            left = (now - self.begin) / self.done * (self.total - self.done)
            print(
                f"{self.done:,} of {self.total:,} tools, about {duration(left)} left",
                file=self.stream,
                flush=True,
            )

    def __exit__(self, *_: object) -> None:
        if self.bar is not None:
            self.bar.stop()  # type: ignore[attr-defined]


def duration(seconds: float) -> str:
    """A time in words a person plans with."""
    whole = round(seconds)
    if whole < 90:
        return f"{whole} s"
    return f"{round(whole / 60)} min" if whole < 5400 else f"{whole / 3600:.1f} h"
