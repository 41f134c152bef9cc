"""Roots of many functions of one variable at once, each inside its own bracket."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

_NEARLY = 1e-3  # of the value before: from there on Newton's steps close in


def bracketed_roots(
    value: Callable[[Ints, Floats], Floats],
    low: Floats,
    high: Floats,
    value_low: Floats,
    value_high: Floats,
    *,
    width: float,
    small: float = 0.0,
    steps: int = 100,
) -> Floats:
    """(n,) roots between low and high (n,), where the values (n,) have opposite signs.

    value(which, x) evaluates the functions `which` (m,) at x (m,). A bracket narrower than `width`
    or a value up to `small` is done.
    Chandrupatla's method (Advances in Engineering Software 28, 1997): inverse quadratic where that is safe, halving
    otherwise. An infinite value counts by its sign alone.
    """
    a, b, c = high.astype(float), low.astype(float), high.astype(float)
    fa, fb, fc = value_high.astype(float), value_low.astype(float), value_high.astype(float)
    part = np.full(len(a), 0.5)
    todo = np.flatnonzero((np.abs(fa) > small) & (np.abs(fb) > small))
    for _ in range(steps):
        if not len(todo):
            break
        x = a[todo] + part[todo] * (b[todo] - a[todo])
        fx = value(todo, x)
        same = np.sign(fx) == np.sign(fa[todo])
        c[todo], fc[todo] = np.where(same, a[todo], b[todo]), np.where(same, fa[todo], fb[todo])
        b[todo], fb[todo] = np.where(same, b[todo], a[todo]), np.where(same, fb[todo], fa[todo])
        a[todo], fa[todo] = x, fx
        with np.errstate(invalid="ignore", divide="ignore"):
            xi = (a[todo] - b[todo]) / (c[todo] - b[todo])
            phi = (fa[todo] - fb[todo]) / (fc[todo] - fb[todo])
            quadratic = fa[todo] / (fb[todo] - fa[todo]) * fc[todo] / (fb[todo] - fc[todo]) + (c[todo] - a[todo]) / (
                b[todo] - a[todo]
            ) * fa[todo] / (fc[todo] - fa[todo]) * fb[todo] / (fc[todo] - fb[todo])
            safe = (phi**2 < xi) & ((1 - phi) ** 2 < 1 - xi) & np.isfinite(quadratic)
            gap = np.abs(b[todo] - a[todo])
            edge = np.minimum(0.5 * width / gap, 0.5)
        part[todo] = np.clip(np.where(safe, quadratic, 0.5), edge, 1 - edge)
        todo = todo[(gap > width) & (np.abs(fx) > small)]
    return np.where(np.abs(fa) <= np.abs(fb), a, b)


def newton_roots(
    value: Callable[[Ints, Floats], tuple[Floats, Floats]],
    low: Floats,
    high: Floats,
    at_low: tuple[Floats, Floats],
    at_high: tuple[Floats, Floats],
    *,
    width: float,
    small: float,
    steps: int = 100,
) -> Floats:
    """(n,) roots between low and high (n,), where the values have opposite signs, of functions with known slopes.

    value(which, x) gives values and slopes (m,) of the functions `which` (m,) at x (m,); at_low and at_high are those
    at the ends. A bracket narrower than `width` or a value up to `small` is done. Begins at the root of the cubic
    through both ends; Newton's step where it stays in the bracket, halving otherwise and at every fourth step. An
    infinite value counts by its sign alone.
    """
    a, b = low.astype(float), high.astype(float)
    sign = np.sign(at_low[0])
    best, least = np.where(np.abs(at_low[0]) <= np.abs(at_high[0]), a, b), np.minimum(*np.abs([at_low[0], at_high[0]]))
    x = _cubic_root(a, b, at_low, at_high)
    todo = np.flatnonzero(least > small)
    for step in range(steps):
        if not len(todo):
            break
        now = x[todo]
        f, slope = value(todo, now)
        before = np.sign(f) == sign[todo]
        a[todo], b[todo] = np.where(before, now, a[todo]), np.where(before, b[todo], now)
        with np.errstate(invalid="ignore", divide="ignore"):
            newton = now - f / slope
        inside = (newton > a[todo]) & (newton < b[todo]) & (step % 4 != 3)
        # Steps shrink the value by more than the last one did: where that leaves nothing, it is not looked up again.
        known = np.where(np.isfinite(least[todo]), least[todo], 0.0)
        settled = inside & (np.abs(f) < _NEARLY * known) & (f * f < small * known)
        better = np.abs(f) <= least[todo]
        best[todo] = np.where(settled, newton, np.where(better, now, best[todo]))
        least[todo] = np.where(settled, 0.0, np.where(better, np.abs(f), least[todo]))
        x[todo] = np.where(inside, newton, (a[todo] + b[todo]) / 2)
        todo = todo[(b[todo] - a[todo] > width) & (least[todo] > small)]
    return best


def _cubic_root(a: Floats, b: Floats, at_a: tuple[Floats, Floats], at_b: tuple[Floats, Floats]) -> Floats:
    """(n,) inside (a, b): root of the cubic with values and slopes at its ends; the middle where one is infinite."""
    (fa, da), (fb, db), h = at_a, at_b, b - a
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        t = fa / (fa - fb)
        for _ in range(4):
            s = 1 - t
            f = (1 + 2 * t) * s * s * fa + t * s * s * h * da + t * t * (3 - 2 * t) * fb - t * t * s * h * db
            df = 6 * t * s * (fb - fa) + s * (1 - 3 * t) * h * da + t * (3 * t - 2) * h * db
            nxt = t - f / df
            t = np.where((nxt > 0) & (nxt < 1), nxt, t)
    return np.where((t > 0) & (t < 1), a + t * h, (a + b) / 2)
