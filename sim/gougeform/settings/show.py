"""What the commands of this family share: their output folder, CSV files, charts, and tables or JSON."""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gougeform.recipe.model import Recipe
from gougeform.recipe.reading import load
from gougeform.tell.cautions import cautions
from gougeform.tell.folder import file_name, publish, stage, write

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from rich.console import Console

INK, WARM, COOL, SOFT = "#1f2a36", "#b5532b", "#2f6d8a", "#9aa5b1"
"""Colours of the charts; lines are also told apart by their dashes."""


def common_arguments(parser: argparse.ArgumentParser, *, files: bool = True) -> None:
    """The recipe, --json and the output folder."""
    parser.add_argument("recipe", metavar="RECIPE", help="a recipe file (.toml), or the name of a library recipe")
    parser.add_argument("--json", action="store_true", help="print one JSON object and nothing else on standard output")
    if files:
        parser.add_argument("-o", "--out", metavar="FOLDER", help="where files go (out/NAME)")


def opened(arguments: argparse.Namespace) -> Recipe:
    """The recipe of a command line."""
    return load(arguments.recipe)


def out_folder(arguments: argparse.Namespace, recipe: Recipe) -> Path:
    """Where a command's files go."""
    return Path(arguments.out) if arguments.out else Path("out") / file_name(recipe)


class Files:
    """Files of one run, written into a stage and published together; `names` are their places afterwards."""

    def __init__(self, inner: Path, folder: Path) -> None:
        self.inner, self.folder = inner, folder
        self.names: list[str] = []

    def _place(self, name: str) -> Path:
        self.names.append(str(self.folder / name))
        return self.inner / name

    def text(self, name: str, content: str) -> None:
        """Write a text file."""
        write(self._place(name), content)

    def csv(self, name: str, head: Sequence[str], rows: Sequence[Sequence[object]]) -> None:
        """Write a table; numbers with full precision, nothing where there is none."""
        lines = [",".join(head), *(",".join(_cell(cell) for cell in row) for row in rows)]
        self.text(name, "\n".join(lines) + "\n")

    def chart(
        self,
        name: str,
        draw: Callable[..., None],
        title: str,
        *,
        panels: int = 1,
        size: tuple[float, float] = (7.5, 4.4),
    ) -> None:
        """Draw into `name`.png and `name`.svg; `draw` gets as many axes, one over the other, as there are panels.

        title: which tool, and what is drawn of it; a picture is looked at long after the command is forgotten.
        """
        import matplotlib as mpl
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        # Fixed ids and no date: the same numbers give the same file.
        with mpl.rc_context(
            {"svg.hashsalt": "gougeform", "font.size": 9, "axes.edgecolor": SOFT, "svg.fonttype": "none"}
        ):
            figure = Figure(figsize=size, dpi=150, layout="constrained")
            FigureCanvasAgg(figure)
            axes = figure.subplots(panels, 1, squeeze=False)[:, 0]
            for one in axes:
                one.grid(color="#e4e8ec", linewidth=0.8)
                one.set_axisbelow(True)
                one.spines[["top", "right"]].set_visible(False)
            figure.suptitle(title, x=0.01, ha="left", fontsize=9, wrap=True)
            draw(*axes)
            figure.savefig(self._place(f"{name}.png"), metadata={"Software": None})
            figure.savefig(self._place(f"{name}.svg"), metadata={"Date": None})


@contextmanager
def files_in(folder: Path) -> Iterator[Files]:
    """Files that appear in `folder` together when the body is done, or not at all. Raises InputError."""
    with stage(folder) as inner:
        files = Files(inner, folder)
        yield files
        publish(inner, folder)


def _cell(cell: object) -> str:
    if cell is None or (isinstance(cell, float) and not math.isfinite(cell)):
        return ""
    if isinstance(cell, float):
        return repr(round(float(cell), 9))  # NumPy's own floats write their type too
    text = str(cell)
    return '"' + text.replace('"', '""') + '"' if any(sign in text for sign in ',"\n') else text


def plain(value: Any) -> Any:
    """A result as JSON can hold it: plain floats, None for what is not a number."""
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, bool | str | int) or value is None:
        return value
    number = float(value)
    return number if math.isfinite(number) else None


def finish(
    arguments: argparse.Namespace, recipe: Recipe, result: dict[str, Any], show: Callable[[Console], None]
) -> int:
    """Print the result, as JSON with the cautions on standard error, or by `show` with the cautions below."""
    from gougeform.tell.report import console_for, print_list

    said = cautions(recipe)
    if arguments.json:
        whole = plain({"title": recipe.title, **result, "cautions": said})
        sys.stdout.write(json.dumps(whole, ensure_ascii=False, indent=2) + "\n")
        sys.stderr.writelines(f"{sentence}\n" for sentence in said)
        return 0
    console = console_for(sys.stdout)
    console.print(recipe.title or recipe.name or "Tool", style="bold", markup=False)
    console.print()
    show(console)
    print_list(console, "Files", result.get("files", []))
    print_list(console, "Before you grind", said)
    return 0


def deg(value: float | None, digits: int = 2) -> str:
    """Degrees for a table."""
    return "–" if value is None or not math.isfinite(value) else f"{round(value, digits) + 0.0:.{digits}f}°"


def mm(value: float | None, digits: int = 2) -> str:
    """Millimetres for a table."""
    return "–" if value is None or not math.isfinite(value) else f"{round(value, digits) + 0.0:.{digits}f} mm"


def amount(value: float | None, unit: str, digits: int = 2) -> str:
    """A value with its unit for a table."""
    if unit == "deg":
        return deg(value, digits)
    if unit == "mm":
        return mm(value, digits)
    return "–" if value is None else f"{value:.{digits + 1}f}"


def line(axes: Axes, x: Any, y: Any, label: str, color: str, style: str = "-", **more: Any) -> None:
    """One line of a chart."""
    axes.plot(x, y, style, color=color, linewidth=1.6, label=label, **more)
