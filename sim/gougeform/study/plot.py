"""Figures of a study: response curves, heat maps, one output against another with its Pareto front, sensitivities.

Each function returns a matplotlib Figure that belongs to no window; the caller saves or shows it.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.quantity import unit_of
from gougeform.reach.quantities import EVERY
from gougeform.study.sobol import Indices

if TYPE_CHECKING:
    import pandas
    from matplotlib.figure import Figure

Floats = NDArray[np.float64]

INK, PALE, MARK = "#22313f", "#9fb1bd", "#b3541e"
_MOST_PANELS = 12
_MOST_LINES = 40
_MOST_NAMED = 8
_NOISE = 1e-9  # of the largest value or 1: what a kept angle moves by is not to be drawn as a curve


def label(name: str) -> str:
    """A column's name as an axis says it: words, and the unit behind a comma."""
    if name in EVERY:
        words, unit = EVERY[name].label, EVERY[name].of.unit
    else:
        plain = name.split(".")[-1] if not name.startswith("grind.") else ".".join(name.split(".")[2:]) or name
        unit = unit_of(plain)
        words = plain.removesuffix(unit.ending).replace("_", " ") or plain
    return f"{words}, {unit.sign.strip()}" if unit.sign else words


def varying(frame: pandas.DataFrame, names: Sequence[str]) -> list[str]:
    """Those of the columns that hold numbers which differ by more than their last digits."""
    numbers = [name for name in names if name in frame and frame[name].dtype.kind in "fi"]
    spread = {name: frame[name].max() - frame[name].min() for name in numbers}  # NaN, so never more, where all is blank
    return [name for name in numbers if spread[name] > _NOISE * max(frame[name].abs().max(), 1.0)]


def response_curves(frame: pandas.DataFrame, inputs: Sequence[str], outputs: Sequence[str] = ()) -> Figure:
    """One panel for each output and varied field; a line for every combination of the other fields, dots for a sample.

    With one field the panels stand in rows of three. Raises InputError where nothing varies.
    """
    fields = varying(frame, inputs)
    shown = varying(frame, outputs or [name for name in frame if name in EVERY])[:_MOST_PANELS]
    if not fields or not shown:
        raise InputError("vary", "nothing varies that could be drawn", "vary a number, and ask for an output it moves")
    across = len(fields) if len(fields) > 1 else min(3, len(shown))
    figure, axes = _panels(-(-len(shown) * len(fields) // across), across)
    places = [(output, name) for output in shown for name in fields]
    for number, (axis, (output, name)) in enumerate(zip(axes.ravel(), places, strict=False)):
        others = [other for other in inputs if other != name]
        _response(axis, frame, name, output, others)
        axis.set_xlabel(label(name) if number + across >= len(places) else "")
        axis.set_ylabel(fill(label(output), 34) if number % across == 0 or len(fields) == 1 else "")
    for axis in axes.ravel()[len(places) :]:
        axis.set_axis_off()
    named = axes[0, 0].get_legend_handles_labels()
    if 1 < len(named[0]) <= _MOST_NAMED:
        figure.legend(*named, loc="outside upper left", ncols=4, frameon=False, fontsize=7)
    return figure


def _response(axis: Any, frame: pandas.DataFrame, name: str, output: str, others: Sequence[str]) -> None:
    groups = _groups(frame, others)
    lined = len(groups) <= _MOST_LINES and len(groups) * 2 <= len(frame)
    for number, (values, group) in enumerate(groups if lined else [("", frame)]):
        row = group.sort_values(name)
        axis.plot(
            row[name],
            row[output],
            linestyle="-" if lined else "",
            marker="." if not lined or len(row) < 30 else "",
            color=_shade(number, len(groups)) if lined else INK,
            linewidth=1.2,
            markersize=2.5,
            label=_told(values),
        )


def _told(values: Any) -> str:
    """What a line stands for: its values of the other fields, numbers without the digits nobody wrote."""
    each = values if isinstance(values, tuple) else (values,)
    return ", ".join(f"{value:.6g}" if isinstance(value, float) else str(value) for value in each)


def heat_maps(frame: pandas.DataFrame, inputs: Sequence[str], outputs: Sequence[str] = ()) -> Figure:
    """Each output over the first two fields that vary; where others vary too, for their first values.

    Raises InputError where fewer than two fields vary.
    """
    fields = varying(frame, inputs)
    shown = varying(frame, outputs or [name for name in frame if name in EVERY])[:_MOST_PANELS]
    if len(fields) < 2 or not shown:
        raise InputError("vary", f"{len(fields)} field of numbers varies", "a heat map needs two")
    x, y = fields[:2]
    others = [name for name in inputs if name not in (x, y)]
    gridded = len(frame) >= frame[x].nunique() * frame[y].nunique()
    part = _groups(frame, others)[0][1] if gridded else frame
    columns = min(3, len(shown))
    figure, axes = _panels(-(-len(shown) // columns), columns, width=3.6)
    for axis, output in zip(axes.ravel(), shown, strict=False):
        if gridded:
            table = part.pivot_table(index=y, columns=x, values=output, dropna=False)
            drawn = axis.pcolormesh(table.columns, table.index, table.to_numpy(), shading="nearest", cmap="cividis")
        else:
            drawn = axis.scatter(part[x], part[y], c=part[output], s=9, cmap="cividis")
        axis.set_xlabel(label(x))
        axis.set_ylabel(label(y))
        bar = figure.colorbar(drawn, ax=axis)
        bar.set_label(label(output), size=8)
        bar.ax.tick_params(labelsize=7)
    for axis in axes.ravel()[len(shown) :]:
        axis.set_axis_off()
    return figure


def front(values: Floats, more: Sequence[bool]) -> NDArray[np.bool_]:
    """(n,): which of n points (n, d) no other point beats in one column without losing in another.

    more: for each column, whether more is better. Points with a NaN are never on the front.
    """
    signed = np.where(more, -1.0, 1.0) * np.asarray(values, float)
    on = np.zeros(len(signed), bool)
    good = np.flatnonzero(np.isfinite(signed).all(1))
    # Sorted by the first column, a point can only be beaten by one that is on the front already.
    for i in good[np.lexsort(signed[good].T[::-1])]:
        kept = signed[on]
        beaten = ((kept <= signed[i]).all(1) & (kept < signed[i]).any(1)).any()
        on[i] = not beaten
    return on


def against(
    frame: pandas.DataFrame, x: str, y: str, *, more: tuple[bool, bool] = (True, True), by: str | None = None
) -> Figure:
    """One output against another, the Pareto front joined and marked; by: a column whose values get own colours."""
    on = front(frame[[x, y]].to_numpy(float), more)
    figure, axes = _panels(1, 1, width=6.0, height=4.2)
    axis = axes[0, 0]
    for number, (name, group) in enumerate(_groups(frame, [by] if by else [])):
        axis.plot(group[x], group[y], ".", color=_shade(number, len(frame[by].unique()) if by else 1), label=str(name))
    best = frame[on].sort_values(x)
    axis.plot(
        best[x], best[y], "o-", color=MARK, markerfacecolor="none", linewidth=1.2, label="no tool is better in both"
    )
    axis.set_xlabel(f"{label(x)} ({'more' if more[0] else 'less'} is better)")
    axis.set_ylabel(f"{label(y)} ({'more' if more[1] else 'less'} is better)")
    axis.legend(frameon=False, fontsize=8)
    return figure


def sensitivities(found: Sequence[Indices]) -> Figure:
    """Bars of first-order and total indices with their bounds, one panel for each output.

    Raises InputError where no output varies.
    """
    if not found:
        raise InputError("outputs", "no output varies in this study", "wider ranges, or other outputs")
    columns = min(3, len(found))
    figure, axes = _panels(-(-len(found) // columns), columns, width=3.4, height=0.5 + 0.55 * len(found[0].fields))
    for axis, one in zip(axes.ravel(), found, strict=False):
        place = np.arange(len(one.fields))
        for shift, value, bounds, colour, name in (
            (-0.18, one.first, one.first_bounds, MARK, "alone"),
            (0.18, one.total, one.total_bounds, PALE, "with its interactions"),
        ):
            off = np.maximum(np.abs(bounds - value), 0.0)
            axis.barh(place + shift, value, 0.34, xerr=off, color=colour, label=name, error_kw={"elinewidth": 0.8})
        axis.set_yticks(place, [label(name) for name in one.fields], fontsize=7)
        axis.invert_yaxis()
        axis.set_title(label(one.output), fontsize=9)
        axis.set_xlim(min(0.0, float(one.first_bounds.min())), None)
        axis.set_xlabel("share of the variance; lines: 95 % of resamples")
    axes.ravel()[0].legend(frameon=False, fontsize=7)
    for axis in axes.ravel()[len(found) :]:
        axis.set_axis_off()
    return figure


def save(figure: Figure, path: Path) -> None:
    """Write a figure as PNG."""
    figure.savefig(path, dpi=130, metadata={"Software": None})


def _groups(frame: pandas.DataFrame, others: Sequence[str]) -> list[tuple[Any, pandas.DataFrame]]:
    if not others:
        return [("", frame)]
    return list(frame.groupby(others[0] if len(others) == 1 else list(others), sort=False))


def _shade(number: int, count: int) -> Any:
    from matplotlib import colormaps

    return colormaps["viridis"](0.15 + 0.7 * number / max(count - 1, 1)) if count > 1 else INK


def _panels(rows: int, columns: int, width: float = 3.2, height: float = 2.5) -> tuple[Figure, Any]:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width * columns + 0.4, height * rows + 0.5), layout="constrained")
    axes = figure.subplots(rows, columns, squeeze=False)
    for axis in axes.ravel():
        axis.tick_params(labelsize=7, colors=INK)
        axis.ticklabel_format(useOffset=False)
        axis.locator_params(nbins=5)
        axis.xaxis.label.set_size(8)
        axis.yaxis.label.set_size(8)
        axis.spines[["top", "right"]].set_visible(False)
    return figure, axes
