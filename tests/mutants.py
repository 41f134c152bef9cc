"""Breaks the program on purpose, one place at a time, in a copy, and sees whether the tests notice. Run by hand:

    python tests/mutants.py                     all of tests/mutants.toml
    python tests/mutants.py mesh: "hollow"      those whose names contain one of these texts
    python tests/mutants.py --list              names, places and what each would break; runs nothing
    python tests/mutants.py --random 60 --seed 1 [--in machine --in grind]
                                                places, operators and constants chosen at random instead

The checkout is never written to: everything happens in a temporary copy of the tree, removed at the end. A mutant's own
test files run first, then those its area lists under [wide]; it survives if all of them pass.
"""

# ruff: noqa: T201 - a script talks

from __future__ import annotations

import argparse
import ast
import importlib.util
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

TREE = Path(__file__).resolve().parent.parent
TABLE = TREE / "tests" / "mutants.toml"
PACKAGE = "sim/gougeform"
_PARTS = ("sim", "tests", "profiles", "notebooks", "pyproject.toml", "README.md", "DEVELOPERS.md")
_LIMITS = (600.0, 2400.0)  # s for the tests run first, and for the wide ones: a mutant may never end


class Stale(Exception):
    """The table does not fit the source, or the tests do not fit it even unbroken."""


@dataclass(frozen=True)
class Mutant:
    """One place broken. file: under sim/gougeform. at: offset of `old` in it where that stands there more than once."""

    name: str
    file: str
    old: str
    new: str
    breaks: str
    tests: tuple[str, ...]
    wide: tuple[str, ...]
    at: int | None = None

    @property
    def area(self) -> str:
        return self.name.partition(":")[0]

    def source(self, tree: Path = TREE) -> str:
        """The whole file with the place broken. Raises Stale where `old` is not there exactly once."""
        text = (tree / PACKAGE / self.file).read_text()
        where = text.find(self.old) if self.at is None else self.at
        if self.at is None and text.count(self.old) != 1:
            raise Stale(f'"{self.name}": {self.file} has its old text {text.count(self.old)} times: {self.old!r}')
        if self.old == self.new or text[where : where + len(self.old)] != self.old:
            raise Stale(f'"{self.name}": nothing changes in {self.file}')
        return text[:where] + self.new + text[where + len(self.old) :]


def read_table(path: Path = TABLE) -> list[Mutant]:
    """All mutants of a table; names are unique, and each area has its wide tests."""
    table = tomllib.loads(path.read_text())
    found = [
        Mutant(**{**one, "tests": tuple(one["tests"])}, wide=tuple(table["wide"][one["name"].partition(":")[0]]))
        for one in table["mutant"]
    ]
    if len({mutant.name for mutant in found}) != len(found):
        raise Stale("two mutants have one name")
    return found


# ------------------------------------------------------------------------------------------------ chosen at random

_SWAPS = {
    ast.Add: ("+", "-"), ast.Sub: ("-", "+"), ast.Mult: ("*", "/"), ast.Div: ("/", "*"), ast.Pow: ("**", "*"),
    ast.BitAnd: ("&", "|"), ast.BitOr: ("|", "&"), ast.Lt: ("<", ">="), ast.Gt: (">", "<="), ast.LtE: ("<=", ">"),
    ast.GtE: (">=", "<"), ast.Eq: ("==", "!="), ast.NotEq: ("!=", "=="), ast.And: ("and", "or"), ast.Or: ("or", "and"),
}  # fmt: skip
_NAMES = {
    "sin": "cos", "cos": "sin", "minimum": "maximum", "maximum": "minimum", "min": "max", "max": "min",
    "argmin": "argmax", "argmax": "argmin", "any": "all", "all": "any", "floor": "ceil", "ceil": "floor",
}  # fmt: skip


def _changes(text: str) -> Iterator[tuple[int, str, str]]:
    """(offset, old, new) of every operator, sign, comparison, number and paired function in a source text.

    Left out: annotations, messages of errors, __all__, the `|` of types, and numbers as small as tolerances are.
    """
    lines = [0]
    for line in text.encode().splitlines(keepends=True):
        lines.append(lines[-1] + len(line))
    raw = text.encode()

    def offset(line: int, column: int) -> int:
        return len(raw[: lines[line - 1] + column].decode())

    def between(left: ast.AST, right: ast.AST, old: str) -> int:
        begin, end = offset(left.end_lineno, left.end_col_offset), offset(right.lineno, right.col_offset)  # type: ignore[attr-defined]
        return begin + text[begin:end].index(old)

    def walk(node: ast.AST) -> Iterator[tuple[int, str, str]]:
        if isinstance(node, (ast.Raise, ast.JoinedStr, ast.Import, ast.ImportFrom, ast.Assert)):
            return
        if isinstance(node, ast.AnnAssign):
            if node.value is not None:
                yield from walk(node.value)
            return
        if isinstance(node, ast.FunctionDef):
            for child in [*node.body, *node.decorator_list, *node.args.defaults]:
                yield from walk(child)
            return
        if isinstance(node, ast.BinOp) and type(node.op) in _SWAPS:
            old, new = _SWAPS[type(node.op)]
            yield between(node.left, node.right, old), old, new
        elif isinstance(node, ast.BoolOp):
            old, new = _SWAPS[type(node.op)]
            yield between(node.values[0], node.values[1], old), old, new
        elif isinstance(node, ast.Compare) and len(node.ops) == 1 and type(node.ops[0]) in _SWAPS:
            old, new = _SWAPS[type(node.ops[0])]
            yield between(node.left, node.comparators[0], old), old, new
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, (ast.USub, ast.Invert)):
            yield offset(node.lineno, node.col_offset), "-" if isinstance(node.op, ast.USub) else "~", ""
        elif isinstance(node, ast.Attribute) and node.attr in _NAMES:
            yield offset(node.end_lineno, node.end_col_offset) - len(node.attr), node.attr, _NAMES[node.attr]  # type: ignore[arg-type]
        elif isinstance(node, ast.Constant) and type(node.value) in (int, float) and not 0 < node.value < 1e-3:
            old = text[offset(node.lineno, node.col_offset) : offset(node.end_lineno, node.end_col_offset)]  # type: ignore[arg-type]
            new = str(node.value + 1) if isinstance(node.value, int) else repr(node.value * 1.1 if node.value else 0.1)
            yield offset(node.lineno, node.col_offset), old, new
        for child in ast.iter_child_nodes(node):
            yield from walk(child)

    for node in ast.parse(text).body:
        if not (
            isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) in ("__all__", "Floats", "Ints", "Flags")
        ):
            yield from walk(node)


def chosen(count: int, seed: int, rooms: Sequence[str], table: Sequence[Mutant]) -> list[Mutant]:
    """Mutants at random places of some packages, every place as likely as any other."""
    areas = {"machine": "kinematics", "grind": "envelope", "measure": "measures", "bar": "kinematics"}
    every = []
    for room in rooms:
        for path in sorted((TREE / PACKAGE / room).glob("*.py")):
            text = path.read_text()
            every += [(room, path.name, text, *change) for change in _changes(text)]
    found = []
    for room, file, text, at, old, new in random.Random(seed).sample(every, count):
        line = text.count("\n", 0, at) + 1
        area = areas.get(room, room)
        wide = next(mutant.wide for mutant in table if mutant.area == area)
        what = f"`{old}` → `{new}` in `{text.splitlines()[line - 1].strip()}`"
        found.append(Mutant(f"{area}: {file}:{line}:{at}", f"{room}/{file}", old, new, what, wide[:4], wide, at))
    return found


# ---------------------------------------------------------------------------------------------------- in the copy


@dataclass(frozen=True)
class Fate:
    """killed by which test ("" where none), and the seconds until then."""

    by: str
    seconds: float


class Copy:
    """A copy of the tree in which places are broken and tests run."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.sound: set[str] = set()  # tests that have passed with nothing broken
        leave = shutil.ignore_patterns("__pycache__", ".*_cache", ".hypothesis", ".benchmarks")
        for part in _PARTS:
            source = TREE / part
            if source.is_dir():
                shutil.copytree(source, folder / part, ignore=leave)
            elif source.exists():
                shutil.copy2(source, folder / part)
        self.environment = os.environ | {"PYTHONPATH": str(folder / "sim"), "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"}
        where = self._python("-c", "import gougeform; print(gougeform.__file__)")
        if str(folder) not in where:
            raise Stale(f"the copy's tests would run {where.strip()}, not the copy")

    def _python(self, *arguments: str) -> str:
        return subprocess.run(
            [sys.executable, *arguments], cwd=self.folder, env=self.environment, text=True, check=True,
            stdout=subprocess.PIPE,
        ).stdout  # fmt: skip

    def run(self, files: Sequence[str], limit: float) -> str:
        """The first test that fails, "" where all pass. Raises Stale where pytest itself cannot run."""
        there = [f"tests/{file}" for file in files]
        if not there:
            return ""
        # Without the plugins that these tests do not use, which take longer to load than most mutants to die.
        plain = "-x -q --tb=line -rfE -o addopts= -p no:cacheprovider -p _hypothesis_pytestplugin --hypothesis-seed=0"
        command = [sys.executable, "-m", "pytest", *plain.split(), *there]
        # A group of its own, so that what tests have started ends with them.
        with subprocess.Popen(
            command, cwd=self.folder, env=self.environment, text=True, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
            start_new_session=True, preexec_fn=lambda: os.nice(10),
        ) as running:  # fmt: skip
            try:
                said = running.communicate(timeout=limit)[0]
            except subprocess.TimeoutExpired:
                os.killpg(running.pid, signal.SIGKILL)
                running.communicate()
                return f"nothing ends within {limit:.0f} s"
        if running.returncode == 0:
            return ""
        found = re.search(r"^(?:FAILED|ERROR) tests/(.+?)(?: - .*)?$", said, re.MULTILINE)
        if not found:
            raise Stale(f"pytest ended with {running.returncode}:\n{said[-2000:]}")
        return found[1]

    def fate(self, mutant: Mutant, quick: bool) -> Fate:
        """Break the place, run the tests, mend it, and see that what failed passes then."""
        path = self.folder / PACKAGE / mutant.file
        whole = path.read_text()
        begin = time.monotonic()
        self._write(path, mutant.source(self.folder))
        try:
            by = self.run(mutant.tests, _LIMITS[0])
            if not by and not quick:
                by = self.run([file for file in mutant.wide if file not in mutant.tests], _LIMITS[1])
        finally:
            self._write(path, whole)
        seconds = time.monotonic() - begin
        if by and by not in self.sound and not by.startswith("nothing"):
            if self.run([by], _LIMITS[0]):
                raise Stale(f"tests/{by} fails with nothing broken")
            self.sound.add(by)
        return Fate(by, seconds)

    @staticmethod
    def _write(path: Path, text: str) -> None:
        path.write_text(text)
        # Python takes compiled code for fresh by its source's size and second: both may be the same here.
        Path(importlib.util.cache_from_source(str(path))).unlink(missing_ok=True)


def as_rows(fates: Sequence[tuple[Mutant, Fate]]) -> str:
    """A table for people: name, place, what was broken, killed by."""
    rows = ["| mutant | file | what it breaks | killed by |", "| --- | --- | --- | --- |"]
    for mutant, fate in fates:
        breaks, by = (text.replace("|", "\\|") for text in (mutant.breaks, fate.by))
        rows.append(f"| {mutant.name} | `{mutant.file}` | {breaks} | {f'`{by}`' if by else '**survived**'} |")
    return "\n".join(rows) + "\n"


def main(argv: Sequence[str] | None = None) -> int:
    """0 where every mutant was killed, 1 where one survived, 2 where the table or the unbroken tests are not sound."""
    parser = argparse.ArgumentParser(description="Break the program in a copy, one place at a time, and run its tests.")
    parser.add_argument("names", nargs="*", metavar="NAME", help="only mutants whose names contain one of these")
    parser.add_argument("--list", action="store_true", help="tell what there is, and run nothing")
    parser.add_argument("--random", type=int, metavar="N", help="N places chosen at random instead of the table's")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--in", action="append", dest="rooms", metavar="PACKAGE", help="packages for --random")
    parser.add_argument("--rows", type=Path, metavar="FILE", help="write the results as a Markdown table, row by row")
    parser.add_argument("--quick", action="store_true", help="run each mutant's own test files only")
    given = parser.parse_args(argv)
    try:
        mutants = read_table()
        if given.random:
            mutants = chosen(given.random, given.seed, given.rooms or ["machine", "grind", "measure"], mutants)
        mutants = [m for m in mutants if not given.names or any(name in m.name for name in given.names)]
        for mutant in mutants:
            mutant.source()
        if not given.list and mutants:
            return sweep(mutants, given.rows, given.quick)
    except Stale as error:
        print(error, file=sys.stderr)
        return 2
    for mutant in mutants:
        print(f"{mutant.name}\n    {mutant.file}: {mutant.breaks}")
    print(f"{len(mutants)} mutants")
    return 0


def sweep(mutants: Sequence[Mutant], rows: Path | None = None, quick: bool = False) -> int:
    """Try all of them, as `main` says. rows: where to write the table. quick: leave the wide tests out."""
    sound = True
    fates: list[tuple[Mutant, Fate]] = []
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        copy = Copy(Path(folder))
        for mutant in mutants:
            try:
                fate = copy.fate(mutant, quick)
            except Stale as error:
                print(f"{mutant.name}: {error}", file=sys.stderr, flush=True)
                sound = False
                continue
            fates.append((mutant, fate))
            end = f"killed by {fate.by}" if fate.by else "SURVIVED"
            print(f"{fate.seconds:6.1f} s  {mutant.name}: {end}", flush=True)
            if rows:
                rows.write_text(as_rows(fates))
    survived = [mutant for mutant, fate in fates if not fate.by]
    print(f"{len(fates) - len(survived)} of {len(fates)} killed")
    for mutant in survived:
        print(f"SURVIVED {mutant.name}\n    {mutant.file}: {mutant.breaks}")
    return (1 if survived else 0) if sound else 2


if __name__ == "__main__":
    sys.exit(main())
