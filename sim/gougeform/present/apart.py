"""Run one of our modules in a process of its own, where its death costs nothing but what it was to make.

A drawing library that finds no graphics library does not raise: it kills its process. So everything that draws in
three dimensions runs here, after numbers and meshes are safe on disk.
"""

from __future__ import annotations

import signal
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from gougeform.children import environment

GRAPHICS_HINT = "install one graphics library (Debian, Ubuntu: apt install libegl1, or libgl1, or libosmesa6)"
"""What a person does where off-screen drawing finds nothing to draw with."""

_REFUSED = 2  # the exit code of every gougeform module that has said what is wrong with its input


@dataclass(frozen=True)
class Outcome:
    """How a module's run ended: `problem` is "" where it did its work, else one sentence with what to do."""

    problem: str

    def __bool__(self) -> bool:
        return not self.problem


def run_apart(
    module: str,
    arguments: Sequence[str],
    *,
    what: str,
    timeout_s: float = 120.0,
    hint: str = "",
    heard: Callable[[str], object] = lambda line: None,
) -> Outcome:
    """Run `python -m module arguments…` and wait; never raises for what happens inside it.

    what: what it makes, for the message ("the picture"). hint: what to do where it dies without a word. heard: is told
    every line that it prints.
    """
    command = [sys.executable, "-m", module, *arguments]
    over = threading.Event()
    with tempfile.TemporaryFile() as errors:
        try:
            child = subprocess.Popen(
                command, env=environment(), stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=errors, text=True
            )
        except OSError as error:
            return Outcome(f"{what} could not be started: {error.strerror or error}.")

        def give_up() -> None:
            over.set()
            child.kill()

        with child:
            clock = threading.Timer(timeout_s, give_up)
            clock.start()
            try:
                assert child.stdout is not None
                for line in child.stdout:
                    heard(line.strip())
                code = child.wait()
            except BaseException:  # a person stops waiting: then nobody needs it any more
                child.kill()
                raise
            finally:
                clock.cancel()
        if over.is_set():
            return Outcome(f"{what} was not ready after {timeout_s:g} s and was given up.")
        if code == 0:
            return Outcome("")
        errors.seek(0)
        return Outcome(f"{what} could not be made: {_reason(code, errors.read(), hint)}")


def _reason(code: int, errors: bytes, hint: str) -> str:
    lines = [line.strip() for line in errors.decode(errors="replace").splitlines() if line.strip()]
    last = lines[-1] if lines else ""
    if code == _REFUSED and last:
        return last
    advice = f"; {hint}" if hint else ""
    if code < 0:
        return f"its process was killed ({_signal(-code)}){advice}."
    said = f": {last[:200].rstrip('.')}" if last else ""
    return f"its process ended with code {code}{said}{advice}."


def _signal(number: int) -> str:
    try:
        return signal.Signals(number).name
    except ValueError:
        return f"signal {number}"
