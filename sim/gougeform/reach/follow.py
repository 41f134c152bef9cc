"""Postures along a cut that follow each other, as one movement of the hand.

Many places ride in many postures. Of those that are equally good at a place (the search's own gain apart) each place
may take its neighbours', and the chain that turns least from place to place is the shortest path through them
(dynamic programming after Bellman). Angles in rad.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from gougeform.reach.contact import Contact
from gougeform.reach.posture import Postures
from gougeform.reach.search import ARM_MM, Best, Fineness, again

Floats = NDArray[np.float64]

_NEAR = 5  # places before and after whose postures are tried
_PLAIN = 1e-3  # how much an edge held square, near the nose, is worth against a turn of the tool


def followed(contact: Contact, best: Best, fineness: Fineness, hold: Floats) -> Best:
    """The same search with postures, none worse by more than the search's gain, that turn least along each feed."""
    n = len(contact.places)
    feeds = len(best.feed) // n
    edge, lam, alpha = (
        column.reshape(n, feeds).copy() for column in (best.postures.edge, best.postures.lam, best.alpha)
    )
    which = np.arange(n)[:, None] + np.arange(-_NEAR, _NEAR + 1)
    there = np.clip(which, 0, n - 1)
    for k in range(feeds):
        good = (which == there) & np.isfinite(alpha[there, k]) & np.isfinite(alpha[:, k])[:, None]
        s, slant, angle = edge[there, k], lam[there, k], np.where(good, alpha[:, k, None], np.inf)
        other = good & (which != np.arange(n)[:, None])
        row = np.nonzero(other)[0]
        tried = Postures(row, s[other], slant[other], np.zeros(len(row)))
        angle[other] = again(contact, tried, alpha[row, k] + np.radians(fineness.gain_deg), hold)
        chosen = _chain(s / ARM_MM, slant, angle, contact.places.mouth)
        for column, value in ((edge, s), (lam, slant), (alpha, angle)):
            column[:, k] = np.where(chosen >= 0, value[np.arange(n), np.maximum(chosen, 0)], column[:, k])
    postures = Postures(best.postures.place, edge.ravel(), lam.ravel(), alpha.ravel())
    return Best(postures, best.feed, best.boxes)


def _chain(place: Floats, slant: Floats, angle: Floats, side: NDArray[np.int_]) -> NDArray[np.intp]:
    """(n,) which of the candidates (n, c) to take at each place, -1 where there is none."""
    n, count = angle.shape
    at = np.stack([place, slant, np.where(np.isfinite(angle), angle, 0.0)])
    whole = np.where(np.isfinite(angle), _PLAIN * (np.abs(place) + np.abs(slant)), np.inf)
    came = np.zeros((n, count), np.intp)
    for i in range(1, n):
        if side[i] != side[i - 1] or not np.isfinite(whole[i - 1]).any():
            came[i] = -1
            continue
        step = np.sqrt(((at[:, i - 1, :, None] - at[:, i, None, :]) ** 2).sum(0)) + whole[i - 1][:, None]
        came[i] = step.argmin(0)
        whole[i] = whole[i] + step.min(0)
    out = np.full(n, -1)
    for i in range(n - 1, -1, -1):
        if not np.isfinite(whole[i]).any():
            continue
        joined = i + 1 < n and out[i + 1] >= 0 and came[i + 1, out[i + 1]] >= 0
        out[i] = came[i + 1, out[i + 1]] if joined else whole[i].argmin()
    return out
