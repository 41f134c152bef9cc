"""How benchmarks are timed and kept: processor time and clock, the best of several rounds, with sizes and errors."""

from __future__ import annotations

import os
import platform
import resource
import sys
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from importlib.metadata import version
from typing import Any, TypeVar

T = TypeVar("T")

THREADS = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MKL_NUM_THREADS": "1", "VTK_SMP_MAX_THREADS": "1"}
"""Set before NumPy loads, so that both sides of a ratio work on one thread."""


@dataclass(frozen=True)
class Row:
    """One line of the table. size says of what; error in mm unless `unit` says otherwise; seconds are of one core.

    ratio: this row's processor time over that of `ours`, the first row of the same group. extrapolated: the times are
    measured on a part and scaled by the factor the size names.
    """

    group: str
    what: str
    size: str
    cpu_s: float
    clock_s: float
    rounds: int
    error: float | None = None
    unit: str = "mm"
    ratio: float | None = None
    extrapolated: bool = False
    note: str = ""

    def scaled(self, by: float, **changes: Any) -> Row:
        """The same for `by` times as much."""
        return Row(**(asdict(self) | {"cpu_s": self.cpu_s * by, "clock_s": self.clock_s * by} | changes))


@dataclass(frozen=True)
class Times:
    """Least processor time and clock time (s) of some rounds."""

    cpu_s: float
    clock_s: float
    rounds: int


def processor_time() -> float:
    """Seconds of this process with all its threads, and of the processes it has started that have ended."""
    children = resource.getrusage(resource.RUSAGE_CHILDREN)
    return time.process_time() + children.ru_utime + children.ru_stime


def timed(work: Callable[[], T], rounds: int = 5, *, warm: bool = True) -> tuple[T, Times]:
    """The result of `work` and its best times. Without `warm` the first round counts too: for what takes long."""
    if warm:
        work()
    cpu, clock = [], []
    for _ in range(max(rounds, 1)):
        begin, tick = processor_time(), time.perf_counter()
        result = work()
        cpu.append(processor_time() - begin)
        clock.append(time.perf_counter() - tick)
    return result, Times(min(cpu), min(clock), rounds)


def row(group: str, what: str, size: str, times: Times, **more: Any) -> Row:
    """A line of the table."""
    return Row(group, what, size, times.cpu_s, times.clock_s, times.rounds, **more)


def with_ratios(rows: list[Row]) -> list[Row]:
    """Every row of a group against the group's first one, which is ours."""
    first: dict[str, Row] = {}
    out = []
    for one in rows:
        ours = first.setdefault(one.group, one)
        out.append(one if ours is one else Row(**(asdict(one) | {"ratio": one.cpu_s / ours.cpu_s})))
    return out


def machine() -> dict[str, Any]:
    """What the figures were measured on and with."""
    names = ("numpy", "scipy", "manifold3d", "vtk", "python-fcl", "gougeform")
    return {
        "when": time.strftime("%Y-%m-%d %H:%M"),
        "processor": _processor(),
        "cores": len(os.sched_getaffinity(0)),
        "threads": os.environ.get("OMP_NUM_THREADS", "as many as the libraries take"),
        "load_before": round(os.getloadavg()[0], 2),
        "python": platform.python_version(),
        "libraries": {name: version(name) for name in names},
    }


def _processor() -> str:
    try:
        with open("/proc/cpuinfo") as file:
            return next(line.split(":", 1)[1].strip() for line in file if line.startswith("model name"))
    except (OSError, StopIteration):
        return platform.processor()


def say(text: str) -> None:
    """Progress, not part of the table."""
    sys.stderr.write(text + "\n")
    sys.stderr.flush()
