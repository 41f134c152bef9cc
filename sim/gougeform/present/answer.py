"""What a question returns: all that a person is told, with nothing settled about where it is shown.

A terminal, a page and a program in Python get the same `Answer`; `gougeform.present` tells it to each of them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gougeform.present.apart import Outcome
from gougeform.quantity import shown, unit_of

if TYPE_CHECKING:
    from gougeform.recipe.model import Recipe


@dataclass(frozen=True)
class Number:
    """A number in a cell. key: a name that ends in its unit (`nose_angle_deg`). digits: after the point, else usual.

    plus: whether one above zero gets its sign.

    >>> str(Number(35.0, "nose_deg")), str(Number(0.25, "by_mm", 3, plus=True)), str(Number(None, "land_mm"))
    ('35.00°', '+0.250 mm', '–')
    """

    value: float | None
    key: str
    digits: int | None = None
    plus: bool = False

    def __str__(self) -> str:
        text = shown(self.value, unit_of(self.key), self.digits)
        return f"+{text}" if self.plus and text[0].isdigit() else text


Cell = Number | str
Records = Sequence[Mapping[str, Any]]
Labels = Mapping[str, str | tuple[str, int]]
"""Words by key, with the digits after the point where they are not the unit's own."""


@dataclass(frozen=True)
class Block:
    """A part of an answer under its title: a table, points of a list, a text whose lines stay as they are, words below.

    rows: of a table, each as long as head, its first cell words. Any of them may be empty.
    """

    title: str = ""
    rows: Sequence[Sequence[Cell]] = ()
    head: Sequence[str] = ()
    points: Sequence[str] = ()
    text: str = ""
    below: str = ""


@dataclass(frozen=True)
class WrittenFile:
    """Stands in a next step for a file that the answer itself writes, wherever its folder is."""

    name: str


@dataclass(frozen=True)
class Next:
    """What to ask next: a command, what it is asked about, its parameters, and why.

    In `given` a table is NAME=VALUE words: a pair stands for from and to, a list for single places, None for the name
    alone; True is a switch.

    >>> import shlex
    >>> given = {"free": {"cant": None, "projection": (50.0, 90.0)}, "keep": True}
    >>> shlex.join(Next("transfer", [WrittenFile("mine.toml")], given).words(Path("out")))
    'gougeform transfer out/mine.toml --free cant --free projection=50:90 --keep'
    """

    command: str
    about: Sequence[str | WrittenFile]
    given: Mapping[str, Any] = field(default_factory=dict)
    why: str = ""

    def words(self, folder: Path) -> list[str]:
        """As words of a command line, for an answer whose files are in `folder`."""
        words = ["gougeform", self.command]
        words += [str(folder / one.name) if isinstance(one, WrittenFile) else one for one in self.about]
        for name, value in self.given.items():
            option = "--" + name.replace("_", "-")
            if value is True:
                words.append(option)
            elif isinstance(value, Mapping):
                for key, inner in value.items():
                    words += [option, key if inner is None else f"{key}={_typed(inner)}"]
            else:
                words += [option, _typed(value)]
        return words


def _typed(value: Any) -> str:
    if isinstance(value, tuple | list):
        return (":" if isinstance(value, tuple) else ",").join(map(_typed, value))
    return f"{value:.10g}" if isinstance(value, float) else str(value)


Maker = Callable[[Path], object]
"""Writes one file at a path."""
Painter = Callable[[Path, Path], Outcome]
"""Draws, in a process of its own, from the files that stand in a folder by then, to a path."""


@dataclass(frozen=True)
class Files:
    """What an answer writes into a folder.

    make: by name; a name that is a whole path goes there. folder: where, if a person names no other; that of the
    answer's recipe where it is None, or `out`. record: the name
    of the file that holds the answer's result. draw: pictures made last, each in a process of its own. replaces: a
    regular expression of names in the folder that these files make untrue. beside: one of names that are told where
    earlier runs have left them. fresh: never over what is there already. uses: what a file is good for, by the end of
    its name.
    """

    make: Mapping[str, Maker]
    folder: Path | None = None
    record: str = ""
    draw: Mapping[str, Painter] = field(default_factory=dict)
    replaces: str = ""
    beside: str = ""
    fresh: bool = False
    uses: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Answer:
    """title: what it is about, by default the recipe. verdict: one sentence, or "". blocks, notes: what is told.

    result: plain values by key with units in the names, for programs. files: what is to be written. next: what to ask
    now. recipe: the tool whose settings are given, so that the cautions for its wheels are told; None for no settings.
    written: files that are there already. stopped: whether the person ended it before it was done.
    """

    title: str = ""
    blocks: Sequence[Block] = ()
    verdict: str = ""
    notes: Sequence[str] = ()
    result: Mapping[str, Any] = field(default_factory=dict)
    files: Files | None = None
    next: Sequence[Next] = ()
    recipe: Recipe | None = None
    written: Sequence[Path] = ()
    stopped: bool = False

    @property
    def heading(self) -> str:
        """What stands over all of it."""
        return self.title or (self.recipe.title or self.recipe.name or "Tool" if self.recipe else "")


def across(
    title: str,
    records: Records,
    labels: Labels,
    head: Sequence[str] = (),
    below: str = "",
    more: Iterable[Sequence[Cell]] = (),
) -> Block:
    """A table with a row for each key and a column for each record; rows without any value are left out.

    more: rows that follow.
    """
    rows: list[Sequence[Cell]] = []
    for key, label in labels.items():
        cells = [cell(record.get(key), key, label) for record in records]
        if any(isinstance(one, str) or one.value is not None for one in cells):
            rows.append((_words(label), *cells))
    return Block(title, (*rows, *more), head or ("",) * (len(records) + 1), below=below)


def down(title: str, records: Records, labels: Labels, below: str = "") -> Block:
    """A table with a row for each record and a column for each key, under its words."""
    rows = [[cell(record.get(key), key, label) for key, label in labels.items()] for record in records]
    return Block(title, rows, [_words(label) for label in labels.values()], below=below)


def cell(value: Any, key: str, label: str | tuple[str, int] = "") -> Cell:
    """A value as a cell: words stay words, a number has the unit of its key and the digits of its label."""
    return value if isinstance(value, str) else Number(value, key, None if isinstance(label, str) else label[1])


def _words(label: str | tuple[str, int]) -> str:
    return label if isinstance(label, str) else label[0]
