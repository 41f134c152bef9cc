"""A pen for the drawings: shapes, lines, lengths with arrows and letters, angles, words; to scale, framed by itself."""

from __future__ import annotations

from types import TracebackType
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from gougeform.bar.marks import Mark
from gougeform.present.palette import INK, PAPER, QUIET

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Floats = NDArray[np.float64]

__all__ = ["HOLLOW", "INK", "JIG", "LETTERS", "MARK", "PAPER", "QUIET", "STEEL", "WHEEL", "Pen"]

STEEL, HOLLOW, WHEEL, JIG, MARK = "#c3c9ce", "#e9ecee", "#e7dfd2", "#8fa3a0", "#a31f34"
LETTERS = "ABCDEFGHJKLMNPQR"  # no I and no O, which look like 1 and 0

_MARGIN = 0.22  # inches round what is drawn: half a letter's badge
_SHORT = 0.36  # inches: a length shorter than this has its letter beside it
_BADGE = 0.30  # inches across a letter's badge and a little air


class Pen:
    """Draws into a part of a figure (left, low, width, height as shares) in mm; the scale is chosen at the end.

    Lengths drawn too short for their letter have it beside them, so everything waits until the scale is known.
    """

    def __init__(self, figure: Figure, place: tuple[float, float, float, float]) -> None:
        self._axes = figure.add_axes(place)
        self._axes.axis("off")
        self._room = np.array([place[2] * figure.get_figwidth(), place[3] * figure.get_figheight()])
        self._reach: list[Floats] = []
        self._lengths: list[tuple[Floats, Floats, str]] = []
        self._angles: list[tuple[Mark, str, float]] = []
        self._notes: list[tuple[Floats, Floats, str, bool]] = []

    def __enter__(self) -> Pen:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        if error is None:
            self._frame()

    def reach(self, points: Any) -> None:
        """Keep these places (n, 2) inside the frame."""
        self._reach.append(np.asarray(points, float))

    def fill(self, ring: Floats, colour: str, width: float, *, outline: bool = True) -> None:
        """A closed shape (n, 2)."""
        self.reach(ring)
        self._axes.fill(*ring.T, facecolor=colour, edgecolor=INK if outline else "none", linewidth=width)

    def line(
        self,
        points: Floats,
        colour: str,
        width: float,
        *,
        dashes: tuple[float, ...] | None = None,
        broken: bool = False,
    ) -> None:
        """A line through (n, 2); broken: leave gaps where neighbours lie far apart."""
        self.reach(points)
        if broken and len(points) > 1:
            step = np.linalg.norm(np.diff(points, axis=0), axis=1)
            cut = np.flatnonzero(step > 3 * np.median(step)) + 1
            points = np.insert(points, cut, np.nan, axis=0)
        style: dict[str, Any] = {"solid_capstyle": "round"} if dashes is None else {"dashes": dashes}
        self._axes.plot(*points.T, color=colour, linewidth=width, **style)

    def dots(self, points: Floats, colour: str = MARK, size: float = 4.5) -> None:
        """Round dots at (n, 2)."""
        self.reach(points)
        edge = INK if colour == PAPER else colour
        self._axes.plot(*points.T, "o", color=colour, markeredgecolor=edge, markeredgewidth=1.3, markersize=size)

    def word(self, at: Floats, words: str, *, turned: bool = False) -> None:
        """Words at a place."""
        self._axes.text(
            at[0], at[1], words, fontsize=9.5, color=INK, ha="center", va="center", rotation=90 if turned else 0
        )

    def length(self, ends: Floats, letter: str, away: Floats) -> None:
        """A length between two ends (2, 2): a double arrow moved aside by `away`, lines that lead to it, its letter."""
        a, b = ends + away
        self.reach([*ends, a, b])
        for end, moved in zip(ends, (a, b), strict=True):
            if np.abs(away).max() > 0:
                over = moved + 0.10 * (moved - end)
                self._axes.plot(*np.array([end, over]).T, color=MARK, linewidth=0.6, zorder=5)
        self._lengths.append((a, b, letter))

    def turn(self, one: Mark, letter: str, share: float) -> None:
        """An angle as an arc between its legs, with its letter."""
        self.reach(one.points)
        self._angles.append((one, letter, share))

    def note(self, at: Floats, off: Floats, words: str, *, badge: bool = False) -> None:
        """A word (or a letter) beside a place, with a thin line to it."""
        self.reach([at, at + off])
        self._notes.append((at, at + off, words, badge))

    def _frame(self) -> None:
        every = np.concatenate(self._reach)
        small, large = every.min(0), every.max(0)
        mm = float(((large - small) / (self._room - 2 * _MARGIN)).max())  # mm an inch
        middle, half = (small + large) / 2, self._room * mm / 2
        self._axes.set_xlim(middle[0] - half[0], middle[0] + half[0])
        self._axes.set_ylim(middle[1] - half[1], middle[1] + half[1])
        for a, b, letter in self._lengths:
            self._arrow(a, b)
            self._badge(self._beside(a, b, mm), letter)
        for one, letter, share in self._angles:
            self._arc(one, letter, share, mm)
        for at, end, words, badge in self._notes:
            self._leader(at, end, words, badge)

    def _beside(self, a: Floats, b: Floats, mm: float) -> Floats:
        """Where the letter of a length goes: on it, or beyond its end where it would cover it."""
        long = float(np.linalg.norm(b - a))
        if long > _SHORT * mm:
            return (a + b) / 2
        return b + (b - a) / max(long, 1e-9) * 0.8 * _BADGE * mm

    def _arrow(self, a: Floats, b: Floats) -> None:
        arrow = {
            "arrowstyle": "<|-|>,head_width=0.17,head_length=0.38",
            "color": MARK,
            "linewidth": 1.3,
            "shrinkA": 0,
            "shrinkB": 0,
        }
        self._axes.annotate("", xy=tuple(b), xytext=tuple(a), arrowprops=arrow, zorder=6)

    def _arc(self, one: Mark, letter: str, share: float, mm: float) -> None:
        leg, corner, other = one.points
        a, b = leg - corner, other - corner
        r = share * min(np.linalg.norm(a), np.linalg.norm(b))
        first = np.arctan2(a[1], a[0])
        turn = (np.arctan2(b[1], b[0]) - first + np.pi) % (2 * np.pi) - np.pi
        arc = first + np.linspace(0, turn, 40)
        self._axes.plot(*(corner[:, None] + r * np.array([np.cos(arc), np.sin(arc)])), color=MARK, lw=1.3, zorder=6)
        for way in (a, b):
            end = corner + way / np.linalg.norm(way) * (r + 0.08 * mm)
            self._axes.plot(*np.array([corner, end]).T, color=MARK, linewidth=0.6, zorder=5)
        out = np.array([np.cos(first + turn / 2), np.sin(first + turn / 2)])
        room = r * abs(turn) > 1.6 * _BADGE * mm
        self._badge(corner + (r if room else r + 0.7 * _BADGE * mm) * out, letter)

    def _badge(self, at: Floats, letter: str) -> None:
        box = {"boxstyle": "circle,pad=0.18", "facecolor": "white", "edgecolor": MARK, "linewidth": 1.2}
        self._axes.text(
            at[0], at[1], letter, fontsize=11, weight="bold", color=MARK, ha="center", va="center", bbox=box, zorder=8
        )

    def _leader(self, at: Floats, end: Floats, words: str, badge: bool) -> None:
        line = {"arrowstyle": "-", "color": MARK if badge else QUIET, "linewidth": 0.8, "shrinkA": 0, "shrinkB": 0}
        self._axes.annotate("", xy=tuple(at), xytext=tuple(end), arrowprops=line, zorder=5)
        if badge:
            self._badge(end, words)
            return
        box = {"facecolor": PAPER, "edgecolor": "none", "pad": 1.0}
        self._axes.text(end[0], end[1], words, fontsize=10.5, color=INK, ha="center", va="center", bbox=box, zorder=7)
