"""Jobs of seconds, each in a process of its own: it can be stopped, and the page stays quick meanwhile."""

from __future__ import annotations

import asyncio
import importlib
import multiprocessing
import signal
from collections.abc import AsyncGenerator, Callable
from multiprocessing.connection import Connection
from typing import Any

from gougeform.children import starting
from gougeform.errors import InputError

JOBS = {
    "reach": "gougeform.workbench.reaching",
    "solve": "gougeform.workbench.asking",
    "relief": "gougeform.workbench.asking",
    "transfer": "gougeform.workbench.asking",
    "regrind": "gougeform.workbench.asking",
    "choose": "gougeform.workbench.choosing",
    "picture": "gougeform.workbench.keeping",
    "files": "gougeform.workbench.keeping",
}
"""The module of each job; the job is its function of that name, taking (what, tell)."""
MOST_AT_ONCE = 3
LONGEST_S = 300.0
_LOOK_S = 0.05

Tell = Callable[[float, Any], None]
"""Says how far a job is, 0 to 1, and words for a person or a table of what is known already."""


class LongJobs:
    """Counts the jobs under way, so that many tabs cannot fill the machine."""

    def __init__(self) -> None:
        self._running = 0

    async def run(self, name: str, what: dict[str, Any]) -> AsyncGenerator[dict[str, Any], None]:
        """What a job says: {"share", "words"} now and then, at last {"answer"} or {"error"}.

        Closing the iterator stops the job. Raises InputError when too many jobs are under way.
        """
        if self._running >= MOST_AT_ONCE:
            raise InputError("", f"{MOST_AT_ONCE} long jobs are under way already", "wait for one of them, or stop it")
        self._running += 1
        context = multiprocessing.get_context("spawn")
        mine, its = context.Pipe(duplex=False)
        process = context.Process(target=_work, args=(its, name, what), daemon=True)
        try:
            await asyncio.get_running_loop().run_in_executor(None, _start, process)
            its.close()
            async for word in _words(mine, process):
                yield word
        finally:
            self._running -= 1
            if process.is_alive():
                process.terminate()
            process.join(5)
            mine.close()


def _start(process: Any) -> None:
    with starting():
        process.start()


async def _words(mine: Connection, process: Any) -> AsyncGenerator[dict[str, Any], None]:
    end = asyncio.get_running_loop().time() + LONGEST_S
    while True:
        if mine.poll():
            try:
                word = mine.recv()
            except EOFError:
                word = {"error": _ended(process.exitcode)}
            yield word
            if "share" not in word:
                return
        elif not process.is_alive() and not mine.poll():
            yield {"error": _ended(process.exitcode)}
            return
        elif asyncio.get_running_loop().time() > end:
            yield {
                "error": {"field": "", "problem": f"was not ready after {LONGEST_S:g} s and was given up", "hint": ""}
            }
            return
        else:
            await asyncio.sleep(_LOOK_S)


def _ended(code: int | None) -> dict[str, str]:
    return {
        "field": "", "problem": f"the process that computed this ended by itself (code {code})",
        "hint": "try again; its last words are in the terminal the workbench was started from",
    }  # fmt: skip


def _work(its: Connection, name: str, what: dict[str, Any]) -> None:
    """In the process: do the job, send what it says."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the server's to answer; it stops us

    def tell(share: float, words: Any = "") -> None:
        its.send({"share": share, **(words if isinstance(words, dict) else {"words": words})})

    from gougeform.workbench.state import Trouble

    try:
        answer = getattr(importlib.import_module(JOBS[name]), name)(what, tell)
    except InputError as error:
        its.send({"error": Trouble.of(error).plain})
    else:
        its.send({"answer": answer})
    its.close()
