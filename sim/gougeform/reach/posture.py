"""Postures: how a tool stands at a place of the wood, and what follows from it.

A posture is the edge point that cuts, the inclination and the clearance angle, as ISO 3002-1 names them. In the half
plane of the place W: t along the meridian, n out of the wood, v = n × t the way the wood moves. With q = cos λ v +
sin λ t the bevel's direction from edge to heel lies along cos α q + sin α n, its outward normal along
sin α q - cos α n, and the edge tangent along n × q for every α: the clearance angle turns the tool about that.

Placed coordinates are (x along the lathe, y toward W, w along v); only x and hypot(y, w) matter for distances.
Lengths mm, angles rad.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gougeform.reach.body import Body
from gougeform.work.meridian import Meridian

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Places:
    """n places of a meridian: piece and share (n,), point, tangent t and normal n (n, 2)."""

    piece: Ints
    share: Floats
    point: Floats
    tangent: Floats
    normal: Floats

    def __len__(self) -> int:
        return len(self.piece)

    def take(self, which: Ints) -> Places:
        """Some of the places."""
        return Places(self.piece[which], self.share[which], self.point[which], self.tangent[which], self.normal[which])


def places_at(meridian: Meridian, piece: Ints, share: Floats) -> Places:
    """The places at shares (n,) of pieces (n,) of a meridian."""
    piece, share = np.asarray(piece, np.intp), np.asarray(share, float)
    return Places(
        piece, share, meridian.point(piece, share), meridian.tangent(piece, share), meridian.normal(piece, share)
    )


@dataclass(frozen=True, eq=False)
class Postures:
    """n postures: place (an index into Places), station (of the body's edge), lam and alpha (n,) rad."""

    place: Ints
    station: Ints
    lam: Floats
    alpha: Floats

    def __len__(self) -> int:
        return len(self.place)

    def take(self, which: Ints | NDArray[np.bool_]) -> Postures:
        """Some of the postures."""
        return Postures(self.place[which], self.station[which], self.lam[which], self.alpha[which])

    def at(self, alpha: Floats) -> Postures:
        """The same at other clearance angles."""
        return Postures(self.place, self.station, self.lam, alpha)


def joined(*parts: Postures) -> Postures:
    """All postures in one."""
    return Postures(
        *(np.concatenate([getattr(p, name) for p in parts]) for name in ("place", "station", "lam", "alpha"))
    )


def turned_about_edge(wood: Places, postures: Postures) -> Floats:
    """(n, 3, 3): from the edge's own directions (edge, back, out) to placed coordinates."""
    p, lam, alpha = postures.place, postures.lam, postures.alpha
    cl, sl, ca, sa = np.cos(lam), np.sin(lam), np.cos(alpha), np.sin(alpha)
    t, n = wood.tangent[p], wood.normal[p]
    # (along t, along n, along v) of the images of edge, back and out.
    along_t = np.stack([-cl, ca * sl, sa * sl], -1)
    along_n = np.stack([np.zeros_like(sa), sa, -ca], -1)
    along_v = np.stack([sl, ca * cl, sa * cl], -1)
    return np.stack(
        [
            t[:, :1] * along_t + n[:, :1] * along_n,
            t[:, 1:] * along_t + n[:, 1:] * along_n,
            along_v,
        ],
        1,
    )


def clearance_turns(body: Body, wood: Places, postures: Postures) -> Floats:
    """(3, n, 3, 3): with c and s of the clearance angle the turn of `placed` is first + c second + s third."""
    k, p = postures.station, postures.place
    cl, sl = np.cos(postures.lam)[:, None], np.sin(postures.lam)[:, None]
    n = np.concatenate([wood.normal[p], np.zeros((len(k), 1))], 1)
    q = np.concatenate([sl * wood.tangent[p], cl], 1)
    side = np.concatenate([-cl * wood.tangent[p], sl], 1)
    edge, back, out = (v[:, k].T[:, None] for v in (body.edge, body.back, body.out))
    n, q, side = n[..., None], q[..., None], side[..., None]
    return np.stack([side * edge, q * back - n * out, n * back + q * out])


def placed(body: Body, wood: Places, postures: Postures) -> tuple[Floats, Floats]:
    """Turn (n, 3, 3) and shift (n, 3): placed coordinates of a tool point are turn · point + shift."""
    k = postures.station
    frame = np.stack([body.edge[:, k], body.back[:, k], body.out[:, k]]).transpose(2, 0, 1)
    turn = turned_about_edge(wood, postures) @ frame
    w = np.concatenate([wood.point[postures.place], np.zeros((len(k), 1))], 1)
    return turn, w - np.einsum("nij,jn->ni", turn, body.point[:, k])


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
    """A straight rest: along the work at `radius` mm from the lathe's axis, and across a mouth at `mouth` mm along it.

    mouth is None where nothing is reached through one; side is +1 for a mouth that faces growing x.
    """

    radius: float
    mouth: float | None = None
    side: int = 1


def overhang(body: Body, wood: Places, postures: Postures, rest: Rest, inside: NDArray[np.bool_]) -> Floats:
    """(n,) mm along the tool from the edge to where its axis is as far out as the rest; infinite where it never is.

    Places marked `inside` are reached through the mouth: there the axis counts where it passes the mouth's rest.
    """
    turn, shift = placed(body, wood, postures)
    axis = -turn[:, :, 2]
    begin = body.point[2, postures.station]
    start = shift - begin[:, None] * axis  # the axis point level with the edge
    a = axis[:, 1] ** 2 + axis[:, 2] ** 2
    b = start[:, 1] * axis[:, 1] + start[:, 2] * axis[:, 2]
    c = start[:, 1] ** 2 + start[:, 2] ** 2 - rest.radius**2
    with np.errstate(divide="ignore", invalid="ignore"):
        root = (-b + np.sqrt(b * b - a * c)) / a
        through = ((rest.mouth if rest.mouth is not None else np.nan) - start[:, 0]) / axis[:, 0]
    along = np.where(np.isfinite(root) & (root > 0), root, np.inf)
    mouth = np.where(np.isfinite(through) & (axis[:, 0] * rest.side > 1e-9) & (through > 0), through, np.inf)
    return np.where(inside[postures.place], mouth, along)
