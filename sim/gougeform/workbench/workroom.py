"""Where the work is done: off the event loop, newest request first served, a few results kept.

Requests of one lane (one page, one kind of answer) overtake each other: an older one that has not begun is dropped,
and what an older one still brings is thrown away. Jobs of seconds run in a process of their own, so that they can be
stopped and the page's other requests do not wait for them.
"""

from __future__ import annotations

import asyncio
import json
import threading
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar

from gougeform.grind.gouge import shape
from gougeform.measure.measures import Measures, measure
from gougeform.part import Table
from gougeform.recipe.model import Recipe

Answer = TypeVar("Answer")

_KEPT = 10
_LANES = 400


class Superseded(Exception):
    """A newer request of the same lane has come in."""


class Workroom:
    """Threads, and the last ground tools by what their recipes say."""

    def __init__(self, threads: int = 2) -> None:
        self._pool = ThreadPoolExecutor(threads, thread_name_prefix="bench")
        self._kept: OrderedDict[str, Measures] = OrderedDict()
        self._lock = threading.Lock()
        self._newest: OrderedDict[tuple[str, str], int] = OrderedDict()
        self._count = 0

    def measured(self, recipe: Recipe) -> Measures:
        """The ground and measured tool of a recipe. Raises InputError like `shape` and `measure`."""
        key = table_key(recipe.table)
        with self._lock:
            found = self._kept.get(key)
            if found is not None:
                self._kept.move_to_end(key)
                return found
        made = measure(shape(recipe))
        with self._lock:
            self._kept[key] = made
            while len(self._kept) > _KEPT:
                self._kept.popitem(last=False)
        return made

    async def newest(self, page: str, lane: str, work: Callable[[], Answer]) -> Answer:
        """The answer of `work`, done in a thread. Raises Superseded when a newer request of the lane has come in."""
        self._count += 1
        mine, key = self._count, (page, lane)
        self._newest[key] = mine
        self._newest.move_to_end(key)
        while len(self._newest) > _LANES:
            self._newest.popitem(last=False)

        def current() -> bool:
            return self._newest.get(key, mine) == mine

        def run() -> Answer:
            if not current():
                raise Superseded
            return work()

        answer = await asyncio.get_running_loop().run_in_executor(self._pool, run)
        if not current():
            raise Superseded
        return answer

    def close(self) -> None:
        """Wait for what is being done, drop what is not."""
        self._pool.shutdown(wait=True, cancel_futures=True)


def table_key(table: Table) -> str:
    """A text that is the same for tables that say the same; a page writes 10.0 as 10, which is the same too."""
    return json.dumps(_floats(table), sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def _floats(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _floats(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_floats(one) for one in value]
    return float(value) if isinstance(value, int) and not isinstance(value, bool) else value
