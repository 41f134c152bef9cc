"""Pictures of reach in the meridian plane. matplotlib is loaded when one is drawn. Lengths mm, angles deg."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from gougeform.reach.body import BEVEL, CHEEK, FERRULE, FLUTE, HANDLE, HEEL, SHANK, WING
from gougeform.reach.posture import placed
from gougeform.reach.result import Reach, part_name

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Floats = NDArray[np.float64]

PAPER, INK, QUIET, WOOD, GRAIN = "#f7f4ee", "#2b2f33", "#6d7278", "#e6d3b3", "#b08d57"
MISSED, TOUCH = "#a31f34", "#a31f34"
PART_TINTS = {
    WING: "#dba63f",
    BEVEL: "#dba63f",
    HEEL: "#c07f5e",
    CHEEK: "#8fa3b0",
    FLUTE: "#dfe3e6",
    SHANK: "#b4bbc1",
    FERRULE: "#c9b458",
    HANDLE: "#8a6a46",
}
_FEED_LABELS = ("cut along the profile, left to right", "cut against it")
_BEHIND_WORDS = {"boxstyle": "round,pad=0.2", "facecolor": PAPER, "edgecolor": "none", "alpha": 0.85}


def _new(width: float, height: float, rows: int = 1, ratios: tuple[float, ...] | None = None) -> tuple[Any, Any]:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width, height), dpi=130, facecolor=PAPER, layout="constrained")
    axes = figure.subplots(rows, 1, height_ratios=ratios, squeeze=False)[:, 0]
    for one in axes:
        one.set_facecolor(PAPER)
        one.tick_params(colors=QUIET, labelsize=8)
        for side in one.spines.values():
            side.set_color("#c8c3b8")
    return figure, axes


def _save(figure: Any, path: Path) -> None:
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    FigureCanvasAgg(figure).print_png(str(path))


def _wood(axes: Axes, reach: Reach) -> None:
    outline = reach.meridian.outline_points()
    axes.fill(*outline.T, color=WOOD, lw=0, zorder=1)
    axes.plot(*outline.T, color=GRAIN, lw=0.8, zorder=2)
    axes.axhline(0, color=QUIET, lw=0.8, dashes=(12, 3, 2, 3), zorder=2)


def draw_profile(reach: Reach, path: Path) -> None:
    """The profile in the colour of the clearance angle it needs, what is not reached plain to see; both feeds below."""
    from matplotlib.collections import LineCollection

    figure, (top, below) = _new(11, 7.4, 2, (1.15, 1.0))
    m, limit = reach.meridian, reach.terms.limit_deg
    _wood(top, reach)
    lines, colours = [], []
    for piece, a, b in reach.stretches:
        share = np.linspace(a, b, max(int(m.length[piece] * (b - a) / 0.5), 2) + 1)
        mine = np.flatnonzero((reach.places.piece == piece) & reach.reached)
        alpha = np.interp((share[1:] + share[:-1]) / 2, reach.places.share[mine], np.minimum(reach.least[mine], limit))
        p = m.point(np.full(len(share), piece), share)
        lines += list(np.stack([p[:-1], p[1:]], 1))
        colours += list(alpha)
    missed = _missed(reach)
    if missed:
        top.add_collection(LineCollection(missed, colors=MISSED, linewidths=6, zorder=3, capstyle="butt"))
        top.add_collection(LineCollection(missed, colors=PAPER, linewidths=2.2, zorder=4, linestyles=(0, (1, 1))))
    made = LineCollection(lines, cmap="viridis_r", linewidths=4.2, zorder=3, capstyle="butt")
    made.set_array(np.array(colours, float))
    made.set_clim(0, max(limit, 1e-3))
    top.add_collection(made)
    bar = figure.colorbar(made, ax=top, pad=0.01, fraction=0.025)
    bar.set_label("smallest clear clearance angle, deg", color=INK, fontsize=9)
    bar.ax.tick_params(colors=QUIET, labelsize=8)
    top.set_aspect("equal")
    top.set_ylabel("from the lathe's axis, mm", color=INK, fontsize=9)
    top.set_xlabel("along the lathe, mm", color=INK, fontsize=9)
    share_text = f"{reach.length_mm:.1f} of {reach.whole_mm:.1f} mm of profile reached"
    figure.suptitle(
        f"{reach.gouge.recipe.title or reach.gouge.recipe.name}\n{m.title}\n{share_text} within {limit:g}°",
        x=0.01,
        ha="left",
        fontsize=11,
        color=INK,
    )
    handles = [_line(MISSED, 6, "not reached, in neither direction of cut")] if missed else []
    if handles:
        top.legend(handles=handles, loc="lower right", fontsize=8, frameon=False)
    _angles(below, reach)
    _save(figure, path)


def _missed(reach: Reach) -> list[Floats]:
    m = reach.meridian
    out = []
    for piece in np.flatnonzero(m.cut):
        at = 0.0
        mine = sorted((a, b) for i, a, b in reach.stretches if i == piece)
        for a, b in [*mine, (1.0, 1.0)]:
            if a > at + 1e-6:
                share = np.linspace(at, a, 25)
                out.append(m.point(np.full(25, piece), share))
            at = b
    return out


def _line(colour: str, width: float, text: str) -> Any:
    from matplotlib.lines import Line2D

    return Line2D([], [], color=colour, lw=width, label=text)


def _angles(axes: Axes, reach: Reach) -> None:
    m, p = reach.meridian, reach.places
    along = m.along[p.piece] + p.share * m.length[p.piece]
    top = reach.terms.fineness.most_deg
    axes.axhspan(0, reach.terms.limit_deg, color="#dfe8df", zorder=0)
    axes.axhline(reach.terms.limit_deg, color=QUIET, lw=0.8, ls="--")
    for feed, (colour, mark) in enumerate((("#17403f", "o"), ("#7d4a8d", "s"))):
        alpha = reach.alpha[:, feed]
        clear = np.isfinite(alpha)
        axes.plot(
            along,
            np.where(clear, alpha, np.nan),
            color=colour,
            marker=mark,
            ms=3.2 - feed,
            lw=1.2 - 0.3 * feed,
            ls=("-", "--")[feed],
            label=_FEED_LABELS[feed],
            zorder=3 - feed,
        )
        axes.plot(along[~clear], np.full((~clear).sum(), top), "x", color=colour, ms=5, zorder=3, clip_on=False)
    last = ""
    for i in np.flatnonzero(reach.least > 0.05):
        name = part_name(int(reach.part[i, reach.either[i]]))
        if name != last:
            y = min(reach.least[i], top)
            axes.annotate(
                name,
                (along[i], y),
                xytext=(3, 6 if y < top * 0.9 else -12),
                textcoords="offset points",
                fontsize=7.5,
                color=MISSED,
            )
        last = name
    for edge in m.along[m.cut][1:]:
        axes.axvline(edge, color="#d8d2c6", lw=0.6, zorder=0)
    axes.set_ylim(-0.03 * top, top * 1.02)
    axes.set_xlim(0, float(m.length[m.cut].sum()))
    axes.set_xlabel("along the profile, mm", color=INK, fontsize=9)
    axes.set_ylabel("clearance angle needed, deg", color=INK, fontsize=9)
    axes.legend(fontsize=8, frameon=False, loc="upper left", ncols=2, bbox_to_anchor=(0, 1.12))
    axes.text(
        1.0,
        1.02,
        f"red: what stops a smaller angle · crosses: no clear posture up to {top:g}°",
        transform=axes.transAxes,
        ha="right",
        va="bottom",
        fontsize=8,
        color=QUIET,
    )


def feed_words(reach: Reach, place: int, feed: int) -> str:
    """Where a cut goes: to the right or left along the lathe, outward, or toward the axis."""
    x, rho = reach.places.tangent[place] * (1, -1)[feed]
    if abs(x) >= abs(rho):
        return "to the right" if x > 0 else "to the left"
    return "outward" if rho > 0 else "toward the axis"


def draw_standing(reach: Reach, place: int, feed: int, path: Path) -> None:
    """The tool at one place, turned into the meridian plane: each point at its distance from the lathe's axis."""
    from matplotlib.collections import PolyCollection

    figure, (axes,) = _new(10, 6.4)
    body, k = reach.body, reach.index(place, feed)
    turn, shift = placed(body, reach.places, reach.best.postures.take(np.array([k])))
    at = body.corners @ turn[0].T + shift[0]
    flat = np.stack([at[..., 0], np.hypot(at[..., 1], at[..., 2])], -1)
    w = reach.places.point[place]
    head = flat[body.part <= SHANK].reshape(-1, 2)
    _wood(axes, reach)
    for part, tint in PART_TINTS.items():
        mine = flat[body.part == part]
        axes.add_collection(PolyCollection(list(mine), facecolors=tint, edgecolors=tint, linewidths=0.4, zorder=3))
    edge = (turn[0] @ body.point).T + shift[0]
    axes.plot(edge[:, 0], np.hypot(edge[:, 1], edge[:, 2]), color=INK, lw=1.4, zorder=5)
    axes.plot(*w, "o", color=PAPER, mec=INK, ms=7, zorder=6)
    clear = bool(np.isfinite(reach.alpha[place, feed]))
    first = (
        f"clearance angle {reach.alpha[place, feed]:.1f}°"
        if clear
        else f"no posture is clear up to {reach.terms.fineness.most_deg:g}°; the one that digs in least is shown"
    )
    inclination = round(float(reach.lam[place, feed]))
    text = [
        f"x {w[0]:.1f}, radius {w[1]:.1f} mm, cut {feed_words(reach, place, feed)}: {first}",
        f"edge {reach.edge_place[place, feed]:+.1f} mm from the nose, inclination {inclination}°,"
        f" handle swung {reach.swing[place, feed]:+.0f}°",
        reach.held_words(place, feed),
    ]
    axes.annotate(
        "the edge cuts here" if clear else "the edge is to cut here",
        w,
        xytext=(14, -14),
        textcoords="offset points",
        fontsize=9,
        color=INK,
        zorder=7,
        bbox=_BEHIND_WORDS,
    )
    if reach.part[place, feed] >= 0:
        spot = turn[0] @ reach.touch[place, feed] + shift[0]
        spot2 = (spot[0], float(np.hypot(spot[1], spot[2])))
        axes.plot(*spot2, "o", color=TOUCH, ms=8, mec=PAPER, zorder=8)
        axes.annotate(
            f"the {part_name(int(reach.part[place, feed]))} {'touches' if clear else 'is in the wood'} here",
            spot2,
            xytext=(12, 12 if spot2[1] > w[1] else -46),
            textcoords="offset points",
            fontsize=9,
            color=TOUCH,
            zorder=8,
            bbox=_BEHIND_WORDS,
        )
    if not reach.meridian.inside[reach.places.piece[place]]:
        axes.axhline(reach.rest.radius, color=QUIET, lw=3, alpha=0.6, zorder=1)
        axes.text(
            0.01, reach.rest.radius, " rest", color=QUIET, fontsize=8, va="bottom", transform=axes.get_yaxis_transform()
        )
    span = max(float(np.ptp(head[:, 0])), float(np.ptp(head[:, 1])), 45.0)
    half = 0.5 * min(span, 75.0)
    axes.set_aspect("equal")
    axes.set_xlim(w[0] - 1.5 * half, w[0] + 1.5 * half)
    top = max(float(reach.meridian.box[1, 1]) + 18.0, w[1] + 0.7 * half)
    bottom = max(-3.0, w[1] - 1.2 * half)
    axes.set_ylim(bottom, min(top, bottom + 2 * half))
    axes.set_xlabel(
        "along the lathe, mm\nThe tool is drawn by its distances from the lathe's axis: what overlaps the wood would be"
        " in it, and a straight bar looks bent.",
        color=INK,
        fontsize=9,
    )
    axes.set_ylabel("from the lathe's axis, mm", color=INK, fontsize=9)
    axes.set_title(
        "\n".join([reach.gouge.recipe.title or reach.gouge.recipe.name, *text]), loc="left", fontsize=10, color=INK
    )
    _save(figure, path)
