"""Drawings that say where to measure: the bar from its end and from above, and the jig at the wheel from the side.

Everything drawn comes from the ground tool; lengths are named by letters, and a list below says what each is.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from gougeform.bar.marks import Mark
from gougeform.card.views import SideView, on_machine, side_view
from gougeform.grind.gouge import Gouge
from gougeform.measure.measures import Measures
from gougeform.starter.lengths import at_the_wheel, from_above, from_the_end, pivot_place
from gougeform.starter.pen import HOLLOW, INK, JIG, LETTERS, MARK, PAPER, QUIET, STEEL, WHEEL, Pen

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from gougeform.machine.edgeoutline import EdgeOutline

Floats = NDArray[np.float64]

_WIDE, _DPI = 9.0, 130
_ROW = 0.25  # inches a row of the list
_TITLE = 0.5
_COLOURS = 64  # of the picture's palette: line drawings need no more, and stay small


def draw_bar(measures: Measures, path: Path, asked: EdgeOutline | None = None) -> None:
    """The bar's section and the bar from above, each length with its letter, as a PNG.

    asked: an outline that was asked for and cannot be ground; it is drawn over the one that can.
    """
    ends, above = from_the_end(measures.gouge), from_above(measures)
    figure, low, high = _figure("Where to measure the bar: calliper and ruler", [*ends, *above], 6.0)
    middle = low + 0.34 * (high - low)
    with Pen(figure, (0.02, middle, 0.96, high - middle)) as pen:
        _section(pen, measures, ends)
    with Pen(figure, (0.02, low, 0.96, middle - low)) as pen:
        _from_above(pen, measures, above, first=len(ends), asked=asked)
    _save(figure, path, [*ends, *above])


def draw_jig(measures: Measures, path: Path) -> None:
    """Wheel, tool and jig from the side, each length with its letter, as a PNG."""
    gouge = measures.gouge
    named = at_the_wheel(gouge)
    noun = gouge.recipe.jig.noun.partition(" ")[2]
    machine = "Belt" if gouge.recipe.wheel.diameter_mm is None else "Wheel"
    title = f"Where to measure: {machine.lower()} and {noun} from the side, ruler and protractor"
    figure, low, high = _figure(title, named, 6.8)
    with Pen(figure, (0.02, low, 0.96, high - low)) as pen:
        _machine(pen, gouge, side_view(gouge, measures.edge), named)
    _save(figure, path, named)


def _figure(title: str, named: Sequence[Mark], drawing: float) -> tuple[Figure, float, float]:
    """A figure with its title on top and the list of named things below; returns it and the room between, as shares."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    rows = (len(named) + 1) // 2
    listed = _ROW * rows + 0.3
    high = drawing + listed + _TITLE
    figure = Figure(figsize=(_WIDE, high), dpi=_DPI, facecolor=PAPER)
    FigureCanvasAgg(figure)
    figure.text(0.03, 1 - 0.14 / high, title, fontsize=14, weight="bold", color=INK, va="top")
    for k, one in enumerate(named):
        x, y = (0.03, 0.525)[k // rows], (_ROW * (rows - k % rows) - 0.08) / high
        unit = "°" if one.angle else " mm"
        figure.text(x, y, LETTERS[k], fontsize=11.5, weight="bold", color=MARK)
        figure.text(x + 0.025, y, one.words, fontsize=11.5, color=INK)
        figure.text(x + 0.445, y, f"{one.value:.1f}{unit}", fontsize=11.5, color=INK, ha="right")
    return figure, listed / high, 1 - _TITLE / high


def legend(named: Sequence[Mark]) -> str:
    """What a drawing's letters stand for, one line each; it is kept in the picture, so that an old one can be told."""
    return "\n".join(f"{letter} {one.words}: {one.value:.3f}" for letter, one in zip(LETTERS, named, strict=False))


def _save(figure: Figure, path: Path, named: Sequence[Mark]) -> None:
    from PIL import Image, PngImagePlugin

    raw = io.BytesIO()
    figure.savefig(raw, dpi=_DPI, facecolor=PAPER, format="png")
    raw.seek(0)
    said = PngImagePlugin.PngInfo()
    said.add_itxt("Description", legend(named))
    with Image.open(raw) as image:
        image.convert("RGB").quantize(_COLOURS).save(path, format="PNG", optimize=True, pnginfo=said)


# ---- the bar


def _section(pen: Pen, measures: Measures, named: Sequence[Mark]) -> None:
    gouge, section = measures.gouge, measures.gouge.section
    ring = section.ring(481)
    pen.fill(ring, STEEL, 1.6)
    lips = np.stack([section.lip(-1), section.lip(1)])
    pen.line(lips, QUIET, 0.8, dashes=(5, 4))
    size, low, high = float(np.ptp(ring[:, 0])), section.underside, section.lip_plane
    if measured := gouge.recipe.flute.read:
        points = np.array(measured)
        pen.dots(points + np.array([0.0, section.y_floor - points[np.abs(points[:, 0]).argmin(), 1]]))
    for letter, one in zip(LETTERS, named, strict=False):
        start, name = one.points[0], one.field.partition(".")[2]
        away = np.zeros(2)
        if name in ("diameter_mm", "side_mm") or "side to side" in one.words:
            away = np.array([0.0, low - 0.13 * size - start[1]])
        elif "underside to top" in one.words:
            away = np.array([0.34 * size, 0.0])
        elif "lip to lip" in one.words:
            away = np.array([0.0, high + 0.13 * size - start[1]])
        if one.angle:
            pen.turn(one, letter, share=0.8)
        elif name == "half_width_mm":
            turn = np.linspace(0, np.pi / 2, 60)
            tall = start[1] - section.y_floor
            half = np.stack([one.value * np.sin(turn), start[1] - tall * np.cos(turn)], -1)
            pen.line(half[half[:, 1] > section.lip(1)[1]], QUIET, 0.9, dashes=(5, 3))
            pen.length(one.points, letter, away)
        elif name == "corner_radius_mm":
            pen.note(one.points[1], np.array([0.20, -0.08]) * size, letter, badge=True)
        elif name in ("radius_mm", "floor_radius_mm"):
            circle = np.linspace(0, 2 * np.pi, 181)
            round_ = start + one.value * np.stack([np.cos(circle), np.sin(circle)], -1)
            pen.line(round_[round_[:, 1] < high + 0.10 * size], QUIET, 0.9, dashes=(5, 3), broken=True)
            pen.length(one.points, letter, away)
        else:
            pen.length(one.points, letter, away)
    pen.note(section.lip(-1), np.array([-0.32, 0.10]) * size, "lip")
    pen.note(section.lip(1), np.array([0.32, 0.10]) * size, "lip")
    pen.note(np.array([-0.02 * size, section.y_floor]), np.array([-0.74, -0.05]) * size, "floor")
    bottom = ring[(ring[:, 0] < -0.1 * size) & (ring[:, 1] < 0)]
    pen.note(bottom[bottom[:, 1].argmin()], np.array([-0.62, 0.04]) * size, "underside")
    pen.reach([[-1.0 * size, 0.0], [1.0 * size, 0.0]])


def _from_above(
    pen: Pen, measures: Measures, named: Sequence[Mark], first: int, asked: EdgeOutline | None = None
) -> None:
    gouge, edge = measures.gouge, measures.edge
    bar, flute = gouge.recipe.bar, gouge.recipe.flute
    outline = gouge.section.outline
    west, east = -outline.support((-1.0, 0.0)), outline.support((1.0, 0.0))
    heel = edge.heel_line[[2, 0]].T
    # The places nearest the lips where the bar is at its widest: what lies below them is hidden from above.
    at_west, at_east = np.flatnonzero(heel[:, 1] < west + 1e-3)[0], np.flatnonzero(heel[:, 1] > east - 1e-3)[-1]
    rim = edge.point[[2, 0]].T
    back = [[-bar.length_mm, east], [-bar.length_mm, west]]
    pen.fill(np.concatenate([rim, heel[at_east:][::-1], back, heel[: at_west + 1][::-1]]), STEEL, 1.2)
    end = -min(flute.length_mm, bar.length_mm)
    pen.fill(np.concatenate([rim, [[end, rim[-1, 1]], [end, rim[0, 1]]]]), HOLLOW, 0.8)
    pen.line(rim, MARK, 2.4)
    if asked is not None:
        wanted = asked.at(np.linspace(-1.0, 1.0, 201))[0][[2, 0]].T
        pen.line(wanted, INK, 1.4, dashes=(4, 3))
        pen.note(wanted[30], np.array([-0.05, -0.09]) * bar.length_mm, "asked for: cannot be ground")
    wide = max(east, -west)
    ferrule = np.array([[-1.09, -1.8], [-1.0, -1.8], [-1.0, 1.8], [-1.09, 1.8]]) * [bar.length_mm, wide]
    pen.fill(ferrule, JIG, 1.2)
    pen.word(ferrule.mean(0), "ferrule", turned=True)
    unit = bar.length_mm
    offsets = ([0.0, -0.045 * unit], [0.0, 0.045 * unit], [0.0, wide + 0.1 * unit - rim[:, 1].max()])
    for k, (one, away) in enumerate(zip(named, offsets, strict=True)):
        pen.length(one.points, LETTERS[first + k], np.array(away))
    pen.note(np.zeros(2), np.array([0.055, -0.05]) * unit, "nose")
    pen.note(rim[3 * len(rim) // 4], np.array([0.07, 0.05]) * unit, "edge")


# ---- wheel and jig


def _machine(pen: Pen, gouge: Gouge, view: SideView, named: Sequence[Mark]) -> None:
    pivot, radius = pivot_place(gouge), view.radius
    shown = [part for part in (view.tool, view.clamp_box, view.support) if part is not None]
    if pivot is not None:
        shown.append(pivot[None])
    if radius is not None:
        shown.append(np.array([[-0.25 * radius, -radius], [radius, radius]]))
    every = np.concatenate(shown)
    small, large = every.min(0), every.max(0)
    unit = float((large - small).max())
    if radius is None:
        face = np.array([small[1] - 0.12 * unit, large[1] + 0.12 * unit])
        pen.fill(np.array([[0, face[0]], [0, face[1]], [-0.05 * unit, face[1]], [-0.05 * unit, face[0]]]), WHEEL, 1.5)
    else:
        turn = np.linspace(-np.pi, np.pi, 361)
        round_ = radius * np.stack([np.cos(turn), np.sin(turn)], -1)
        pen.fill(round_[round_[:, 0] > -0.3 * radius], WHEEL, 1.6, outline=False)
        pen.line(round_[round_[:, 0] > -0.3 * radius], INK, 1.6)
        pen.line(np.array([[-6.0, 0], [6, 0]]), INK, 1)
        pen.line(np.array([[0, -6.0], [0, 6]]), INK, 1)
        pen.note(np.array([3.0, 3.0]), np.array([0.05, 0.09]) * unit, "spindle")
    if view.support is not None:
        pen.fill(view.support, JIG, 1.2)
    pen.fill(view.tool, STEEL, 1.3)
    pen.line(view.bar_axis, QUIET, 0.8, dashes=(8, 3, 2, 3))
    if view.clamp_box is not None and view.hinge is not None and pivot is not None:
        pen.fill(view.clamp_box, JIG, 1.3)
        _linkage(pen, gouge, view.hinge, pivot)
    _names(pen, gouge, view, named, unit, float(large[0]))


def _linkage(pen: Pen, gouge: Gouge, hinge: Floats, pivot: Floats) -> None:
    """Arm and foot in its pocket, or hinge axis, shoe and rod."""
    jig = gouge.recipe.grinds[0].jig
    axis, thick = jig.drawn(gouge.section).axis, jig.pivot_thick_mm
    if axis is not None:
        turn = on_machine(gouge)(np.array([np.zeros(2), axis]))
        way = turn[1] - turn[0]
        pen.line(np.array([hinge - 18 * way, hinge + 36 * way]), INK, 1.1, dashes=(6, 3))
    if thick:
        around = np.linspace(0, 2 * np.pi, 61)
        pen.fill(pivot + thick * np.stack([np.cos(around), np.sin(around)], -1), "white", 1.6)
    else:
        under = np.linspace(np.pi, 2 * np.pi, 25)
        pen.line(pivot + 5.0 * np.stack([np.cos(under), np.sin(under)], -1), INK, 4.5)
    pen.line(np.array([hinge, pivot]), INK, 7)
    pen.line(np.array([hinge, pivot]), JIG, 4.4)
    if not thick:
        pen.dots(pivot[None], INK, 7)
    pen.dots(hinge[None], PAPER, 8)


def _names(pen: Pen, gouge: Gouge, view: SideView, named: Sequence[Mark], unit: float, right: float) -> None:
    """Every length with its letter, moved to where it does not cover another."""
    put = on_machine(gouge)
    frame = put(np.array([[0.0, 0.0], [1.0, 0.0], [0.0, -1.0]]))
    up, back = frame[1] - frame[0], frame[2] - frame[0]
    for letter, one in zip(LETTERS, named, strict=False):
        name = one.field.partition(".")[2]
        start, stop = one.points[0], one.points[1]
        if one.angle:
            pen.turn(one, letter, share=0.9)
            continue
        if name == "rod_diameter_mm":
            pen.note(stop, np.array([0.10, 0.05]) * unit, letter, badge=True)
            continue
        along = (stop - start) / max(float(np.linalg.norm(stop - start)), 1e-9)
        square = np.array([-along[1], along[0]])
        behind = square if square @ back > 0 else -square
        away = np.zeros(2)
        if name in ("projection_mm", "hinge_back_mm"):
            away = 0.09 * unit * up
            if name == "projection_mm":
                pen.line(np.array([view.nose, start]), MARK, 0.6)
        elif name == "hinge_drop_mm":
            away = 0.10 * unit * back
        elif name == "diameter_mm":
            away = np.array([-0.16 * (view.radius or 0.0), 0.0])
        elif name in ("arm_length_mm", "shoe_mm"):
            away = 0.05 * unit * (-behind if name == "arm_length_mm" else behind)
        elif name == "centre_distance_mm":
            away = 0.055 * unit * (square if square @ (view.nose - stop) < 0 else -square)
        elif name == "height_mm":
            away = np.array([max(right - start[0], 0.0) + 0.06 * unit, 0.0])
        pen.length(one.points, letter, away)
    if view.support is not None:
        pen.note(view.support[1:3].mean(0), unit * (0.05 * back - 0.10 * up), "table")
    elif view.pivots and not gouge.recipe.grinds[0].jig.pivot_thick_mm:
        noun = gouge.recipe.grinds[0].jig.pivot_noun
        pen.note(view.pivots[0][1] + [3.0, -3.0], np.array([0.10, -0.03]) * unit, noun)
    if view.clamp is not None and view.support is None:
        face = put(np.array([[gouge.section.lip_plane + 4, -gouge.recipe.grinds[0].jig.projection_mm]]))[0]
        pen.note(face, unit * (0.20 * up - 0.10 * back), "clamp's front face")
