"""The same work done here, in processes of this machine, or on a cluster: chunks of tasks in, finished rows out.

Scheduling is left to concurrent.futures and dask.distributed. What is added is what they leave open: a process that
dies costs nothing but time, and a tool that kills its process becomes a failed row.
"""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from typing import Any

from gougeform import __version__
from gougeform.children import starting
from gougeform.errors import InputError
from gougeform.study.worker import Row, Task, died, version, work

Chunk = list[Task]
Stop = Callable[[], bool]

_PATIENCE_S = 0.5  # how long to wait before looking whether the person wants to stop
_ALONE = 2  # tries of a tool on its own after a process died with it; only then is it the tool that kills
_ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


def cores() -> int:
    """How many processors this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def in_this_process(pack: bytes, chunks: Iterable[Chunk], stop: Stop) -> Iterator[list[Row]]:
    """Finished rows, one chunk after the other, until all are done or `stop` says so."""
    for chunk in chunks:
        if stop():
            return
        yield work(pack, chunk)


def in_processes(pack: bytes, chunks: Iterable[Chunk], stop: Stop, workers: int) -> Iterator[list[Row]]:
    """The same on processes of this machine, in the order they finish."""
    pool = _Pool(workers)
    try:
        lost: Chunk = []
        queue = iter(chunks)
        while True:
            yield from _flown(pool, pack, queue, 2 * workers, stop, lost)
            if not lost or stop():
                return
            # A process died, and with it all that was under way: one at a time shows whether a tool is to blame.
            for task in lost:
                for _ in range(_ALONE):
                    again: Chunk = []
                    yield from _flown(pool, pack, iter([[task]]), 1, stop, again)
                    if not again:
                        break
                else:
                    yield [died(task[0])]
            lost = []
    finally:
        pool.close()


def _flown(
    pool: _Pool, pack: bytes, queue: Iterator[Chunk], window: int, stop: Stop, lost: Chunk
) -> Iterator[list[Row]]:
    """Finished rows; where a process dies, the tasks under way are added to `lost` and this ends."""
    flying: dict[Future[list[Row]], Chunk] = {}
    while True:
        while len(flying) < window and not stop() and (chunk := next(queue, None)) is not None:
            try:
                flying[pool.submit(pack, chunk)] = chunk
            except BrokenProcessPool:
                lost += chunk
                break
        if not flying:
            break
        for future in wait(flying, _PATIENCE_S, FIRST_COMPLETED).done:
            chunk = flying.pop(future)
            try:
                yield future.result()
            except BrokenProcessPool:
                lost += chunk
        if lost:
            # The rest of what was under way has ended too, most of it with the same fault.
            for future, chunk in flying.items():
                try:
                    yield future.result()
                except BrokenProcessPool:
                    lost += chunk
            pool.close()
            break


class _Pool:
    """Processes that start when there is work and again after one of them has died."""

    def __init__(self, workers: int) -> None:
        self.workers = workers
        self.executor: ProcessPoolExecutor | None = None

    def submit(self, pack: bytes, chunk: Chunk) -> Future[list[Row]]:
        import multiprocessing

        with starting(**dict.fromkeys(_ONE_THREAD, "1")):
            if self.executor is None:
                context = multiprocessing.get_context("spawn")  # a fork would copy locks that other threads hold
                self.executor = ProcessPoolExecutor(self.workers, context, initializer=_ready)
            return self.executor.submit(work, pack, chunk)

    def close(self) -> None:
        if self.executor is not None:
            self.executor.shutdown(cancel_futures=True)
        self.executor = None


def _ready() -> None:
    """Ctrl-C is the parent's to handle; and nobody computes on when the parent is gone, however it ended."""
    import multiprocessing

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    assert parent is not None

    def watch() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def in_cluster(pack: bytes, chunks: Iterable[Chunk], stop: Stop, address: str) -> Iterator[list[Row]]:
    """The same on a running dask.distributed cluster.

    Raises InputError where there is none at `address`, or its workers have not this version of gougeform.
    """
    from distributed import Client
    from distributed import wait as wait_for

    try:
        _knock(address)
        client = Client(address, timeout="5s", set_as_default=False)
    except (OSError, ValueError, TypeError) as error:
        raise InputError(
            "--cluster",
            f"given {address[:80]}: no scheduler answers there ({type(error).__name__})",
            "give the address that the scheduler printed, as in tcp://host:8786",
        ) from error
    with client, client.as_current():
        _same_version(client)
        queue = iter(chunks)
        flying: dict[Any, Chunk] = {}
        window = 2 * max(1, sum(client.nthreads().values()))
        while True:
            while len(flying) < window and not stop() and (chunk := next(queue, None)) is not None:
                flying[client.submit(work, pack, chunk, pure=False)] = chunk
            if not flying:
                return
            try:
                done = wait_for(list(flying), timeout=_PATIENCE_S, return_when="FIRST_COMPLETED").done
            except TimeoutError:
                continue
            for future in done:
                chunk = flying.pop(future)
                rows, again = _of_future(future, chunk)
                if rows:
                    yield rows
                for task in again:
                    flying[client.submit(work, pack, [task], pure=False)] = [task]


def _knock(address: str) -> None:
    """Raise OSError or ValueError where nobody listens at all: a Client that fails leaves threads behind."""
    import socket

    from distributed.comm.addressing import parse_address, parse_host_port

    scheme, place = parse_address(address)
    if scheme != "inproc":
        host, port = parse_host_port(place, 8786)
        socket.create_connection((host, port), timeout=5).close()


def _same_version(client: Any) -> None:
    client.wait_for_workers(1, timeout=30)
    try:
        found = set(client.run(version).values())
    except Exception as error:  # whatever a worker that cannot load gougeform has raised there
        raise InputError(
            "--cluster",
            f"its workers cannot load gougeform ({type(error).__name__})",
            f"install gougeform {__version__} where they run",
        ) from error
    if found != {__version__}:
        raise InputError(
            "--cluster",
            f"its workers run gougeform {', '.join(sorted(found))}, this is {__version__}",
            "install the same version everywhere",
        )


def _of_future(future: Any, chunk: Chunk) -> tuple[list[Row], Chunk]:
    """The rows of a finished future, or what is to be tried again, tool by tool, because its workers died."""
    from distributed import KilledWorker

    try:
        rows: list[Row] = future.result()
    except KilledWorker:  # the scheduler has tried it on several workers
        return ([], chunk) if len(chunk) > 1 else ([died(chunk[0][0])], [])
    return rows, []
