"""Curves on the ground surface, sampled with their derivatives and met by planes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_STEPS = 60  # as many halvings end at the last digit; two or three of Newton's steps are usual
_ON_PLANE_MM = 1e-12


def hermite(p0: Floats, p1: Floats, d0: Floats, d1: Floats, t: Floats) -> Floats:
    """Cubic with end values p0, p1 (…, n) and end derivatives d0, d1 (…, n) at t (n,) in 0 … 1."""
    a, b = (1 + 2 * t) * (1 - t) ** 2, t * (1 - t) ** 2
    return a * p0 + (1 - a) * p1 + b * d0 - t * t * (1 - t) * d1


def through(x: Floats, y: Floats, at: float) -> float:
    """Y at one place, by the polynomial through a few samples x (n,), y (n,)."""
    xs, ys = x.tolist(), y.tolist()  # a few plain numbers are quicker than arrays
    total = 0.0
    for i, (xi, yi) in enumerate(zip(xs, ys, strict=True)):
        part = yi
        for j, xj in enumerate(xs):
            if j != i:
                part *= (at - xj) / (xi - xj)
        total += part
    return float(total)


def local_cubic(x: Floats, y: Floats, at: float) -> float:
    """Y at one place, by the cubic through the four nearest of growing samples x (n,), y (n,)."""
    k = int(np.clip(np.searchsorted(x, at) - 2, 0, len(x) - 4))
    return through(x[k : k + 4], y[k : k + 4], at)


@dataclass(frozen=True, eq=False)
class Curve:
    """A curve on the ground surface: m samples joined by cubics.

    point, normal: (3, m); start, stop: (3, m - 1) derivatives at both ends of every piece, by a parameter 0 … 1 on it.
    """

    point: Floats
    start: Floats
    stop: Floats
    normal: Floats

    def meet(self, plane: Floats, through: Floats, j: NDArray[np.intp]) -> tuple[Floats, Floats]:
        """Points (3, n) where pieces j (n,) meet planes of normal `plane` through points `through`, and the normals.

        Newton's steps, kept inside the bracket: a curve that nearly runs along the plane wants many of them. A piece
        whose ends lie on the same side gives the end that the steps come to.
        """
        p0, p1, d0, d1 = self.point[:, j], self.point[:, j + 1], self.start[:, j], self.stop[:, j]
        f0, f1 = (plane * (p0 - through)).sum(0), (plane * (p1 - through)).sum(0)
        t = np.clip(f0 / np.where(f0 == f1, 1.0, f0 - f1), 0.0, 1.0)
        low, high = np.zeros(len(t)), np.ones(len(t))
        for _ in range(_STEPS):
            q = hermite(p0, p1, d0, d1, t)
            f = (plane * (q - through)).sum(0)
            if (np.abs(f) <= _ON_PLANE_MM).all():
                break
            speed = 6 * t * (1 - t) * (p1 - p0) + (1 - t) * (1 - 3 * t) * d0 + t * (3 * t - 2) * d1
            df = (plane * speed).sum(0)
            before = (f > 0) == (f0 > 0)
            low, high = np.where(before, t, low), np.where(before, high, t)
            step = t - f / np.where(np.abs(df) > 1e-12, df, np.inf)
            t = np.where((step >= low) & (step <= high), step, (low + high) / 2)
        normal = (1 - t) * self.normal[:, j] + t * self.normal[:, j + 1]
        return hermite(p0, p1, d0, d1, t), normal / np.linalg.norm(normal, axis=0)

    def crosses(self, plane: Floats, through: Floats) -> NDArray[np.bool_]:
        """(n, m - 1): which pieces meet the planes of normal `plane` through points `through` ((3, n) each)."""
        off = plane.T @ self.point - (plane * through).sum(0)[:, None]
        return off[:, :-1] * off[:, 1:] <= 0
