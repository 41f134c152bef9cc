"""How a posture is held, as an instructor says it: height of the cut, handle, and where the flute looks.

Seen by the person at the lathe: x to the right, up, and toward the person. Lengths mm, angles rad here.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from gougeform.numerics.compiled import compiled
from gougeform.reach.body import Body, Tree
from gougeform.reach.hold import held
from gougeform.reach.posture import Places, Postures, at_edge, placed

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

_HOURS = ("twelve", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven")


@compiled
def _heights(
    tree: Tree, places: Floats, which: Ints, edge: Floats, lam: Floats, alpha: Floats, hold: Floats, out: Floats
) -> None:
    frame, axis = out[len(which), :12], out[len(which), 12:]
    for i in range(len(which)):
        at_edge(tree, edge[i], frame)
        out[i, 0] = held(hold, frame, places[which[i]], lam[i], alpha[i], 0.0, 0.0, axis)


def stances(body: Body, places: Places, postures: Postures, hold: Floats) -> Floats:
    """(n, 3): height of the cut above centre, handle below level, and the flute's place on a clock (rad from twelve).

    Each at the height at which it is best to hold, NaN where none is; hold: (25,) of `Hold.terms`. The clock is seen
    from the handle along the bar.
    """
    out = np.empty((len(postures) + 1, 18))
    _heights(body.tree, places.rows, *postures.columns, hold, out)
    height = out[:-1, 0]
    turn, _ = placed(body, places, postures)
    back, flute = person(-turn[:, :, 2], height), person(turn[:, :, 1], height)
    up = np.array([0.0, 1.0, 0.0]) - back * back[:, 1:2]
    # Of x, up and toward the person, x × up points toward the person; the way forward crossed with up is right.
    right = np.cross(-back, up)
    return np.stack(
        [height, -np.arcsin(np.clip(back[:, 1], -1, 1)), np.arctan2((flute * right).sum(1), (flute * up).sum(1))], -1
    )


def person(direction: Floats, height: Floats) -> Floats:
    """(n, 3): directions (n, 3) from placed coordinates into x, up, and toward the person; height (n,) of the cut."""
    x, n, v = direction.T
    c, s = np.cos(height), np.sin(height)
    return np.stack([x, n * s - v * c, n * c + v * s], -1)


def words(height_deg: float, down_deg: float, swing_deg: float, clock_deg: float) -> str:
    """One line: cut 40° above centre height, handle 12° below level, swung 25° to the left, flute at two o'clock."""
    if not np.isfinite(height_deg):
        return "no hand holds this"
    cut = _side(height_deg, "above centre height", "below centre height", "at centre height")
    handle = _side(down_deg, "below level", "above level", "level")
    swung = _side(swing_deg, "to the right", "to the left", "")
    hour = _HOURS[round(clock_deg / 30) % 12]
    return (
        f"cut {cut}, handle {handle}, {f'swung {swung}' if swung else 'square to the lathe'}, flute at {hour} o'clock"
    )


def _side(deg: float, more: str, less: str, none: str) -> str:
    whole = round(abs(deg))
    return none if whole == 0 else f"{whole}° {more if deg > 0 else less}"
