"""How deep a bevel lies below its own chord, in the planes square to the edge: the largest distance, found exactly.

The bevel is cut by the kernel at three places of the chord. Cubics through depths and slopes say where it may be
furthest from the chord; it is cut there, and again, until no cubic promises more than is found already.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from gougeform.grind.ground import Ground
from gougeform.machine.pose import cross

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

_FIRST = (0.25, 0.5, 0.75)  # of the chord; at the nose a bevel is a circle's arc, deepest right in the middle
_PROMISE = 2e-4  # mm more than is found already that a cubic must promise to be looked at
_DOUBT = 1 / 8  # a ridge in the middle of a piece stands an eighth further off than its cubic, times the bend's jump
_NOISE = 1e-8
_ROUNDS = 40
_BELOW = 0.1  # of the chord: how far below it in the steel the lines begin that look for the bevel
_FURTHEST = 0.75  # of the chord: what lies further off is no bevel that joins its ends; half of it is a half circle
_STEEPEST = 100.0  # slopes beyond this, as at a corner, say no more than that the line stands upright


def hollows(ground: Ground, plane: Floats, point: Floats, normal: Floats, end: Floats, end_normal: Floats) -> Floats:
    """Largest distance (n,) mm of bevels from their chords `point` to `end` (3, n), negative where they bulge out.

    plane: (3, n) unit vectors square to the planes. normal, end_normal: (3, n) the bevel's outward unit normals at the
    chord's ends.
    NaN where there is no end, and where no one line over the chord joins the two: the surface jumps there, is further
    off than three quarters of the chord, or runs round so far that it comes back under the chord's end. Off by less
    than 1e-3 mm (tests/test_convergence.py); where hollow and bulge of one bevel are as large as each other to that,
    either may be given.
    """
    chord = end - point
    length = np.linalg.norm(chord, axis=0)
    out = np.where(np.isnan(length), np.nan, 0.0)
    live = np.flatnonzero(length > 1e-6)
    length = length[live]
    along = chord[:, live] / length
    up = cross(plane[:, live], along)
    up *= np.where((up * normal[:, live]).sum(0) < 0, -1.0, 1.0)

    def slope(which: Ints, steel: Floats) -> Floats:
        """Of the bevel over the chord, the chord's length as unit of t, from normals (3, n)."""
        with np.errstate(invalid="ignore", divide="ignore"):
            rise = -(steel * along[:, which]).sum(0) / (steel * up[:, which]).sum(0)
        return np.clip(rise, -_STEEPEST, _STEEPEST) * length[which]

    def look(which: Ints, t: Floats) -> tuple[Floats, Floats]:
        """Height over the chord and slope of bevels `which` at t (m,); NaN where there is none."""
        below = _BELOW * length[which]
        begin = point[:, live[which]] + t * length[which] * along[:, which] - below * up[:, which]
        cut = ground.cut(begin, up[:, which], from_origin=True)
        height = cut.z - below
        return np.where(np.abs(height) < _FURTHEST * length[which], height, np.nan), slope(which, cut.normal)

    if not len(live):
        return out
    out[live] = np.nan
    who, n = np.arange(len(live)), len(live)
    height, rise = (x.reshape(len(_FIRST), n).T for x in look(np.tile(who, len(_FIRST)), np.repeat(_FIRST, n)))
    ends = [slope(who, x[:, live])[:, None] for x in (normal, end_normal)]
    ends[1][(end_normal[:, live] * up).sum(0) <= 0] = np.nan
    t = np.tile([0.0, *_FIRST, 1.0], (n, 1))
    height = np.concatenate([np.zeros((n, 1)), height, np.zeros((n, 1))], axis=1)
    rise = np.concatenate([ends[0], rise, ends[1]], axis=1)
    for turn in range(_ROUNDS):
        whole = np.isfinite(height).all(1) & np.isfinite(rise).all(1)
        who, t, height, rise = who[whole], t[whole], height[whole], rise[whole]
        top, place, promise = _top(t, height, rise)
        best = height[np.arange(len(who)), np.abs(height).argmax(1)]
        more = promise - np.abs(best) > _PROMISE
        out[live[who[~more]]] = -np.where(np.abs(top) > np.abs(best), top, best)[~more]
        if not more.any():
            break
        who, t, height, rise, place = who[more], t[more], height[more], rise[more], place[more]
        # Two surfaces of a path meet in a ridge, which cubics smooth over: tangents from both sides meet near it.
        place = _meeting(t, height, rise, place) if turn % 2 else place
        found, slopes = look(who, place)
        order = np.argsort(np.column_stack([t, place]), axis=1)
        t, height, rise = (
            np.take_along_axis(np.column_stack(pair), order, 1)
            for pair in ((t, place), (height, found), (rise, slopes))
        )
    return out


def _top(t: Floats, height: Floats, rise: Floats) -> tuple[Floats, Floats, Floats]:
    """Where bevels through heights and slopes at t (n, k) may be furthest from their chords.

    Returns the largest distance (n,) of the cubics inside the pieces between neighbouring places, where to look next,
    and how far off the bevel may be there: where two cubics disagree on how the line bends at the place between them,
    both may be wrong.
    """
    h = np.diff(t, axis=1)
    first, d0, d1 = height[:, :-1], rise[:, :-1] * h, rise[:, 1:] * h
    step = np.diff(height, axis=1)
    two, three = 3 * step - 2 * d0 - d1, d0 + d1 - 2 * step
    q = -(two + np.where(two < 0, -1, 1) * np.sqrt(np.maximum(two**2 - 3 * three * d0, 0.0)))
    with np.errstate(invalid="ignore", divide="ignore"):
        x = np.stack([q / (3 * three), d0 / q])  # both roots of the derivative, without cancellation
    x = np.where((x > 0) & (x < 1), x, 0.5)
    value = first + x * (d0 + x * (two + x * three))
    root = np.abs(value).argmax(0)[None]
    x, value = np.take_along_axis(x, root, 0)[0], np.take_along_axis(value, root, 0)[0]
    square = np.maximum(h, 1e-9) ** 2
    bend = np.abs((2 * two / square)[:, 1:] - ((2 * two + 6 * three) / square)[:, :-1])
    # Heights are good to the kernel's 1e-9: in short pieces that alone makes bends differ.
    bend = np.maximum(bend - _NOISE / np.minimum(square[:, 1:], square[:, :-1]), 0.0)
    doubt = np.zeros_like(h)
    doubt[:, 1:] = bend
    doubt[:, :-1] = np.maximum(doubt[:, :-1], bend)
    may = np.abs(value) + _DOUBT * doubt * square
    row, most, look = np.arange(len(t)), np.abs(value).argmax(1), may.argmax(1)
    inside = np.clip(x[row, look], 0.05, 0.95)  # no place twice
    return value[row, most], t[row, look] + inside * h[row, look], may[row, look]


def _meeting(t: Floats, height: Floats, rise: Floats, place: Floats) -> Floats:
    """Where the tangents at both ends of the piece around `place` (n,) meet; `place` where they do not meet in it."""
    row = np.arange(len(t))
    k = np.clip((t < place[:, None]).sum(1) - 1, 0, t.shape[1] - 2)
    h = t[row, k + 1] - t[row, k]
    with np.errstate(invalid="ignore", divide="ignore"):
        x = (height[row, k + 1] - height[row, k] - rise[row, k + 1] * h) / ((rise[row, k] - rise[row, k + 1]) * h)
    return np.where((x > 0.01) & (x < 0.99), t[row, k] + x * h, place)
