"""An answer for a terminal: 80 columns wide, in plain text where it is piped. rich is loaded when something is told."""

from __future__ import annotations

import shlex
import shutil
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import IO, TYPE_CHECKING

from gougeform.present.answer import Answer, Block, Next
from gougeform.present.cautions import BEFORE, STRONG, in_short
from gougeform.present.files import Written

if TYPE_CHECKING:
    from rich.console import Console

_COLUMNS = 80


def tell(answer: Answer, written: Written, stream: IO[str]) -> None:
    """Title, verdict, blocks, notes, what was written, what to ask next, and last the cautions in short."""
    console = _console(stream)
    for heading in filter(None, (answer.heading, answer.verdict)):
        console.print(heading, style="bold", markup=False)
        console.print()
    for block in answer.blocks:
        _block(console, block)
    _block(console, Block("Notes", points=answer.notes))
    _files(console, [*answer.written, *written.paths], {} if answer.files is None else answer.files.uses)
    if written.earlier:
        earlier = [
            "Also there, from earlier runs, perhaps for other settings:",
            *(f"  {p.name}" for p in written.earlier),
        ]
        console.print("\n".join(earlier) + "\n", markup=False, soft_wrap=True)
    if answer.next:
        console.print("What next", style="bold")
        for one in answer.next:
            _next(console, one, written.folder)
        console.print()
    _block(console, Block(BEFORE, points=in_short(answer.recipe)))


def tell_beside(answer: Answer, stream: IO[str]) -> None:
    """What a person is told where a program gets the result: notes, and the cautions in short."""
    console = _console(stream)
    _block(console, Block("Notes", points=answer.notes))
    _block(console, Block(BEFORE, points=in_short(answer.recipe)))


def _console(stream: IO[str]) -> Console:
    """A console on a stream: colour and the terminal's width only where a person watches, else plain text.

    Never below 80 columns, which would break numbers in two. Its prints raise BrokenPipeError where the reader is gone.
    """
    from rich.console import Console

    class Plain(Console):
        def on_broken_pipe(self) -> None:
            raise BrokenPipeError  # not the library's exit code 1: `gougeform.command` knows what it means

    width = max(_COLUMNS, shutil.get_terminal_size().columns) if stream.isatty() else _COLUMNS
    return Plain(file=stream, highlight=False, soft_wrap=False, width=width)


def _block(console: Console, block: Block) -> None:
    if block.rows:  # with its title and the words below
        _table(console, block)
    elif block.title and (block.points or block.text or block.below):
        console.print(block.title, style="bold", markup=False)
    if block.points:
        _points(console, block.points)
    if block.text:
        console.print(block.text, markup=False, soft_wrap=True)
    if block.below and not block.rows:
        console.print(block.below, markup=False)
        console.print()


def _table(console: Console, block: Block) -> None:
    """The first column is words; the others are numbers, set right."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    made = Table(
        title=Text(block.title, style="bold"),
        title_justify="left",
        caption=Text(block.below) if block.below else None,
        caption_justify="left",
        caption_style="dim",
        box=box.SIMPLE_HEAD,
        pad_edge=False,
        show_header=any(block.head),
    )
    for number, name in enumerate(block.head):
        justify = "right" if number else "left"
        made.add_column(Text(name), justify=justify, header_style="dim", overflow="fold")  # type: ignore[arg-type]
    for row in block.rows:
        made.add_row(*(Text(str(cell)) for cell in row))
    console.print(made)


def _points(console: Console, points: Sequence[str]) -> None:
    """Sentences as a list. Strong cautions stand out."""
    from rich.padding import Padding
    from rich.table import Table
    from rich.text import Text

    made = Table.grid(padding=(0, 1))
    for line in points:
        strong = line.startswith(STRONG)
        made.add_row("!" if strong else "-", Text(line, style="bold red" if strong else ""))
    console.print(Padding(made, (0, 0, 1, 2)))


def _next(console: Console, one: Next, folder: Path) -> None:
    """Why, and the command as lines of at most 76 signs, joined by the backslashes that a shell reads over."""
    lines = ["     "]
    for word in map(shlex.quote, one.words(folder)):
        if len(lines[-1]) + len(word) > 74 and lines[-1].strip():
            lines[-1] += " \\"
            lines.append("       ")
        lines[-1] += f" {word}"
    console.print(f"  {one.why[:1].upper()}{one.why[1:]}:", markup=False)
    console.print("\n".join(lines), markup=False, soft_wrap=True)


def _files(console: Console, paths: Sequence[Path], uses: Mapping[str, str]) -> None:
    for place in dict.fromkeys(path.parent for path in paths):
        lines = [f"Where to look, in {place}:" if uses else f"Written to {place}:"]
        here = [path.name for path in paths if path.parent == place]
        for end, use in uses.items() if uses else {"": ""}.items():
            for name in here:
                if name.endswith(end):
                    lines += [f"  {name}", *([f"      {use}"] if use else [])]
        console.print("\n".join(lines), markup=False, soft_wrap=True)
        console.print()
