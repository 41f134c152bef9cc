"""Gaps between a placed tool and the wood, to within FINEST_MM, by cutting up only the patches that may be nearest."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from gougeform.reach.body import BEHIND_HEEL, Cloud
from gougeform.reach.contact import AT_ONCE, FINEST_MM, Contact
from gougeform.reach.patches import balls, cut_up, most_of_four, products
from gougeform.reach.posture import Postures, placed

Floats = NDArray[np.float64]


def gaps(contact: Contact, postures: Postures) -> Floats:
    """(n, 4) mm: smallest gap between the wood and each part behind the heel, in the order of BEHIND_HEEL.

    Good to FINEST_MM; infinite for a part the tool does not have.
    """
    n = len(postures)
    out = np.full((n, len(BEHIND_HEEL)), np.inf)
    turn, shift = placed(contact.body, contact.places, postures)
    for column, part in enumerate(BEHIND_HEEL):
        mine = np.flatnonzero(contact.body.part == part)
        if not len(mine):
            continue
        cloud = contact.body.cloud(mine)
        for begin in range(0, n, AT_ONCE):
            rows = np.arange(begin, min(begin + AT_ONCE, n))
            out[rows, column] = _gap(contact, cloud, turn[rows], shift[rows])
    return out


def least(contact: Contact, postures: Postures) -> Floats:
    """(n,) mm: signed distance of the whole tool to the wood, below zero by the deepest point; to FINEST_MM."""
    out = np.empty(len(postures))
    turn, shift = placed(contact.body, contact.places, postures)
    for begin in range(0, len(postures), AT_ONCE):
        rows = np.arange(begin, min(begin + AT_ONCE, len(postures)))
        out[rows] = _gap(contact, contact.body.near, turn[rows], shift[rows])
    if len(contact.body.far.patch):
        # What follows the head counts only where it can be nearer than that.
        rest = np.flatnonzero(contact.far_gap(turn, shift) < out)
        for begin in range(0, len(rest), AT_ONCE):
            rows = rest[begin : begin + AT_ONCE]
            out[rows] = np.minimum(out[rows], _gap(contact, contact.body.far, turn[rows], shift[rows]))
    return out


def _gap(contact: Contact, cloud: Cloud, turn: Floats, shift: Floats) -> Floats:
    at = products(turn.reshape(-1, 3), cloud.vertices).reshape(len(turn), 3, -1) + shift[:, :, None]
    x, rho = at[:, 0], np.hypot(at[:, 1], at[:, 2])
    low = contact.wood.at_least_anywhere(x, rho)
    here = np.arange(len(turn))
    k = low.argmin(1)
    best = contact.wood.distance(x[here, k], rho[here, k])
    i, k = np.nonzero(low < best[:, None])
    np.minimum.at(best, i, contact.wood.distance(x[i, k], rho[i, k]))
    least = low[:, cloud.corner[:, 0]]
    for c in (1, 2, 3):
        least = np.minimum(least, low[:, cloud.corner[:, c]])
    row, patch = np.nonzero(least - contact.body.radius[cloud.patch] < best[:, None] - FINEST_MM)
    patch = cloud.patch[patch]
    corners = contact.placed_corners(turn, shift, row, patch)
    d = contact.wood.of_points(corners.reshape(-1, 3)).reshape(-1, 4)
    while len(row):
        least = -most_of_four(-d)
        np.minimum.at(best, row, least)
        middle, radius = balls(corners)
        near = least - contact.dips(middle, radius, least) < best[row] - FINEST_MM
        row, patch, corners, d = cut_up(row[near], patch[near], corners[near], d[near], contact.wood.of_points)
    return best
