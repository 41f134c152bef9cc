"""Flat patches by their four corners: cutting them up, and the largest of four values."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


def most_of_four(columns: Floats) -> Floats:
    """(n,): the largest of four columns (n, 4)."""
    a = np.maximum(columns[:, 0], columns[:, 1])
    return np.maximum(a, np.maximum(columns[:, 2], columns[:, 3]))


def products(a: NDArray[Any], b: NDArray[Any]) -> NDArray[Any]:
    """(m, k): products of vectors a (m, 3) with b (k, 3), in their own precision.

    Written out: for three components a linear algebra library only adds threads that wait for each other.
    """
    out = a[:, :1] * b[:, 0]
    more = a[:, 1:2] * b[:, 1]
    out += more
    np.multiply(a[:, 2:], b[:, 2], out=more)
    out += more
    return out


def cut_up(row: Ints, which: Ints, corners: Floats) -> tuple[Ints, Ints, Floats]:
    """Halve patches across their longer side, or into four where they are about square."""
    a, b, c, d = (corners[:, i] for i in range(4))
    one = np.maximum(np.linalg.norm(b - a, axis=1), np.linalg.norm(c - d, axis=1))
    two = np.maximum(np.linalg.norm(d - a, axis=1), np.linalg.norm(c - b, axis=1))
    out_row, out_which, out = [row[:0]], [which[:0]], [corners[:0]]
    across, along = one > 1.6 * two, two > 1.6 * one
    for mask, kind in ((across, 0), (along, 1), (~across & ~along, 2)):
        i = np.flatnonzero(mask)
        if not len(i):
            continue
        p, q, r, s = a[i], b[i], c[i], d[i]
        pq, qr, rs, sp = (p + q) / 2, (q + r) / 2, (r + s) / 2, (s + p) / 2
        middle = (pq + rs) / 2
        if kind == 0:
            new = [(p, pq, rs, s), (pq, q, r, rs)]
        elif kind == 1:
            new = [(p, q, qr, sp), (sp, qr, r, s)]
        else:
            new = [(p, pq, middle, sp), (pq, q, qr, middle), (middle, qr, r, rs), (sp, middle, rs, s)]
        for quad in new:
            out.append(np.stack(quad, 1))
            out_row.append(row[i])
            out_which.append(which[i])
    return np.concatenate(out_row), np.concatenate(out_which), np.concatenate(out)
