"""Flat patches by their four corners: cutting them up, the largest of values; and tables of points as they stand."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Singles = NDArray[np.float32]


def most_of_four(columns: NDArray[Any]) -> NDArray[Any]:
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


def cut_up(
    row: Ints, which: Ints, corners: Floats, d: Floats, measure: Callable[[Floats], Floats]
) -> tuple[Ints, Ints, Floats, Floats]:
    """Halve patches with corners (n, 4, 3) mm across their longer side, or into four where they are about square.

    d: (n, 4) a value at each corner; `measure` gives it (k,) at points (k, 3). It is asked at new corners only, each
    once.
    """
    a, b, c, e = (corners[:, i] for i in range(4))
    one = np.maximum(_square(b - a), _square(c - e))
    two = np.maximum(_square(e - a), _square(c - b))
    across, along = one > 2.56 * two, two > 2.56 * one  # 1.6 times as long
    plans: list[tuple[Ints, list[Floats], list[tuple[int, ...]]]] = []
    for mask, kind in ((across, 0), (along, 1), (~across & ~along, 2)):
        i = np.flatnonzero(mask)
        if len(i):
            p, q, r, s = a[i], b[i], c[i], e[i]
            # Numbers of points: 0 to 3 the corners, then the middles of the sides, at last the middle.
            if kind == 0:
                plans.append((i, [(p + q) / 2, (r + s) / 2], [(0, 4, 5, 3), (4, 1, 2, 5)]))
            elif kind == 1:
                plans.append((i, [(q + r) / 2, (s + p) / 2], [(0, 1, 4, 5), (5, 4, 2, 3)]))
            else:
                pq, rs = (p + q) / 2, (r + s) / 2
                new = [pq, (q + r) / 2, rs, (s + p) / 2, (pq + rs) / 2]
                plans.append((i, new, [(0, 4, 8, 7), (4, 1, 5, 8), (8, 5, 2, 6), (7, 8, 6, 3)]))
    if not plans:
        return row[:0], which[:0], corners[:0], d[:0]
    fresh = measure(np.concatenate([point for _, new, _ in plans for point in new]))
    out: tuple[list[Ints], list[Ints], list[Floats], list[Floats]] = ([], [], [], [])
    begin = 0
    for i, new, quads in plans:
        mine = fresh[begin : begin + len(new) * len(i)].reshape(len(new), len(i))
        begin += mine.size
        points = np.concatenate([corners[i], np.stack(new, 1)], 1)
        values = np.concatenate([d[i], mine.T], 1)
        for quad in quads:
            out[0].append(row[i])
            out[1].append(which[i])
            out[2].append(points[:, quad])
            out[3].append(values[:, quad])
    return np.concatenate(out[0]), np.concatenate(out[1]), np.concatenate(out[2]), np.concatenate(out[3])


def _square(v: Floats) -> Floats:
    return np.einsum("ij,ij->i", v, v)


def balls(corners: Floats) -> tuple[Floats, Floats]:
    """Middles (n, 3) of patches with corners (n, 4, 3), and how far (n,) their corners are from them at most."""
    middle = (corners[:, 0] + corners[:, 1] + corners[:, 2] + corners[:, 3]) / 4
    off = corners - middle[:, None]
    return middle, np.sqrt(most_of_four(np.einsum("nij,nij->ni", off, off)))


def stand(turn: Floats, shift: Floats, points: Floats) -> tuple[Floats, Floats]:
    """Place along the lathe and distance from its axis (n, k) of tool points (k, 3), turned and shifted (n, 3, 3)."""
    at = products(turn.reshape(-1, 3), points).reshape(len(turn), 3, -1) + shift[:, :, None]
    return at[:, 0], np.sqrt(at[:, 1] ** 2 + at[:, 2] ** 2)


def moved(points: Singles, turn: Singles, shift: Singles) -> tuple[Singles, Singles, Singles]:
    """Placed coordinates (m, k) of points (m, k, 3) under turns (m, 3, 3) and shifts (m, 3), written out."""
    x, y, z = points[..., 0], points[..., 1], points[..., 2]
    first, second, third = (
        x * turn[:, i, 0, None] + y * turn[:, i, 1, None] + z * turn[:, i, 2, None] + shift[:, i, None]
        for i in range(3)
    )
    return first, second, third


def largest(value: NDArray[np.float32], first: Ints) -> Ints:
    """Where in the flat table (m, k) the largest value of each run of rows is; runs begin at `first`."""
    k = value.argmax(1)
    most = value[np.arange(len(value)), k]
    run = np.repeat(np.arange(len(first)), np.diff(np.append(first, len(value))))
    row = np.flatnonzero(most == np.maximum.reduceat(most, first)[run])
    row = row[np.unique(run[row], return_index=True)[1]]
    return row * value.shape[1] + k[row]
