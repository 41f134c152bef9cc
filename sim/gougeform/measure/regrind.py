"""What it costs to give a ground tool another grind: nose, steel, and how often the flute allows it.

The new surface is held back along the bar by b. A place of it lies in steel that is there where its height over the old
surface, before it is held back, is at most b. So the smallest b that leaves a new bevel of length L is the largest such
height down the first L of it: no search. Going blunter by a small angle over t of steel costs t (cot old - cot new) of
length all the way (two straight bevels; derived), and nothing where only the edge is asked for. Lengths mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gougeform.grind.gouge import Gouge
from gougeform.grind.ground import Ground
from gougeform.machine.pose import cross, dot
from gougeform.measure.between import Field, sample
from gougeform.measure.edge import Edge, measure_edge
from gougeform.measure.fan import Fan, build_fan
from gougeform.numerics.curve import local_cubic

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

FIRST_LAND_MM = 1.0
"""How long a new bevel must be to work with, where nobody says: common practice, no source."""
AT_PER_CENT = (25.0, 50.0, 75.0, 95.0)
_SAME = 1e-7  # mm: two surfaces so near are one, the kernel finds them no better
_COUNTS = 1e-3  # mm: a loss below that is none, and the flute holds any number of it
_DOWN = 33  # places down a bevel between which the largest height is looked for
_CLOSER, _ROUNDS = 17, 2  # then so many between the two beside it, so often
_GRID, _TIMES = 9, 3  # the same across the section: so many each way
_RISES = 1e-6  # mm: a height that stands out by less is as high as its neighbours
_ON_RIM = 1e-4  # mm: a place so little outside the section is on its rim
_BELOW = 0.2  # of the length: how far below the bevel's tangent, in the steel, the lines begin that find it


@dataclass(frozen=True)
class Regrind:
    """One row. bevel: mm asked for, 0 where the new angle need only touch the edge, None for all of it to the heel.

    nose_loss: how much shorter the tool gets; in_middle: the same if the middle plane alone is asked for; at: the place
    that asks for most. steel: mm³ between the old solid and the new one; grams. in_flute: how many such regrinds fit
    into the full-depth flute less the longer wing, None where nothing is lost.
    """

    bevel: float | None
    nose_loss: float
    in_middle: float
    at: str
    steel: float
    grams: float
    in_flute: int | None


@dataclass(frozen=True, eq=False)
class Lines:
    """Lines in k planes square to the edge, along which bevels run down from it.

    point: (3, k) on the edge; down: (3, k) the bevel's tangent in the plane, away from the edge; out: (3, k) square to
    it, out of the steel. length: (k,) mm to the heel, NaN where the plane meets none. names: what a person calls them.
    """

    point: Floats
    down: Floats
    out: Floats
    length: Floats
    names: tuple[str, ...]

    @property
    def first(self) -> Lines:
        """The nose's alone."""
        return Lines(self.point[:, :1], self.down[:, :1], self.out[:, :1], self.length[:1], self.names[:1])


def regrinds(
    old: Gouge, new: Gouge, bevels: Sequence[float | None] = (0.0, FIRST_LAND_MM, None), edge: Edge | None = None
) -> tuple[Regrind, ...]:
    """What each of some lengths of new bevel costs: by default touching, a first land, and all the way.

    edge: the new tool's, where it is measured already. Raises InputError where one of the two grinds leaves a place of
    the section out.
    """
    edge = measure_edge(new) if edge is None else edge
    alike, fan = old.symmetric and new.symmetric, build_fan(new.section)
    passes = [*old.ground.passes, *new.ground.passes]
    field = sample(new.section, passes, alike)
    was, becomes = ([(i, 0.0) for i in part] for part in np.split(np.arange(len(passes)), [len(old.ground.passes)]))
    lines = bevel_lines(new, edge, (1,) if alike else (-1, 1))
    touching = _touching(old.ground, edge, alike)
    nose = edge.point[:, [edge.nose]]
    at_nose = float(nose[2, 0] - old.ground.heights(nose[:2].T).z[0])
    density, wing = new.recipe.bar.steel.density_g_cm3, max(edge.wing_length(side) for side in (-1, 1))
    rows = []
    for bevel in bevels:
        asked, in_middle = [touching], [at_nose]
        if bevel is None:
            in_middle += _needed(old.ground, new.ground, lines.first, lines.first.length[0], fan).tolist()
            high = field.lowest(becomes) - field.lowest(was)
            asked.append(_all_the_way(old.ground, new.ground, field, fan, high, alike))
        elif bevel > 0:
            needed = _needed(old.ground, new.ground, lines, bevel, fan).tolist()
            asked += zip(needed, lines.names, strict=True)
            in_middle.append(needed[0])
        loss, at = max(asked)
        at = at if loss > _SAME else "nowhere"
        loss, in_the_middle = (value if value > _SAME else 0.0 for value in (loss, max(in_middle)))
        steel = field.removed(was, [(i, loss) for i, _ in becomes])
        many = None if loss < _COUNTS else max(int((new.recipe.flute.length_mm - wing) / loss), 0)
        rows.append(Regrind(bevel, loss, in_the_middle, at, steel, steel * density / 1000, many))
    return tuple(rows)


def bevel_lines(gouge: Gouge, edge: Edge, sides: Sequence[int]) -> Lines:
    """The nose's line in the middle plane first, then those at AT_PER_CENT of each wing's arc length."""
    section, u, names = gouge.section, [0.0], ["nose"]
    length = [float(edge.bevel[edge.nose])]
    for side in sides:
        wing = edge.wing(side)
        arc, inside = edge.from_nose(side), np.isfinite(edge.bevel[wing])
        for per_cent in AT_PER_CENT:
            at = arc[-1] * per_cent / 100
            u.append(local_cubic(arc, edge.u[wing], at))
            k = int(np.clip(np.searchsorted(arc, at), 1, len(arc) - 1))
            whole = inside[k - 1] and inside[k]
            length.append(
                float(np.interp(at, arc[k - 1 : k + 1], edge.bevel[wing][k - 1 : k + 1])) if whole else np.nan
            )
            names.append(
                f"{'wings' if len(sides) == 1 else 'right wing' if side > 0 else 'left wing'} at {per_cent:g} %"
            )
    flat = section.flute_point(np.array(u))
    cut = gouge.ground.heights(flat)
    flute = np.stack([*section.flute_normal(np.array(u)).T, np.zeros(len(u))])
    plane = cross(flute, cut.normal)
    if gouge.alike:  # rolling can leave a kink at the nose, and a tangent for each side
        plane[:, 0] = (1.0, 0.0, 0.0)
    plane /= np.sqrt(dot(plane, plane))
    out = cut.normal - dot(cut.normal, plane) * plane
    out /= np.sqrt(dot(out, out))
    down = cross(plane, out)
    down *= np.where(dot(down, flute) > 0, -1.0, 1.0)
    return Lines(np.stack([*flat.T, cut.z]), down, out, np.array(length), tuple(names))


def _needed(old: Ground, new: Ground, lines: Lines, bevel: float, fan: Fan) -> Floats:
    """(k,) mm: how far the new surface must be held back for a bevel so long (to the heel at most) on each line."""
    length = np.fmin(bevel, lines.length)
    every = np.arange(len(length))

    def on(which: Ints, r: Floats) -> Floats:
        """(3, m): the new surface over places r (m,) of the tangents of lines `which`."""
        out, below = lines.out[:, which], _BELOW * length[which]
        begin = lines.point[:, which] + r * lines.down[:, which] - below * out
        return begin + new.cut(begin, out, from_origin=True).z * out

    def over(which: Ints, r: Floats) -> Floats:
        """(m,) mm: how high it lies there over the old surface, -inf where there is no steel."""
        p, high = on(which, r), np.full(len(which), -np.inf)
        steel = np.flatnonzero(np.isfinite(p[2]) & (fan.depth(p[:2].T) > -_ON_RIM))
        high[steel] = p[2, steel] - old.heights(p[:2, steel].T).z
        return high

    far = length.copy()
    for _ in range(2):  # along the tangent, so that the chord has the length: the bevel bends away little
        off = dot(on(every, far) - lines.point, lines.out)
        far = np.sqrt(np.maximum(length**2 - np.where(np.isfinite(off), off, 0.0) ** 2, 0.0))
    r = far[:, None] * np.linspace(0.0, 1.0, _DOWN)
    high = over(np.repeat(every, _DOWN), r.ravel()).reshape(r.shape)
    high[:, 0] = np.where(np.isfinite(high[:, 0]), high[:, 0], 0.0)
    # Counted down to where the line leaves the steel, though it may come into it again on the other wing.
    high = np.where(np.logical_and.accumulate(np.isfinite(high), axis=1), high, -np.inf)
    best, k = high.max(1), high.argmax(1)
    ends = np.maximum(high[:, 0], high[:, -1])
    inner = np.flatnonzero((k > 0) & (k < _DOWN - 1) & (best > np.maximum(ends, 0.0) + _RISES))
    low, top = r[inner, k[inner] - 1], r[inner, np.minimum(k[inner] + 1, _DOWN - 1)]
    for _ in range(_ROUNDS if len(inner) else 0):
        r = low[:, None] + (top - low)[:, None] * np.linspace(0.0, 1.0, _CLOSER)
        high = over(np.repeat(inner, _CLOSER), r.ravel()).reshape(r.shape)
        best[inner], k = np.maximum(best[inner], high.max(1)), high.argmax(1)
        rows = np.arange(len(inner))
        low, top = r[rows, np.maximum(k - 1, 0)], r[rows, np.minimum(k + 1, _CLOSER - 1)]
    return best


def _touching(old: Ground, edge: Edge, alike: bool) -> tuple[float, str]:
    """How far the whole edge lies outside the old steel at most, and where."""
    high = edge.point[2] - old.heights(edge.point[:2].T).z
    k = int(high.argmax())
    if high[k] < _SAME:
        return 0.0, "nowhere"
    return float(high[k]), place_words(0.0, edge.point[0, k], edge.point[2, k] - edge.point[2, edge.nose], alike)


def _all_the_way(old: Ground, new: Ground, field: Field, fan: Fan, high: Floats, alike: bool) -> tuple[float, str]:
    """How far the new surface lies over the old one at most, and where. high: (c, f) mm, on the field's places."""
    c, f = np.unravel_index(int(high.argmax()), high.shape)
    share = np.linspace(0.0, 1.0, high.shape[1])
    phi, t, best = field.columns.phi[c], share[f], float(high[c, f])
    wide = np.array([np.diff(field.columns.phi[max(c - 1, 0) : c + 2]).max(), share[_GRID - 1]])
    at, z = np.zeros(2), 0.0
    side = np.linspace(-1.0, 1.0, _GRID)
    for _ in range(_TIMES):
        rays = fan.at(np.clip(phi + wide[0] * side, fan.phi_left, fan.phi_right))
        down = np.clip(t + wide[1] * side, 0.0, 1.0)
        flat = (rays.inner[:, None] + down[:, None] * (rays.outer - rays.inner)[:, None]).reshape(-1, 2)
        cut = new.heights(flat).z
        over = cut - old.heights(flat).z
        k = int(over.argmax())
        i, j = divmod(k, _GRID)
        phi, t, at, z, best = float(rays.phi[i]), float(down[j]), flat[k], float(cut[k]), max(best, float(over[k]))
        wide = wide * 2 / (_GRID - 1)
    return best, place_words(t, at[0], z, alike)


def place_words(share: float, x: float, z: float, alike: bool) -> str:
    """Where on the ground face a place is; share: of the way from edge to heel; x and z: mm; alike: of both wings.

    >>> place_words(1.0, -3.0, -8.0, True)
    'heel of the wings, 8.0 mm behind the nose'
    """
    what = "heel" if share > 1 - 1e-3 else "edge" if share < 1e-3 else "bevel"
    wing = "" if abs(x) < 1e-3 else " of the wings" if alike else f" of the {'right' if x > 0 else 'left'} wing"
    return f"{what}{wing}, {abs(z):.1f} mm behind the nose"
