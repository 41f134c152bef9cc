"""Exact volumes of ground heads: integrals of the height h(x, y) over the steel's section, with no mesh.

Gauss quadrature along the rays of `gougeform.measure.fan` and across them, split wherever the integrand has a kink: at
the outline's corners, at the floor, and where one surface hands over to another.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.grind.gouge import Gouge
from gougeform.grind.ground import Ground
from gougeform.measure.columns import crossings
from gougeform.measure.fan import Columns, Fan, build_fan, joined
from gougeform.measure.winners import Height, hand_overs, surfaces

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

_PANELS = 24  # between lip and floor on each side, before corners and hand-overs add theirs
_ACROSS = 6  # Gauss points in a panel of full width; narrow ones between corners of a measured outline need fewer
_ALONG = 8  # Gauss points on each half of a stretch along a ray
_SAME = 1e-9  # rad: panel borders closer than this are one
_WHERE_TO_LOOK = (1 - np.cos(np.linspace(0, np.pi, 9))) / 2


def height_integral(fan: Fan, heights: Sequence[Height], fineness: float = 1) -> float:
    """Integral of the lowest of some heights over the steel's section, mm³.

    fineness: 2 halves all panels, 0.5 doubles their width, to see how far the result is settled. Raises InputError
    where no height is finite.
    """
    borders = panels(fan, heights, fineness)
    width = np.diff(borders.phi)
    full = (fan.phi_right - fan.phi_left) / (2 * _PANELS * fineness)
    order = np.clip(np.ceil(_ACROSS * width / full), 2, _ACROSS).astype(np.intp)
    phi, weight = [], []
    for q in np.unique(order):
        x, w = gauss(int(q))
        mine = np.flatnonzero(order == q)
        phi.append((borders.phi[mine, None] + width[mine, None] * x).ravel())
        weight.append((width[mine, None] * w).ravel())
    columns = fan.at(np.concatenate(phi))
    column, low, high, which = _stretches(columns, heights)
    x, w = gauss(_ALONG)
    x, w = _repeated(x, w, round(2 * fineness))
    t = low[:, None] + (high - low)[:, None] * x
    place, number = np.repeat(column, len(x)), np.repeat(which, len(x))
    points = columns.point(place, t.ravel())
    z = np.empty(len(points))
    for i, height in enumerate(heights):
        mine = np.flatnonzero(number == i)
        if len(mine):
            z[mine] = height(points[mine])[0]
    missed = np.flatnonzero(~np.isfinite(z))
    if len(missed):
        at_x, at_y = points[missed[0]]
        raise InputError(
            "grind",
            f"no pose of the path brings the wheel to the bar at x = {at_x:.2f}, y = {at_y:.2f} mm,"
            " so there is no volume to compute",
            "a wider wheel, a longer path, or another setting of the jig",
        )
    distance = np.hypot(*(points - fan.pole).T)
    along = (w * (high - low)[:, None]).ravel() * columns.length[place]
    return float((np.concatenate(weight)[place] * along * distance * z).sum())


def head_volume_mm3(gouge: Gouge, depth: float, fineness: float = 1) -> float:
    """Volume (mm³) of ground steel ahead of the plane z = -depth, which lies behind the whole ground face."""
    fan = build_fan(gouge.section)
    return height_integral(fan, surfaces(gouge.ground, depth), fineness)


def steel_removed_mm3(
    gouge: Gouge, older_ground: Ground | None = None, setback: float = 0.0, fineness: float = 1
) -> float:
    """Volume (mm³) between the older shape and the new one, the new one set back along the bar by `setback` mm.

    The older shape is `older_ground`, else the recipe's older tool, else a square end at z = 0; steel that the new
    shape would have in front of the older one counts as nothing.
    """
    fan = build_fan(gouge.section)
    if older_ground is None and gouge.older is not None:
        older_ground = gouge.older.ground
    new = surfaces(gouge.ground, -setback)
    if older_ground is None:
        return -height_integral(fan, [_square_end, *new], fineness)
    old = surfaces(older_ground)
    return height_integral(fan, old, fineness) - height_integral(fan, [*old, *new], fineness)


def _square_end(points: Floats) -> tuple[Floats, Floats]:
    return np.zeros(len(points)), np.zeros((2, len(points)))


def panels(fan: Fan, heights: Sequence[Height], fineness: float) -> Columns:
    """Columns between which the integral along a ray is smooth in phi; fineness: 2 halves them."""
    n = round(_PANELS * fineness) + 1
    even = np.concatenate([np.linspace(fan.phi_left, np.pi, n)[1:-1], np.linspace(np.pi, fan.phi_right, n)[1:-1]])
    borders = joined(fan.lips, fan.corners, fan.at(even))
    if len(heights) > 1:
        borders = joined(borders, crossings(fan, borders, heights))
    return borders.take(np.concatenate([[True], np.diff(borders.phi) > _SAME]))


def _stretches(columns: Columns, heights: Sequence[Height]) -> tuple[Ints, Floats, Floats, Ints]:
    """Parts of the columns with one lowest height: column, t from and to, and which height."""
    n = len(columns)
    every = np.arange(n)
    if len(heights) == 1:
        return every, np.zeros(n), np.ones(n), np.zeros(n, np.intp)
    found = hand_overs(columns.point, n, _WHERE_TO_LOOK, heights)
    column = np.concatenate([every, found.line])
    low = np.concatenate([np.zeros(n), found.t])
    which = np.concatenate([found.first, found.after])
    order = np.lexsort((low, column))
    column, low, which = column[order], low[order], which[order]
    last = np.concatenate([column[1:] != column[:-1], [True]])
    return column, low, np.where(last, 1.0, np.concatenate([low[1:], [1.0]])), which


def gauss(order: int) -> tuple[Floats, Floats]:
    """Gauss nodes and weights (order,) each, on 0 … 1."""
    x, w = np.polynomial.legendre.leggauss(order)
    return (x + 1) / 2, w / 2


def _repeated(x: Floats, w: Floats, parts: int) -> tuple[Floats, Floats]:
    """The same rule on each of `parts` equal pieces of 0 … 1."""
    return ((np.arange(parts)[:, None] + x) / parts).ravel(), np.tile(w / parts, parts)
