"""Plain loops made quick: functions that numba compiles when they are first called, and keeps on disk.

The compiled code lies in a folder named by the version of its sources, by numba's and by the processor: in the
package's own `__pycache__`, or where that cannot be written in the user's cache folder. Where neither can, every
process compiles anew. numba follows changes in a function's own file only, hence the sources in the name.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import sys
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import TypeVar

F = TypeVar("F", bound=Callable[..., object])

SECONDS = 20
"""About how long it takes to compile everything, on a quiet machine."""

_PACKAGE = Path(__file__).parents[1]
_ROOMS = ("numerics", "work", "reach")  # where functions are compiled


def compiled(function: F) -> F:
    """Have a function of numbers and arrays compiled, for Python to call; it lets other threads run meanwhile.

    It may make no arrays: without counting who holds them it is several times as quick.
    """
    return _made(function, no_cfunc_wrapper=True)


def inner(function: F) -> F:
    """The same for one that only compiled functions call."""
    return _made(function, no_cfunc_wrapper=True, no_cpython_wrapper=True)


def inlined(function: F) -> F:
    """The same for a short one, put in the place of each call."""
    return _made(function, no_cfunc_wrapper=True, no_cpython_wrapper=True, forceinline=True)


def _made(function: F, **more: bool) -> F:
    import numba

    folder, before = kept_in(), numba.config.CACHE_DIR
    numba.config.CACHE_DIR = "" if folder is None else str(folder)
    try:
        options = {"nogil": True, "error_model": "numpy", "_nrt": False, **more}
        made: F = numba.njit(cache=folder is not None, **options)(function)
    finally:
        numba.config.CACHE_DIR = before
    return made


@cache
def kept_in() -> Path | None:
    """The folder of the compiled code; None where no folder can be written."""
    import llvmlite.binding
    import numba

    digest = hashlib.sha256()
    for path in sorted(path for room in _ROOMS for path in (_PACKAGE / room).glob("*.py")):
        digest.update(path.read_bytes())
    tail = f"-numba{numba.__version__}-{llvmlite.binding.get_host_cpu_name()}"
    name = f"gougeform-{digest.hexdigest()[:12]}{tail}"
    for base in (_PACKAGE / "__pycache__", user_cache() / "gougeform"):
        folder = base / name
        try:
            folder.mkdir(parents=True, exist_ok=True)
            tempfile.TemporaryFile(dir=folder).close()
        except OSError:
            continue
        for older in base.glob(f"gougeform-*{tail}"):
            if older != folder:  # of sources that are gone
                shutil.rmtree(older, ignore_errors=True)
        return folder
    return None


def preparing(text: str) -> str:
    """What a step is doing, for a person who waits: with a first use's compiling, which is done once."""
    folder = kept_in()
    ready = folder is not None and next(folder.rglob("*.nbi"), None) is not None
    return text if ready else f"preparing, once, about {SECONDS} s, then {text}"


def user_cache() -> Path:
    """Where programs keep what they can make again."""
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches"
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")


def cores() -> int:
    """How many threads to work with: every core that this process may use; one in a process of a pool."""
    import multiprocessing

    if multiprocessing.parent_process() is not None:
        return 1
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
