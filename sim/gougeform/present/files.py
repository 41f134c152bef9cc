"""The files of an answer: all of them together or none, then the pictures that may fail without harm."""

from __future__ import annotations

import math
import re
import tempfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gougeform.present.answer import Answer, Files, Maker
from gougeform.present.folder import out_folder, publish, publish_new, refuse_taken, stage, write
from gougeform.present.json import json_text, whole
from gougeform.present.palette import GRID, PAPER, SOFT
from gougeform.present.progress import step

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_PICTURES = (".png", ".svg")
_DIGITS = 9  # behind the point: 1e-9 mm and deg, as exact as the kernel


@dataclass(frozen=True)
class Written:
    """folder: where. paths: what was written, in order. problems: why pictures are missing.

    earlier: what runs before have left there.
    """

    folder: Path = Path()
    paths: Sequence[Path] = ()
    problems: Sequence[str] = ()
    earlier: Sequence[Path] = ()


def written(answer: Answer, folder: Path | None = None, *, pictures: bool = True) -> Written:
    """Write an answer's files, then draw; with `pictures` False nothing that is one.

    folder: instead of the answer's own. Raises InputError where it cannot be written; then nothing has changed there.
    """
    files = answer.files
    if files is None:
        return Written()
    home = folder or files.folder or (out_folder(answer.recipe) if answer.recipe else Path("out"))
    names = [name for name in files.make if pictures or not name.endswith(_PICTURES)]
    names += [files.record] if files.record else []
    paths = [home / name for name in names]
    with ExitStack() as stages:
        inner = {place: stages.enter_context(stage(place)) for place in dict.fromkeys(path.parent for path in paths)}
        if files.fresh:
            for path in paths:
                refuse_taken(path)
        with step("writing"):
            for name in names:
                if name != files.record:
                    files.make[name](inner[(home / name).parent] / Path(name).name)
        told = _recorded(answer, home, paths, inner.get(home))
        for place, within in inner.items():
            if files.fresh:
                publish_new(within, place, [path.name for path in paths if path.parent == place])
            else:
                publish(within, place, instead_of=_named(place, files.replaces))
        problems: list[str] = []
        if files.draw and pictures:
            drawn = _drawn(files, home, inner[home], problems)
            more = [*paths, *drawn]
            if drawn:
                _recorded(answer, home, more, inner[home])
                if publish(inner[home], home, only_if=(files.record, told) if files.record else None):
                    paths = more
                else:
                    problems = ["Another run has written to this folder, so its picture is there."]
    earlier = [home / name for name in _named(home, files.beside) if home / name not in paths]
    return Written(home, paths, list(dict.fromkeys(problems)), earlier)


def _named(folder: Path, pattern: str) -> list[str]:
    """Names in a folder that match a regular expression; none for an empty one."""
    return sorted(path.name for path in folder.iterdir() if re.fullmatch(pattern, path.name)) if pattern else []


def _drawn(files: Files, home: Path, inner: Path, problems: list[str]) -> list[Path]:
    """Draw each picture into the stage; returns the places of those that came, and tells why others did not."""
    drawn = []
    for name, draw in files.draw.items():
        with step(f"drawing {name}"):
            outcome = draw(home, inner / name)
        if outcome:
            drawn.append(home / name)
        else:
            problems.append(outcome.problem)
    return drawn


def _recorded(answer: Answer, home: Path, paths: Sequence[Path], inner: Path | None) -> bytes:
    """Write the record, with the names of what stands beside it; returns its bytes."""
    if not (inner and answer.files and answer.files.record):
        return b""
    told = json_text(whole(answer, home, [path.name for path in paths]))
    write(inner / answer.files.record, told)
    return told.encode()


def text(content: str) -> Maker:
    """A text file."""
    return lambda path: write(path, content)


def raw(content: bytes) -> Maker:
    """A file that is these bytes."""
    return lambda path: path.write_bytes(content)


def captured(write: Callable[[Path], object]) -> dict[str, bytes]:
    """What a writer puts into a folder, as bytes by name."""
    with tempfile.TemporaryDirectory() as folder:
        write(Path(folder))
        return {path.name: path.read_bytes() for path in sorted(Path(folder).iterdir())}


def table(columns: Mapping[str, Iterable[Any]]) -> Maker:
    """A CSV file of columns of equal length; nothing in a cell where there is no number."""
    return text(csv_text(columns))


def records(rows: Sequence[Mapping[str, Any]], keys: Iterable[str] = ()) -> dict[str, list[Any]]:
    """Records as columns: those of the keys, or of all that the first record has."""
    return {key: [row.get(key) for row in rows] for key in (keys or (rows[0] if rows else ()))}


def csv_text(columns: Mapping[str, Iterable[Any]]) -> str:
    r"""Columns (n,) as CSV: names with units in the first line; not-a-numbers and infinities become empty cells.

    >>> csv_text({"x_mm": [1.0, float("nan")], "what": ["a, b", None]})
    'x_mm,what\n1,"a, b"\n,\n'
    """
    cells = [[_cell(value) for value in values] for values in columns.values()]
    return "\n".join([",".join(columns), *(",".join(row) for row in zip(*cells, strict=True))]) + "\n"


def _cell(value: Any) -> str:
    if value is None or isinstance(value, str | bool):
        shown = "" if value is None else str(value).lower() if isinstance(value, bool) else value
        return '"' + shown.replace('"', '""') + '"' if any(sign in shown for sign in ',"\n') else shown
    number = float(value)
    if not math.isfinite(number):
        return ""
    shown = f"{number:.{_DIGITS}f}".rstrip("0").rstrip(".")
    return "0" if shown == "-0" else shown


def chart(
    name: str, draw: Callable[..., None], title: str, *, panels: int = 1, size: tuple[float, float] = (7.5, 4.4)
) -> dict[str, Maker]:
    """A chart as NAME.png and NAME.svg; `draw` gets as many axes, one over the other, as there are panels.

    title: which tool, and what is drawn of it; a picture is looked at long after the command is forgotten.
    """
    # Fixed ids and no date: the same numbers give the same file.
    look: Any = {"svg.hashsalt": "gougeform", "font.size": 9, "axes.edgecolor": SOFT, "svg.fonttype": "none"}

    @cache
    def figure() -> Any:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        made = Figure(figsize=size, dpi=150, layout="constrained", facecolor=PAPER)
        FigureCanvasAgg(made)
        axes = made.subplots(panels, 1, squeeze=False)[:, 0]
        for one in axes:
            one.set_facecolor(PAPER)
            one.grid(color=GRID, linewidth=0.8)
            one.set_axisbelow(True)
            one.spines[["top", "right"]].set_visible(False)
        made.suptitle(title, x=0.01, ha="left", fontsize=9, wrap=True)
        draw(*axes)
        return made

    def save(path: Path, metadata: dict[str, None]) -> None:
        import matplotlib as mpl

        with mpl.rc_context(look):
            figure().savefig(path, metadata=metadata)

    return {
        f"{name}.png": lambda path: save(path, {"Software": None}),
        f"{name}.svg": lambda path: save(path, {"Date": None}),
    }


def line(axes: Axes, x: Any, y: Any, label: str, color: str, style: str = "-", **more: Any) -> None:
    """One line of a chart."""
    axes.plot(x, y, style, color=color, linewidth=1.6, label=label, **more)
