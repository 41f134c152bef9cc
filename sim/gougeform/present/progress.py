"""Say what is going on when it takes more than a second: a spinner for a person at a terminal, one plain line else."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import IO

PATIENCE_S = 1.0
"""How long a step may take before anything is said, s."""
_BLINK_S = 0.2  # between looks at how far a step is, on a terminal
_LINE_S = 5.0  # between lines of progress where there is no terminal


_far: list[list[str]] = []
"""How far each step is that is going on, the innermost last; "" where nothing is said of it."""


@contextmanager
def step(text: str, stream: IO[str] | None = None) -> Iterator[None]:
    """While the body runs longer than PATIENCE_S, show `text` on standard error (or another stream)."""
    out = sys.stderr if stream is None else stream
    over = threading.Event()
    far = [""]
    watcher = threading.Thread(target=_watch, args=(text, far, out, over), daemon=True)
    _far.append(far)
    watcher.start()
    try:
        yield
    finally:
        _far[:] = [one for one in _far if one is not far]
        over.set()
        watcher.join()


def so_far(done: int, of: int) -> None:
    """Say within a step how much of it is done; nothing outside of one."""
    if _far:
        _far[-1][0] = f": {done} of {of}"


def _watch(text: str, far: list[str], out: IO[str], over: threading.Event) -> None:
    if over.wait(PATIENCE_S):
        return
    try:
        if not out.isatty():
            print(f"{text}{far[0]} …", file=out, flush=True)
            while not over.wait(_LINE_S):
                if far[0]:
                    print(f"{text}{far[0]} …", file=out, flush=True)
            return
        from rich.console import Console

        with Console(file=out).status(f"{text}{far[0]} …") as status:
            while not over.wait(_BLINK_S):
                status.update(f"{text}{far[0]} …")
    except (OSError, ValueError):  # nobody listens on that stream any more; the work itself goes on
        return


@contextmanager
def counting(total: int, noun: str, stream: IO[str] | None) -> Iterator[Callable[[int], None]]:
    """How many of `total` are done and how long the rest takes: a bar on a terminal, elsewhere a line now and then.

    What it gives is told how many are done. stream: None shows nothing.
    """
    begin = told = time.monotonic()
    if not total or stream is None:
        yield lambda done: None
    elif not stream.isatty():

        def say(done: int) -> None:
            nonlocal told
            now = time.monotonic()
            if now - told > _LINE_S:
                told = now
                left = duration((now - begin) / done * (total - done))
                print(f"{done:,} of {total:,} {noun}, about {left} left", file=stream, flush=True)

        yield say
    else:
        from rich.console import Console
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

        remaining = TimeRemainingColumn(elapsed_when_finished=True)
        columns = (TextColumn(noun), BarColumn(), MofNCompleteColumn(), TextColumn("time left"), remaining)
        with Progress(*columns, console=Console(file=stream)) as bar:
            task = bar.add_task("", total=total)
            yield lambda done: bar.update(task, completed=done)


def duration(seconds: float) -> str:
    """A time in words a person plans with."""
    whole = round(seconds)
    if whole < 90:
        return f"{whole} s"
    return f"{round(whole / 60)} min" if whole < 5400 else f"{whole / 3600:.1f} h"
