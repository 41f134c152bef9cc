"""A page whose unit is the millimetre: text, lines and shapes placed on paper, written as PDF, SVG and PNG.

Positions on the page are layout units: 1 is 1 mm on A5 and grows with the paper. Drawings at 1:1 use true millimetres
about a place of the page. Nothing depends on colour.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

PAPERS = {"A5": (148.0, 210.0), "A4": (210.0, 297.0)}
INK, QUIET, PALE, STEEL = "#000000", "#404040", "#b8b8b8", "#d9d9d9"
_MM = 72 / 25.4  # points
_PNG_DPI = 250


class Page:
    """One page. width and height are in layout units; `unit` is how many mm one is."""

    def __init__(self, paper: str) -> None:
        from matplotlib.figure import Figure

        wide, high = PAPERS[paper]
        self.unit = wide / PAPERS["A5"][0]
        self.width, self.height = wide / self.unit, high / self.unit
        self._figure = Figure(figsize=(wide / 25.4, high / 25.4), facecolor="white")
        self._axes = self._figure.add_axes((0, 0, 1, 1))
        self._axes.set_xlim(0, wide)
        self._axes.set_ylim(0, high)
        self._axes.axis("off")

    def text(self, x: float, y: float, words: str, size: float = 6.5, **style: Any) -> None:
        """Words at a place in layout units; size in points on A5. Drawn as they stand, no formulas."""
        self.text_mm(x * self.unit, y * self.unit, words, size, **style)

    def text_mm(self, x: float, y: float, words: str, size: float = 6.5, **style: Any) -> None:
        """Words at a place in mm."""
        style = {"color": INK, "va": "baseline"} | style
        self._axes.text(x, y, words, fontsize=size * self.unit, parse_math=False, **style)

    def wrapped(self, words: str, room: float, size: float, *, bold: bool = False) -> list[str]:
        """The words on lines of at most `room` layout units."""
        lines: list[str] = []
        for word in words.split(" "):
            longer = f"{lines[-1]} {word}" if lines else word
            if lines and self.measured(longer, size, bold=bold) <= room:
                lines[-1] = longer
            else:
                lines.append(word)
        return lines

    def fitted(self, words: str, room: float, size: float, least: float, *, bold: bool = False) -> tuple[str, float]:
        """The words and a size at which they fit one line, cut with an ellipsis below the least size."""
        while size > least and self.measured(words, size, bold=bold) > room:
            size -= 0.1
        while len(words) > 1 and self.measured(words, size, bold=bold) > room:
            words = words[:-2].rstrip() + "…"
        return words, size

    def measured(self, words: str, size: float, *, bold: bool = False) -> float:
        """Width of words in layout units."""
        from matplotlib.font_manager import FontProperties
        from matplotlib.textpath import text_to_path

        font = FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal", size=size)
        wide, _, _ = text_to_path.get_text_width_height_descent(words, font, ismath=False)
        return float(wide) / _MM

    def line(self, points: Any, width: float = 0.5, **style: Any) -> None:
        """A line through (n, 2) layout units; width in points on A5."""
        self.line_mm(np.asarray(points, float) * self.unit, width, **style)

    def line_mm(self, points: Any, width: float = 0.5, **style: Any) -> None:
        """A line through (n, 2) mm."""
        p = np.asarray(points, float)
        style = {"color": INK, "solid_capstyle": "butt", "solid_joinstyle": "round"} | style
        self._axes.plot(p[:, 0], p[:, 1], linewidth=width * self.unit, **style)

    def shape_mm(self, points: Any, width: float = 0.5, **style: Any) -> None:
        """A closed shape (n, 2) mm."""
        from matplotlib.patches import Polygon

        style = {"facecolor": "none", "edgecolor": INK} | style
        self._axes.add_patch(Polygon(np.asarray(points, float), closed=True, linewidth=width * self.unit, **style))

    def circle_mm(self, middle: Floats, radius: float, width: float = 0.5, **style: Any) -> None:
        """A circle about (2,), all in mm."""
        from matplotlib.patches import Circle

        style = {"facecolor": "none", "edgecolor": INK} | style
        self._axes.add_patch(Circle(tuple(middle), radius, linewidth=width * self.unit, **style))

    @contextmanager
    def clipped(self, low: tuple[float, float], high: tuple[float, float]) -> Iterator[None]:
        """Everything drawn inside is cut off at a box in mm."""
        from matplotlib.patches import Rectangle

        before = set(self._axes.get_children())
        yield
        box = Rectangle(low, high[0] - low[0], high[1] - low[1], transform=self._axes.transData)
        for artist in self._axes.get_children():
            if artist not in before:
                artist.set_clip_path(box)

    def dimension_mm(
        self,
        a: Floats,
        b: Floats,
        words: str,
        *,
        away: float = 0.0,
        size: float = 6.0,
        side: int = 1,
        along: float = 0.5,
    ) -> None:
        """A measured distance between points (2,) mm: arrows, legs where it stands `away` mm off, words on it."""
        a, b = np.asarray(a, float), np.asarray(b, float)
        way = (b - a) / max(float(np.linalg.norm(b - a)), 1e-9)
        out = np.array([-way[1], way[0]]) * side
        p, q = a + away * out, b + away * out
        if away:
            for end, foot in ((a, p), (b, q)):
                self.line_mm([end + 0.8 * out * np.sign(away), foot + 0.9 * out * np.sign(away)], 0.35, color=QUIET)
        self._arrow(p, q)
        angle = float(np.degrees(np.arctan2(way[1], way[0])))
        upright = (angle + 90) % 180 - 90
        style: Any = {"va": "center", "rotation": upright, "rotation_mode": "anchor", "fontweight": "bold"}
        if self.measured(words, size, bold=True) * self.unit + 6 * self.unit > float(np.linalg.norm(q - p)):
            # Too short to carry its words: they go on where the distance ends.
            ahead = "left" if abs(angle - upright) < 1 else "right"
            x, y = q + 2.2 * self.unit * way
            self.text_mm(x, y, words, size, ha=ahead, **style)
            return
        plate = {"facecolor": "white", "edgecolor": "none", "pad": 0.9}
        x, y = (p + q) / 2
        self.text_mm(x, y, words, size, ha="center", bbox=plate, **style)

    def _arrow(self, p: Floats, q: Floats) -> None:
        length = float(np.linalg.norm(q - p))
        way = (q - p) / max(length, 1e-9)
        out = np.array([-way[1], way[0]])
        head = min(1.9 * self.unit, length / 3)
        self.line_mm([p, q], 0.5)
        for tip, back in ((p, way), (q, -way)):
            self.shape_mm(
                [tip, tip + head * back + 0.22 * head * out, tip + head * back - 0.22 * head * out], 0.2, facecolor=INK
            )

    def table(
        self,
        x: float,
        y: float,
        rows: Sequence[Sequence[str]],
        columns: Sequence[float],
        *,
        size: float = 6.0,
        leading: float = 3.3,
    ) -> float:
        """Rows of words at x, y (top left) in layout units, the first row as heads; returns the y below.

        columns: right edges (layout units from x) of every column but the first, which is set left.
        """
        for number, row in enumerate(rows):
            level = y - leading * (number + 1)
            colour = INK if number else QUIET
            self.text(x, level + 0.3 * leading, row[0], size, color=colour)
            for cell, right in zip(row[1:], columns, strict=True):
                self.text(x + right, level + 0.3 * leading, cell.replace("-", "\u2212"), size, ha="right", color=colour)
            ends = number in (0, len(rows) - 1)
            self.line([(x, level), (x + columns[-1], level)], 0.5 if ends else 0.25, color=INK if ends else PALE)
        return y - leading * len(rows)

    def save(self, stem: Path, title: str) -> list[Path]:
        """STEM.pdf, STEM.svg and STEM.png; letters are embedded as TrueType in the PDF, outlines in the SVG.

        Raises InputError where a file cannot be written.
        """
        from matplotlib import rc_context

        from gougeform.mesh.formats import replaced

        made = []
        with rc_context(
            {"pdf.fonttype": 42, "svg.fonttype": "path", "svg.hashsalt": "gougeform", "font.family": "DejaVu Sans"}
        ):
            for ending, extra in (
                ("pdf", {"metadata": {"Title": title, "Creator": "gougeform", "CreationDate": None}}),
                ("svg", {"metadata": {"Title": title, "Creator": "gougeform", "Date": None}}),
                ("png", {"dpi": _PNG_DPI}),
            ):
                path = stem.with_name(f"{stem.name}.{ending}")
                page = io.BytesIO()  # what draws a PDF has no words for a disk that is full
                self._figure.savefig(page, format=ending, facecolor="white", **extra)
                with replaced(path) as beside:
                    beside.write_bytes(page.getvalue())
                made.append(path)
        return made
