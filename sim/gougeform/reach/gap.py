"""Gaps between a placed tool and the wood, to within FINEST_MM."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from gougeform.numerics.compiled import compiled
from gougeform.reach.body import BEHIND_HEEL, Tree
from gougeform.reach.contact import Contact, Room, desk, gap
from gougeform.reach.posture import Postures, at_edge, stand
from gougeform.work.distance import Pieces

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


def gaps(contact: Contact, postures: Postures) -> Floats:
    """(n, 4) mm: smallest gap between the wood and each part behind the heel, in the order of BEHIND_HEEL.

    Good to FINEST_MM; infinite for a part the tool does not have.
    """
    return _of(contact, postures, [(part, part + 1) for part in BEHIND_HEEL])


def least(contact: Contact, postures: Postures) -> Floats:
    """(n,) mm: signed distance of the whole tool to the wood, below zero by the deepest point; to FINEST_MM."""
    return _of(contact, postures, [(0, len(contact.body.tree.first) - 1)])[:, 0]


def _of(contact: Contact, postures: Postures, parts: list[tuple[int, int]]) -> Floats:
    body = contact.body
    nodes = np.array([[body.tree.first[k] for k in pair] for pair in parts])
    out = np.empty((len(postures), len(parts)))
    _gaps(body.tree, contact.wood.field, contact.places.rows, *postures.columns, nodes, desk(body), out)
    return out


@compiled
def _gaps(
    tree: Tree,
    f: Pieces,
    places: Floats,
    which: Ints,
    edge: Floats,
    lam: Floats,
    alpha: Floats,
    nodes: Ints,
    work: Room,
    out: Floats,
) -> None:
    for i in range(len(which)):
        at_edge(tree, edge[i], work.frame)
        stand(work.frame, places[which[i]], lam[i], alpha[i], work.pose)
        for k in range(len(nodes)):
            out[i, k] = gap(tree, f, nodes[k, 0], nodes[k, 1], work.pose, np.inf, work)
