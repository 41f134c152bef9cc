"""Say what is going on when it takes more than a second: a spinner for a person at a terminal, one plain line else."""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import IO

PATIENCE_S = 1.0
"""How long a step may take before anything is said, s."""


@contextmanager
def step(text: str, stream: IO[str] | None = None) -> Iterator[None]:
    """While the body runs longer than PATIENCE_S, show `text` on standard error (or another stream)."""
    out = sys.stderr if stream is None else stream
    over = threading.Event()
    watcher = threading.Thread(target=_watch, args=(text, out, over), daemon=True)
    watcher.start()
    try:
        yield
    finally:
        over.set()
        watcher.join()


def _watch(text: str, out: IO[str], over: threading.Event) -> None:
    if over.wait(PATIENCE_S):
        return
    try:
        if not out.isatty():
            print(f"{text} …", file=out, flush=True)
            return
        from rich.console import Console

        with Console(file=out).status(f"{text} …"):
            over.wait()
    except (OSError, ValueError):  # nobody listens on that stream any more; the work itself goes on
        return
