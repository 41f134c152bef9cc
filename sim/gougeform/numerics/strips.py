"""Triangles between neighbouring chains of vertices, however many vertices each has."""

from __future__ import annotations

from collections import Counter
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Flags = NDArray[np.bool_]


def runs(start: Ints, stop: Ints) -> tuple[Ints, Ints]:
    """The numbers start … stop (both included) of every run one after the other, and the run each belongs to."""
    size = stop - start + 1
    run = np.repeat(np.arange(len(start)), size)
    first = np.cumsum(size) - size
    return start[run] + np.arange(int(size.sum())) - first[run], run


def zipped(
    left: Ints, left_run: Ints, left_key: Floats, right: Ints, right_run: Ints, right_key: Floats, mirrored: Flags
) -> tuple[Ints, Ints]:
    """Fill the strips between a left and a right chain each: triangles (m, 3) and the strip of each (m,).

    left, right: vertex numbers, chain after chain; left_run, right_run: the strip of each, 0 … S - 1, no chain empty.
    The keys grow along each chain from 0 to 1 and say which vertices lie opposite each other. Chain direction ×
    (left to right) is the side the triangles face. mirrored: (S,) cut quads along their other diagonal.
    """
    out, strip = [], []
    left_edge, right_edge = np.flatnonzero(np.diff(left_run) == 0), np.flatnonzero(np.diff(right_run) == 0)
    # On equal keys one side goes first: a nudge of the keys decides which.
    nudge = np.where(mirrored, 1e-9, -1e-9)
    left_end = 2.0 * left_run[left_edge] + left_key[left_edge + 1] + nudge[left_run[left_edge]]
    right_end = 2.0 * right_run[right_edge] + right_key[right_edge + 1]
    # An edge's apex: the other chain's vertex reached so far. Vertices are one more than edges in every strip.
    run = left_run[left_edge]
    apex = np.searchsorted(right_end, left_end) + run
    out.append(np.stack([left[left_edge], left[left_edge + 1], right[apex]], -1))
    strip.append(run)
    run = right_run[right_edge]
    apex = np.searchsorted(left_end, right_end) + run
    out.append(np.stack([left[apex], right[right_edge + 1], right[right_edge]], -1))
    strip.append(run)
    return np.concatenate(out), np.concatenate(strip)


def zipped_pairs(
    a: tuple[Ints, Ints], b: tuple[Ints, Ints], vertex: Ints, key: Floats, mirrored: Flags
) -> tuple[Ints, Ints]:
    """As `zipped`, for strips given as runs a = (start, stop) and b of places in one list of vertices.

    key: (len(vertex),) grows along every run; it is scaled to 0 … 1 on each.
    """

    def side(start: Ints, stop: Ints) -> tuple[Ints, Ints, Floats]:
        place, run = runs(start, stop)
        span = key[stop] - key[start]
        return vertex[place], run, (key[place] - key[start[run]]) / np.where(span > 0, span, 1.0)[run]

    return zipped(*side(*a), *side(*b), mirrored)


class StripPair(NamedTuple):
    """Two runs of places that face each other across a strip, (first, last) each, and what they are part of."""

    left: tuple[int, int]
    right: tuple[int, int]
    label: int


def side_by_side(
    left: list[int], left_at: list[int], right: list[int], right_at: list[int], key: Floats
) -> list[StripPair]:
    """Pair the blocks of two neighbouring chains by their labels, and by keys (n,) of their places where that is open.

    left_at has one place more than left has blocks. A block without a partner closes to a point on the other side; a
    block with several partners is parted where the blocks between those close. Where both sides have blocks without
    a partner at once, these become one pair with label -1.
    """
    if left == right:
        return [
            StripPair((left_at[i], left_at[i + 1]), (right_at[i], right_at[i + 1]), label)
            for i, label in enumerate(left)
        ]
    matches = _with_room(_matches(left, key[left_at], right, key[right_at]), left_at, right_at)
    left, left_at, a_side = _parted(left, left_at, [i for i, _ in matches], key, right_at, [j for _, j in matches])
    right, right_at, b_side = _parted(right, right_at, [j for _, j in matches], key, left_at, a_side)
    out: list[StripPair] = []
    i = j = 0
    for a, b in [*zip(a_side, b_side, strict=True), (len(left), len(right))]:
        if i < a and j < b:
            out.append(StripPair((left_at[i], left_at[a]), (right_at[j], right_at[b]), -1))
        else:
            out += [StripPair((left_at[k], left_at[k + 1]), (right_at[j], right_at[j]), left[k]) for k in range(i, a)]
            out += [StripPair((left_at[a], left_at[a]), (right_at[k], right_at[k + 1]), right[k]) for k in range(j, b)]
        if a < len(left):
            out.append(StripPair((left_at[a], left_at[a + 1]), (right_at[b], right_at[b + 1]), left[a]))
        i, j = a + 1, b + 1
    return out


def _with_room(matches: list[tuple[int, int]], left_at: list[int], right_at: list[int]) -> list[tuple[int, int]]:
    """The matches without those for which a block would have to be parted at more vertices than it has inside."""
    left: Counter[int] = Counter()
    right: Counter[int] = Counter()
    kept = []
    for i, j in matches:
        if left[i] < left_at[i + 1] - left_at[i] and right[j] < right_at[j + 1] - right_at[j]:
            kept.append((i, j))
            left[i] += 1
            right[j] += 1
    return kept


def _parted(
    labels: list[int], at: list[int], used: list[int], key: Floats, other_at: list[int], other: list[int]
) -> tuple[list[int], list[int], list[int]]:
    """Blocks cut in parts where they are used more than once, and the parts used.

    The cut is the vertex nearest to the middle of the blocks on the other side that close there.
    """
    labels, at, parts = list(labels), list(at), []
    shift = 0
    for n, i in enumerate(used):
        if n and used[n - 1] == i:
            shift += 1
            where = i + shift
            first, last = at[where - 1] + 1, at[where] - (used[n:].count(i))
            middle = (key[other_at[other[n - 1] + 1]] + key[other_at[other[n]]]) / 2
            cut = first + int(np.abs(key[first : last + 1] - middle).argmin())
            at.insert(where, cut)
            labels.insert(where, labels[where - 1])
        parts.append(i + shift)
    return labels, at, parts


_Best = tuple[int, float, list[tuple[int, int]]]


def _matches(left: list[int], left_key: Floats, right: list[int], right_key: Floats) -> list[tuple[int, int]]:
    """Which blocks belong together, as pairs of positions in order; a block may have several partners in a row.

    As many blocks as can be get a partner; of several ways to do so the one whose partners lie side by side longest.
    """
    none: _Best = (0, 0.0, [])
    best = [[none] * (len(right) + 1) for _ in range(len(left) + 1)]
    for i, a in enumerate(left):
        for j, b in enumerate(right):
            options = [best[i][j + 1], best[i + 1][j]]
            if a == b:
                shared = float(min(left_key[i + 1], right_key[j + 1]) - max(left_key[i], right_key[j]))
                # With a new partner on both sides, or beside one that has a partner already.
                for count, side, pairs in (best[i][j], best[i][j + 1], best[i + 1][j]):
                    again = bool(pairs) and (pairs[-1][0] == i or pairs[-1][1] == j)
                    options.append((count + (1 if again else 2), side + shared, [*pairs, (i, j)]))
            best[i + 1][j + 1] = max(options, key=lambda one: one[:2])
    return best[-1][-1][2]


def polylines(segments: list[tuple[int, int]]) -> tuple[Ints, ...]:
    """Join pieces (from, to), given in order from left to right, into lines of vertex numbers."""
    lines: list[list[int]] = []
    open_at: dict[int, list[int]] = {}
    for a, b in segments:
        line = open_at.pop(a, None)
        if line is None:
            line = [a]
            lines.append(line)
        line.append(b)
        open_at[b] = line
    return tuple(np.array(line, np.intp) for line in lines)
