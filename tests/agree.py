"""Checks against things outside the project: compared in one way, and what was achieved kept for a table.

`agree(quantity, ours, outside, within, unit)` in a test of `tests/outside/` fails where the two are further apart than
`within`. `pytest tests/outside --achieved` prints every check with its source, its tolerance and the largest
difference found. Sources stand in each module as `SOURCE`, with a tag: seen (the text was read), from memory,
derived (from a seen source by stated steps), or common practice (no source); a library was run, not read.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest

OUTSIDE = Path(__file__).parent / "outside"
HEAD = ("file", "source", "what is checked", "cases", "unit", "tolerance", "achieved")

_kept = pytest.StashKey["dict[tuple[str, str], Check]"]()


@dataclass
class Check:
    """One quantity of one module: where it comes from, how many values were compared, and how far off they were."""

    source: str
    unit: str
    tolerance: float = 0.0
    achieved: float = 0.0
    cases: int = 0


@dataclass(frozen=True)
class Agree:
    """Compares a quantity of the main job with the same one from outside, and keeps the error."""

    file: str
    source: str
    kept: dict[tuple[str, str], Check] = field(repr=False)

    def __call__(self, quantity, ours, outside, within, unit, *, relative=False, source=None):
        """Every |ours - outside| is at most `within` (with `relative` as a part of the outside value).

        quantity: a literal text, the check's name in the table. ours and outside: numbers or arrays of one shape, or
        one number outside for all of ours.
        """
        ours, outside = np.asarray(ours, float), np.asarray(outside, float)
        assert outside.shape in (ours.shape, ()), (ours.shape, outside.shape)
        assert ours.size, "nothing to compare"
        with np.errstate(invalid="ignore"):  # infinities are refused below
            off = np.abs(ours - outside)
            if relative:
                off = off / np.abs(outside)
        check = self._check(quantity, f"{unit}, relative" if relative else unit, source)
        check.tolerance, check.cases = max(check.tolerance, within), check.cases + off.size
        check.achieved = max(check.achieved, float(off.max()))  # a NaN is caught below
        worst = int(np.argmax(np.where(np.isfinite(off), off, np.inf)))
        assert np.isfinite(off).all() and off.max() <= within, (  # noqa: PT018 (one message for both)
            f"{quantity}: ours {ours.ravel()[worst]!r}, outside {np.broadcast_to(outside, off.shape).ravel()[worst]!r},"
            f" off by {off.ravel()[worst]:.3g}, allowed {within:g} {check.unit} ({off.size} values)"
        )

    def falls(self, quantity, values, unit, *, source=None):
        """Values (two or more, in the order in which the outside fact says they fall) fall by more than rounding."""
        steps = -np.diff(np.asarray(values, float))
        assert steps.size
        check = self._check(quantity, f"{unit}, least fall", source)
        check.achieved = float(steps.min()) if not check.cases else min(check.achieved, float(steps.min()))
        check.cases += steps.size
        assert (steps > 1e-9).all(), f"{quantity}: {np.asarray(values).tolist()} {unit} do not fall"

    def at_most(self, quantity, values, limit, unit, *, source=None):
        """No value is above a limit from outside; what is kept is the largest value."""
        values = np.asarray(values, float)
        check = self._check(quantity, f"{unit}, at most", source)
        check.tolerance, check.cases = limit, check.cases + values.size
        check.achieved = max(check.achieved, float(values.max()))
        assert values.size
        assert (values <= limit).all(), f"{quantity}: {values.max():g} is above {limit:g} {unit}"

    def _check(self, quantity, unit, source):
        check = self.kept.setdefault((self.file, quantity), Check(source or self.source, unit))
        assert check.unit == unit, f"{quantity} is compared in {check.unit} and in {unit}"
        return check


@pytest.fixture
def agree(request) -> Agree:
    """How a test of tests/outside compares."""
    kept = request.config.stash.setdefault(_kept, {})
    return Agree(request.module.__name__, request.module.SOURCE, kept)


def pytest_addoption(parser):
    parser.addoption("--achieved", action="store_true", help="print the outside checks with what they achieved")


def pytest_terminal_summary(terminalreporter, config):
    if config.getoption("--achieved", default=False):
        terminalreporter.ensure_newline()
        for line in table(config.stash.get(_kept, {})):
            terminalreporter.write_line(line)


def table(kept: dict[tuple[str, str], Check]) -> Iterator[str]:
    """The markdown table of checks, in the order of the files and of the checks in them."""
    yield "| " + " | ".join(HEAD) + " |"
    yield "| --- | --- | --- | --: | --- | --: | --: |"
    for place, quantity in named():
        if (place, quantity) in kept:
            check = kept[place, quantity]
            tolerance = "> 0" if check.unit.endswith("fall") else f"{check.tolerance:.2g}"
            cells = (f"`{place}`", check.source, quantity, str(check.cases), check.unit, tolerance)
            yield "| " + " | ".join([*cells, f"{check.achieved:.2g}"]) + " |"


def named() -> list[tuple[str, str]]:
    """(file, quantity) of every check that the sources of tests/outside make, in order, each once."""
    found: dict[tuple[str, str], None] = {}
    for path in sorted(OUTSIDE.glob("test_*.py")):
        calls = [node for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) if isinstance(node, ast.Call)]
        for call in sorted(calls, key=lambda node: node.lineno):
            name = call.func.value if isinstance(call.func, ast.Attribute) else call.func
            if isinstance(name, ast.Name) and name.id == "agree":
                first = call.args[0]
                assert isinstance(first, ast.Constant), f"{path.name}:{call.lineno}: the quantity must be literal"
                found[path.stem, first.value] = None
    return list(found)
