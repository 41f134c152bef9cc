"""Starts processes that import nothing from the folder a person works in: a file `types.py` there is theirs, not ours.

Python looks first in the working folder for what a process imports that is started by `-c`, as those of multiprocessing
are. Whatever starts a process takes `environment` or `starting` from here.
"""

from __future__ import annotations

import os
import sysconfig
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
"""What keeps linear algebra to one thread: our matrices are small, and more threads wait for each other (4 to 10 times
the processor time for a beam's frequency, measured on two cores).
"""

_ROOT = str(Path(__file__).resolve().parents[1])
_ONE_AT_A_TIME = threading.RLock()


def environment(**more: str) -> dict[str, str]:
    """The person's environment for a child: safe path, and this very gougeform where Python would not find it itself.

    more: variables that are set too.
    """
    others = os.environ.get("PYTHONPATH", "").split(os.pathsep)  # an empty part stands for the working folder
    places = [*([] if sysconfig.get_path("purelib") == _ROOT else [_ROOT]), *filter(None, others)]
    return {**os.environ, "PYTHONSAFEPATH": "1", "PYTHONPATH": os.pathsep.join(places), **more}


@contextmanager
def starting(**more: str) -> Iterator[None]:
    """Processes that multiprocessing spawns inside the block are safe; so make pools and submit to them inside it.

    They do not run the person's own script again either: five lines without `if __name__ == "__main__"` would start
    themselves over and over, and the work needs nothing of it. more: environment variables for them.
    """
    from multiprocessing import spawn

    with _ONE_AT_A_TIME:
        told, before = spawn.get_preparation_data, dict(os.environ)
        spawn.get_preparation_data = lambda name: _prepared(told(name))
        os.environ.update(environment(**more))
        try:
            yield
        finally:
            spawn.get_preparation_data = told
            for name in {"PYTHONSAFEPATH", "PYTHONPATH", *more}:
                os.environ.pop(name, None)
                if name in before:
                    os.environ[name] = before[name]


def _prepared(told: dict[str, Any]) -> dict[str, Any]:
    """What a spawned process is told, without the main script, and with a path that leaves the working folder out."""
    here = Path.cwd()
    path = [place for place in told["sys_path"] if place and Path(place).absolute() != here]
    kept = {name: value for name, value in told.items() if not name.startswith("init_main_from")}
    return kept | {"sys_path": path if _ROOT in path else [*path, _ROOT]}
