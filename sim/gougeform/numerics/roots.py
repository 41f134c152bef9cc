"""Roots of many functions of one variable at once, each inside its own bracket."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


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
