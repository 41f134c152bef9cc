"""Postures: how a tool stands at a place of the wood.

A posture is the edge point that cuts, the inclination and the clearance angle, as ISO 3002-1 names them. In the half
plane of the place W: t along the meridian, n out of the wood, v = t × n the way the wood moves, down on the person's
side with x to the right. With q = cos λ v + sin λ t the bevel's direction from edge to heel lies along cos α q +
sin α n, its outward normal along sin α q - cos α n, and the edge tangent along n × q = cos λ t - sin λ v for every α:
the clearance angle turns the tool about that.

Placed coordinates are (x along the lathe, y outward at W, w along v), right-handed; only x and hypot(y, w) matter for
distances. Lengths mm, angles rad.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gougeform.numerics.compiled import compiled, inner
from gougeform.reach.body import Body, Tree
from gougeform.work.meridian import Meridian

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Places:
    """n places of a meridian: piece and share (n,), point, tangent t and normal n (n, 2), mouth (n,) as Meridian's."""

    piece: Ints
    share: Floats
    point: Floats
    tangent: Floats
    normal: Floats
    mouth: Ints

    def __len__(self) -> int:
        return len(self.piece)

    def take(self, which: Ints) -> Places:
        """Some of the places."""
        return Places(*(getattr(self, name)[which] for name in Places.__dataclass_fields__))

    @property
    def rows(self) -> Floats:
        """(n, 7): point, tangent, normal and mouth, for compiled functions."""
        return np.ascontiguousarray(np.column_stack([self.point, self.tangent, self.normal, self.mouth]), float)


def places_at(meridian: Meridian, piece: Ints, share: Floats) -> Places:
    """The places at shares (n,) of pieces (n,) of a meridian."""
    piece, share = np.asarray(piece, np.intp), np.asarray(share, float)
    point = meridian.point(piece, share)
    return Places(
        piece, share, point, meridian.tangent(piece, share), meridian.normal(piece, share), meridian.mouth[piece]
    )


@dataclass(frozen=True, eq=False)
class Postures:
    """n postures: place (an index into Places), edge (mm along it from the nose, + to the right), lam, alpha (rad)."""

    place: Ints
    edge: Floats
    lam: Floats
    alpha: Floats

    def __len__(self) -> int:
        return len(self.place)

    @property
    def columns(self) -> tuple[Ints, Floats, Floats, Floats]:
        """Place, edge, lam and alpha, for compiled functions."""
        edge, lam, alpha = (np.ascontiguousarray(column, float) for column in (self.edge, self.lam, self.alpha))
        return np.ascontiguousarray(self.place, np.intp), edge, lam, alpha

    def take(self, which: Ints | NDArray[np.bool_]) -> Postures:
        """Some of the postures."""
        return Postures(self.place[which], self.edge[which], self.lam[which], self.alpha[which])

    def at(self, alpha: Floats) -> Postures:
        """The same at other clearance angles."""
        return Postures(self.place, self.edge, self.lam, alpha)


@inner
def at_edge(tree: Tree, s: float, out: Floats) -> float:
    """The edge's point, edge, back and out directions at s mm from the nose, into out (12,); how far it has turned."""
    low, high = 0, len(tree.arc) - 1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if tree.arc[middle] <= s else (low, middle)
    share = (s - tree.arc[low]) / (tree.arc[high] - tree.arc[low])
    a, b = tree.frame[low], tree.frame[high]
    for k in range(12):
        out[k] = a[k] + share * (b[k] - a[k])
    e, o = out[3:6], out[9:12]
    size = np.sqrt(o[0] ** 2 + o[1] ** 2 + o[2] ** 2)
    for k in range(3):
        o[k] /= size
    along = e[0] * o[0] + e[1] * o[1] + e[2] * o[2]
    for k in range(3):
        e[k] -= along * o[k]
    size = np.sqrt(e[0] ** 2 + e[1] ** 2 + e[2] ** 2)
    for k in range(3):
        e[k] /= size
    for k in range(3):
        i, j = (k + 1) % 3, (k + 2) % 3
        out[6 + k] = o[i] * e[j] - o[j] * e[i]
    return tree.turned[low] + share * (tree.turned[high] - tree.turned[low])


@inner
def stand(frame: Floats, place: Floats, lam: float, alpha: float, pose: Floats) -> None:
    """The turn (9, by rows) and shift (3) of a tool in a posture into pose (12,): placed is turn · point + shift."""
    cl, sl, ca, sa = np.cos(lam), np.sin(lam), np.cos(alpha), np.sin(alpha)
    for row in range(3):
        t, n, v = (place[2 + row], place[4 + row], 0.0) if row < 2 else (0.0, 0.0, 1.0)
        q = cl * v + sl * t
        edge, back, out = cl * t - sl * v, ca * q + sa * n, sa * q - ca * n
        moved = 0.0
        for k in range(3):
            turn = edge * frame[3 + k] + back * frame[6 + k] + out * frame[9 + k]
            pose[3 * row + k] = turn
            moved += turn * frame[k]
        pose[9 + row] = (place[row] if row < 2 else 0.0) - moved


@compiled
def _stands(tree: Tree, places: Floats, which: Ints, edge: Floats, lam: Floats, alpha: Floats, out: Floats) -> None:
    frame = out[len(which)]
    for i in range(len(which)):
        at_edge(tree, edge[i], frame)
        stand(frame, places[which[i]], lam[i], alpha[i], out[i])


def placed(body: Body, wood: Places, postures: Postures) -> tuple[Floats, Floats]:
    """Turn (n, 3, 3) and shift (n, 3): placed coordinates of a tool point are turn · point + shift."""
    out = np.empty((len(postures) + 1, 12))
    _stands(body.tree, wood.rows, *postures.columns, out)
    return out[:-1, :9].reshape(-1, 3, 3), out[:-1, 9:]


def edge_points(body: Body, edge: Floats) -> Floats:
    """(n, 3) mm: the edge's points at places (n,) mm from the nose along it, as `placed` takes them."""
    return np.stack([np.interp(edge, body.arc, column) for column in body.point], -1)


def handle_direction(body: Body, wood: Places, postures: Postures) -> Floats:
    """(n, 3) unit vectors from the tip toward the handle in placed coordinates."""
    turn, _ = placed(body, wood, postures)
    return -turn[:, :, 2]


def swing(body: Body, wood: Places, postures: Postures) -> Floats:
    """(n,) rad: how far the handle is swung along the lathe, from square to its axis; positive toward growing x."""
    return np.arcsin(np.clip(handle_direction(body, wood, postures)[:, 0], -1, 1))


def roll(body: Body, wood: Places, postures: Postures) -> Floats:
    """(n,) rad: the flute's roll about the bar from facing away from the wood; positive to the tool's right."""
    turn, _ = placed(body, wood, postures)
    n = np.concatenate([wood.normal[postures.place], np.zeros((len(postures), 1))], 1)
    side, up = (turn[:, :, 0] * n).sum(1), (turn[:, :, 1] * n).sum(1)
    return np.arctan2(-side, up)


@dataclass(frozen=True)
class Rest:
    """A straight rest: along the work at `radius` mm from the lathe's axis, and across a mouth at `right` or `left`.

    right, left: mm along the lathe, for mouths that face growing x and the other way.
    """

    radius: float
    right: float = np.inf
    left: float = -np.inf


def overhang(body: Body, wood: Places, postures: Postures, rest: Rest) -> Floats:
    """(n,) mm along the tool from the edge to where its axis is as far out as the rest; infinite where it never is.

    Places that are reached through a mouth: there the axis counts where it passes that mouth's rest.
    """
    turn, shift = placed(body, wood, postures)
    axis = -turn[:, :, 2]
    start = shift - edge_points(body, postures.edge)[:, 2:] * axis  # the axis point level with the edge
    a = axis[:, 1] ** 2 + axis[:, 2] ** 2
    b = start[:, 1] * axis[:, 1] + start[:, 2] * axis[:, 2]
    c = start[:, 1] ** 2 + start[:, 2] ** 2 - rest.radius**2
    mouth = wood.mouth[postures.place]
    with np.errstate(divide="ignore", invalid="ignore"):
        root = (-b + np.sqrt(b * b - a * c)) / a
        through = (np.where(mouth > 0, rest.right, rest.left) - start[:, 0]) / axis[:, 0]
    along = np.where(np.isfinite(root) & (root > 0), root, np.inf)
    inside = np.where(np.isfinite(through) & (axis[:, 0] * mouth > 1e-9) & (through > 0), through, np.inf)
    return np.where(mouth != 0, inside, along)
