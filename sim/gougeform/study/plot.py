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
from gougeform.present.palette import INK, PAPER
from gougeform.quantity import PLAIN, Unit, unit_of
from gougeform.reach.quantities import EVERY
from gougeform.study.sobol import Indices

if TYPE_CHECKING:
    import pandas
    from matplotlib.figure import Figure

Floats = NDArray[np.float64]

PALE, MARK = "#9fb1bd", "#b3541e"
ACROSS, DOWN = 3, 4
"""Panels of a page, where it is not the fields that say how many stand side by side."""

_MOST_LINES = 40
_MOST_NAMED = 8
_WIDE = 46  # letters above a panel


def words(name: str) -> str:
    """A column's name in words."""
    if name in EVERY:
        return EVERY[name].label
    place, _, plain = name.rpartition(".")
    said = plain.removesuffix(unit_of(name).ending).replace("_", " ")
    if place in ("bar", "flute", "wheel"):
        return f"{place} {said}"
    later = place.startswith("grind.") and place != "grind.0"
    return f"{said} of grind {int(place.split('.')[1]) + 1}" if later else said


def label(name: str) -> str:
    """A column's name as an axis says it: words, and the unit behind a comma."""
    sign = unit_of(name).sign.strip()
    return f"{words(name)}, {sign}" if sign else words(name)


def varying(frame: pandas.DataFrame, names: Sequence[str]) -> list[str]:
    """Those of the columns that hold numbers which differ; outputs by a tenth of the last digit that is ever shown."""
    numbers = [name for name in names if name in frame and frame[name].dtype.kind in "fi"]
    least = {name: 0.1 ** unit_of(name).digits / 10 if name in EVERY else 0.0 for name in numbers}
    spread = {name: frame[name].max() - frame[name].min() for name in numbers}  # NaN, so never more, where all is blank
    return [name for name in numbers if spread[name] > least[name]]


def alike(frame: pandas.DataFrame, names: Sequence[str]) -> dict[str, list[str]]:
    """The columns that vary, each once: the first of those that are the same, and the names of the others."""
    out: dict[str, list[str]] = {}
    for name in varying(frame, names):
        twin = next((one for one in out if np.allclose(frame[one], frame[name], 1e-9, 1e-6, equal_nan=True)), None)
        if twin is None:
            out[name] = []
        else:
            out[twin].append(name)
    return out


def response_curves(
    frame: pandas.DataFrame, inputs: Sequence[str], outputs: Sequence[str] = (), title: str = ""
) -> Figure:
    """One panel for each output and varied field; a line for every combination of the other fields, dots for a sample.

    With one field the panels stand in rows of ACROSS. Raises InputError where nothing varies.
    """
    fields, shown = varying(frame, inputs), alike(frame, outputs or list(EVERY))
    if not fields or not shown:
        raise InputError("vary", "nothing varies that could be drawn", "vary a number, and ask for an output it moves")
    across = len(fields) if len(fields) > 1 else min(ACROSS, len(shown))
    places = [(output, name) for output in shown for name in fields]
    figure, axes = _panels(len(places), across, title)
    for number, (axis, (output, name)) in enumerate(zip(axes, places, strict=True)):
        _response(axis, frame, name, output, inputs)
        axis.set_xlabel(label(name) if number + across >= len(places) else "")
        axis.set_ylabel(_told(output, shown[output]) if number % across == 0 or len(fields) == 1 else "")
        if number >= across or (number and len(fields) == 1) or len(axis.get_legend_handles_labels()[0]) < 2:
            continue
        axis.legend(loc="lower left", bbox_to_anchor=(0, 1), ncols=3, frameon=False, fontsize=7,
                    title=_legend(frame, name, inputs), title_fontsize=7, alignment="left")  # fmt: skip
    return figure


def _others(frame: pandas.DataFrame, name: str, inputs: Sequence[str]) -> tuple[list[str], str | None]:
    """The other fields that change, and the one whose values get colours: the first of names, else the first."""
    others = [one for one in inputs if one != name and frame[one].nunique() > 1]
    few = [one for one in others if frame[one].nunique() <= _MOST_NAMED]
    return others, next((one for one in few if frame[one].dtype.kind not in "fi"), few[0] if few else None)


def _response(axis: Any, frame: pandas.DataFrame, name: str, output: str, inputs: Sequence[str]) -> None:
    others, by = _others(frame, name, inputs)
    groups = _groups(frame, others)
    lined = len(groups) <= _MOST_LINES and len(groups) * 2 <= len(frame)
    if not lined:
        groups = _groups(frame, [by] if by else [])
    colours = {value: _shade(k, frame[by].nunique()) for k, value in enumerate(frame[by].unique())} if by else {}
    named: set[Any] = set()
    for _, group in groups:
        row, value = group.sort_values(name), group[by].iloc[0] if by else ""
        axis.plot(
            row[name],
            row[output],
            linestyle="-" if lined else "",
            marker="." if not lined or len(row) < 30 else "",
            color=colours.get(value, INK),
            linewidth=1.2,
            markersize=2.5,
            label=None if value in named else _short(value),
        )
        named.add(value)


def _legend(frame: pandas.DataFrame, name: str, inputs: Sequence[str]) -> str:
    """What colours and lines of a panel stand for; what changes with the colour in step is not said again."""
    others, by = _others(frame, name, inputs)
    rest = [words(one) for one in others if one != by and len(frame[[one, by]].drop_duplicates()) > frame[by].nunique()]
    return "\n".join(
        [f"colour: {label(by or '')}", *([fill(f"a line for each {', '.join(rest)}", 40)] if rest else [])]
    )


def _short(value: Any, unit: Unit = PLAIN) -> str:
    """A value with its unit, without the digits nobody wrote."""
    return f"{value:.6g}{unit.sign}" if isinstance(value, float) else str(value)


def _told(name: str, twins: Sequence[str], wide: int = 34) -> str:
    return "\n".join(fill(line, wide) for line in (label(name), *(f"= {label(twin)}" for twin in twins)))


def mapped(frame: pandas.DataFrame, inputs: Sequence[str]) -> tuple[pandas.DataFrame, str]:
    """The rows that a heat map shows, of a grid those for the first values of all but two fields, and which these are.

    Raises InputError where fewer than two fields vary.
    """
    fields = varying(frame, inputs)
    if len(fields) < 2:
        raise InputError("vary", f"{len(fields)} field of numbers varies", "a heat map needs two")
    others = [name for name in inputs if name not in fields[:2] and frame[name].nunique() > 1]
    if not others or len(frame) < frame[fields[0]].nunique() * frame[fields[1]].nunique():
        return frame, ""
    part = _groups(frame, others)[0][1]
    return part, "for " + ", ".join(f"{words(name)} {_short(part[name].iloc[0], unit_of(name))}" for name in others)


def heat_maps(frame: pandas.DataFrame, inputs: Sequence[str], outputs: Sequence[str] = (), title: str = "") -> Figure:
    """Each output over the first two fields that vary; where others vary too, for their first values.

    Raises InputError where fewer than two fields vary.
    """
    part, said = mapped(frame, inputs)
    (x, y), shown = varying(part, inputs)[:2], alike(part, outputs or list(EVERY))
    if not shown:
        raise InputError("vary", "no output varies over them", "ask for an output that they move")
    gridded = len(part) >= part[x].nunique() * part[y].nunique()
    title += f"\n{said}" if title and said else ""
    figure, axes = _panels(len(shown), min(ACROSS, len(shown)), title, width=3.6)
    for axis, output in zip(axes, shown, strict=True):
        if gridded:
            table = part.pivot_table(index=y, columns=x, values=output, dropna=False)
            drawn = axis.pcolormesh(table.columns, table.index, table.to_numpy(), shading="nearest", cmap="cividis")
        else:
            drawn = axis.scatter(part[x], part[y], c=part[output], s=9, cmap="cividis")
        axis.set_xlabel(label(x))
        axis.set_ylabel(label(y))
        axis.set_title(_told(output, shown[output], _WIDE), fontsize=8, loc="left")
        bar = figure.colorbar(drawn, ax=axis)
        bar.ax.ticklabel_format(useOffset=False)
        bar.ax.tick_params(labelsize=7)
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
    frame: pandas.DataFrame,
    x: str,
    y: str,
    *,
    more: tuple[bool, bool] = (True, True),
    by: str | None = None,
    title: str = "",
) -> Figure:
    """One output against another, the Pareto front joined and marked; by: a column whose values get own colours."""
    on = front(frame[[x, y]].to_numpy(float), more)
    figure, (axis,) = _panels(1, 1, title, width=6.0, height=4.2)
    groups = _groups(frame, [by] if by else [])
    for number, (name, group) in enumerate(groups):
        axis.plot(group[x], group[y], ".", color=_shade(number, len(groups)), label=_short(name) or "a tool")
    best = frame[on].sort_values(x)
    axis.plot(
        best[x], best[y], "o-", color=MARK, markerfacecolor="none", linewidth=1.2, label="no tool is better in both"
    )
    axis.set_xlabel(f"{label(x)} ({'more' if more[0] else 'less'} is better)")
    axis.set_ylabel(fill(f"{label(y)} ({'more' if more[1] else 'less'} is better)", 60))
    axis.legend(frameon=False, fontsize=8, title=label(by) if by else None, title_fontsize=8, alignment="left")
    return figure


def sensitivities(found: Sequence[Indices], title: str = "") -> Figure:
    """Bars of first-order and total indices with their bounds, one panel for each output.

    Raises InputError where no output varies.
    """
    if not found:
        raise InputError("outputs", "no output varies in this study", "wider ranges, or other outputs")
    figure, axes = _panels(
        len(found), min(ACROSS, len(found)), title, width=3.4, height=0.6 + 0.4 * len(found[0].fields)
    )
    for number, (axis, one) in enumerate(zip(axes, found, strict=True)):
        place = np.arange(len(one.fields))
        for shift, value, bounds, colour, name in (
            (-0.18, one.first, one.first_bounds, MARK, "alone"),
            (0.18, one.total, one.total_bounds, PALE, "with its interactions"),
        ):
            off = np.maximum(np.abs(bounds - value), 0.0)
            axis.barh(place + shift, value, 0.34, xerr=off, color=colour, label=name, error_kw={"elinewidth": 0.8})
        axis.set_yticks(place, [label(name) for name in one.fields] if number % ACROSS == 0 else [])
        axis.invert_yaxis()
        axis.set_title(fill(label(one.output), _WIDE), fontsize=8, loc="left")
        axis.set_xlim(0.0, 1.05)
        axis.set_xlabel("share of the variance" if number + ACROSS >= len(found) else "")
    axes[0].legend(loc="lower left", bbox_to_anchor=(0, 1.12), ncols=2, frameon=False, fontsize=7)
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


def _panels(count: int, columns: int, title: str, width: float = 3.2, height: float = 2.4) -> tuple[Figure, list[Any]]:
    """So many panels, row by row."""
    from matplotlib.figure import Figure

    rows, across = -(-count // columns), width * columns + 0.4
    title = "\n".join(fill(line, int(12 * across)) for line in title.splitlines())
    figure = Figure(
        figsize=(across, height * rows + 0.6 + 0.2 * len(title.splitlines())), layout="constrained", facecolor=PAPER
    )
    if title:
        figure.suptitle(title, x=0.01, ha="left", fontsize=9)
    axes = figure.subplots(rows, columns, squeeze=False).ravel()
    for axis in axes[:count]:
        axis.set_facecolor(PAPER)
        axis.tick_params(labelsize=7, colors=INK)
        axis.ticklabel_format(useOffset=False)
        axis.locator_params(nbins=5)
        axis.xaxis.label.set_size(8)
        axis.yaxis.label.set_size(8)
        axis.spines[["top", "right"]].set_visible(False)
    for axis in axes[count:]:
        axis.set_axis_off()
    return figure, list(axes[:count])
