"""The same work for many things, in processes of this machine or on a cluster; a process that dies costs only time.

All of it goes through the one interface of `concurrent.futures.Executor`, which a pool of processes and a client of
dask.distributed both have: what hands out the work does not know where it is done.
"""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, CancelledError, Executor, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from itertools import islice
from types import FrameType
from typing import Any, Generic, TypeVar

from gougeform import __version__
from gougeform.children import ONE_THREAD, starting
from gougeform.errors import InputError

Task = TypeVar("Task")
Result = TypeVar("Result")

_PATIENCE_S = 0.5  # how long to wait before looking whether the person wants to stop


@dataclass(frozen=True)
class Died(Generic[Task]):
    """Stands for the result of a task that every process died with."""

    task: Task
    why: str = "the process that computed it died, every time it was tried"


@dataclass(eq=False)
class Crew:
    """Who shares the work. hire: makes the executor, a new one after a death. ahead: portions under way at a time.

    deaths: what a future raises whose process has died. tries: of a task on its own after that, before it is to blame.
    """

    hire: Callable[[], Executor]
    ahead: int
    deaths: tuple[type[BaseException], ...] = ()
    tries: int = 2
    _executor: Executor | None = None
    _flying: dict[Future[Any], list[tuple[int, Any]]] = field(default_factory=dict)

    def finished(
        self,
        work: Callable[[Task], Result],
        tasks: Iterable[Task],
        *,
        at_a_time: int = 1,
        stop: Callable[[], bool] = lambda: False,
    ) -> Iterator[tuple[int, Result | Died[Task]]]:
        """The number of each task and its result, as they come; once `stop` says so, only of those that are under way.

        work: a function of a module or a partial of one, because it is pickled. tasks: taken from as there is room, so
        they may be endless. at_a_time: how many are handed out together. What a task raises is raised here.
        """
        queue = enumerate(tasks)
        while True:
            lost: list[tuple[int, Task]] = []
            yield from self._flown(work, queue, at_a_time, stop, lost)
            if not lost:
                return
            # A process died, and with it all that was under way: one at a time shows whether a task is to blame.
            for number, task in lost:
                for _ in range(self.tries):
                    again: list[tuple[int, Task]] = []
                    yield from self._flown(work, iter([(number, task)]), 1, stop, again)
                    if not again:
                        break
                else:
                    yield number, Died(task)

    def results(
        self, work: Callable[[Task], Result], tasks: Sequence[Task], tell: Callable[[int], object] = lambda done: None
    ) -> list[Result]:
        """The result of each task, in the order of the tasks. tell: is told how many are finished.

        Raises InputError where every process dies that is given one of them, and what a task raises.
        """
        found: dict[int, Result] = {}
        for number, result in self.finished(work, tasks):
            if isinstance(result, Died):
                hint = "close other programs if memory was short, or ask for fewer at a time"
                raise InputError("", f"number {number + 1} of {len(tasks)}: {result.why}", hint)
            found[number] = result
            tell(len(found))
        return [found[number] for number in range(len(tasks))]

    def dismiss(self) -> None:
        """Let the processes go; what is still under way is given up."""
        if self._executor is not None:
            self._executor.shutdown(wait=not self._flying)
        self._executor, self._flying = None, {}

    def _flown(
        self,
        work: Callable[[Task], Result],
        queue: Iterator[tuple[int, Task]],
        at_a_time: int,
        stop: Callable[[], bool],
        lost: list[tuple[int, Task]],
    ) -> Iterator[tuple[int, Result]]:
        """Results until the queue ends; where a process dies what was under way is added to `lost` and this ends."""
        while True:
            while not lost and len(self._flying) < self.ahead and not stop():
                portion = list(islice(queue, at_a_time))
                if not portion:
                    break
                self._executor = self._executor or self.hire()
                try:
                    self._flying[self._executor.submit(_portion, work, [task for _, task in portion])] = portion
                except self.deaths:
                    lost += portion
            if not self._flying:
                break
            for future in wait(self._flying, _PATIENCE_S, FIRST_COMPLETED).done:
                portion = self._flying.pop(future)
                try:
                    results = future.result()
                except self.deaths:
                    lost += portion
                except CancelledError:  # not by us
                    hint = "start it again, then give the same command"
                    raise InputError("cluster", "its scheduler has gone away", hint) from None
                else:
                    yield from zip((number for number, _ in portion), results, strict=True)
        if lost:
            self.dismiss()


def _portion(work: Callable[[Task], Result], tasks: list[Task]) -> list[Result]:
    return [work(task) for task in tasks]


@contextmanager
def crew(processes: int | None = None, cluster: str | None = None) -> Iterator[Crew]:
    """So many processes of this machine (one: this very process), by default one a core.

    cluster: the address of a dask.distributed scheduler whose workers do it instead. Raises InputError where none
    answers, or its workers have not this version of gougeform.
    """
    count = processes or cores()
    with ExitStack() as stack:
        if cluster is not None:
            made = stack.enter_context(_of_cluster(cluster))
        elif count == 1:
            made = Crew(_Here, 1)
        else:
            made = Crew(lambda: _Processes(count), 2 * count, (BrokenProcessPool,))
        stack.callback(made.dismiss)
        yield made


def cores() -> int:
    """How many processors this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@contextmanager
def asked_to_stop() -> Iterator[Callable[[], bool]]:
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


class _Here(Executor):
    """Does it in the calling process, at once."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        future: Future[Any] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:
            future.set_exception(error)
        return future


class _Processes(ProcessPoolExecutor):
    """Processes of this machine, spawned, since a fork would copy locks that other threads hold."""

    def __init__(self, count: int) -> None:
        import multiprocessing

        with starting(**ONE_THREAD):
            super().__init__(count, multiprocessing.get_context("spawn"), initializer=_ready)

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        with starting(**ONE_THREAD):  # processes start one by one, as there is work
            return super().submit(fn, *args, **kwargs)

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        for process in () if wait else tuple((self._processes or {}).values()):
            process.terminate()
        super().shutdown(True, cancel_futures=True)


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


@contextmanager
def _of_cluster(address: str) -> Iterator[Crew]:
    from distributed import Client, KilledWorker

    try:
        _knock(address)
        client = Client(address, timeout="5s", set_as_default=False)
    except (OSError, ValueError, TypeError) as error:
        raise InputError(
            "cluster",
            f"given {address[:80]}: no scheduler answers there ({type(error).__name__})",
            "give the address that the scheduler printed, as in tcp://host:8786",
        ) from error
    with client:
        _same_version(client)
        threads = max(1, sum(client.nthreads().values()))
        # The scheduler itself has given the task to several workers before it says so.
        yield Crew(lambda: client.get_executor(pure=False), 2 * threads, (KilledWorker,), tries=1)


def _knock(address: str) -> None:
    """Raise OSError or ValueError where nobody listens at all: a Client that fails leaves threads behind."""
    import socket

    from distributed.comm.addressing import parse_address, parse_host_port

    scheme, place = parse_address(address)
    if scheme != "inproc":
        host, port = parse_host_port(place, 8786)
        socket.create_connection((host, port), timeout=5).close()


def version() -> str:
    """The version of gougeform where this runs."""
    return __version__


def _same_version(client: Any) -> None:
    client.wait_for_workers(1, timeout=30)
    hint = f"install gougeform {__version__} where they run"
    try:
        found = set(client.run(version).values())
    except Exception as error:  # whatever a worker that cannot load gougeform has raised there
        problem = f"its workers cannot load gougeform ({type(error).__name__})"
        raise InputError("cluster", problem, hint) from error
    if found != {__version__}:
        raise InputError(
            "cluster", f"its workers run gougeform {', '.join(sorted(found))}, this is {__version__}", hint
        )
