"""How a person holds a posture: turning it about the lathe's axis changes nothing for the wood, all for the hand.

Seen from the person's side, the lathe's axis level and the wood coming down: at the height ψ above centre the outward
direction at the place is (cos ψ toward the person, sin ψ up), and the wood moves along (sin ψ toward the person, -cos ψ
up). With h the unit vector from tip to handle, its parts outward and along the wood's way being h_n = m cos φ and h_v =
m sin φ, the handle rises by h_n sin ψ - h_v cos ψ = m sin(ψ - φ) and comes toward the person by m cos(ψ - φ). So the
heights at which it rises by no more and no less than allowed are one stretch of ψ, or inside a hollow, where the handle
may point either side of the lathe's axis, two: closed forms, no search.

Lengths mm, angles rad in compiled functions, degrees in `Hold`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.numerics.compiled import inner
from gougeform.reach.body import Body

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Hold:
    """What a person can hold, degrees and mm; the usual limits are common practice, no source.

    height: of the cut above the lathe's axis, from and to.
    up, down: how far the handle may point up and down from the tip; wish: how far down is best. The first of each pair
    is for work over the rest along it, the second for the inside of a hollow. bed_mm: the bed below the lathe's axis,
    None where it is out of the way; bed_front_mm: how far it comes toward the person. anyhow: all of this is left out.
    """

    height_deg: tuple[tuple[float, float], tuple[float, float]] = ((-10.0, 80.0), (-45.0, 45.0))
    up_deg: tuple[float, float] = (0.0, 10.0)
    down_deg: tuple[float, float] = (50.0, 30.0)
    wish_deg: tuple[float, float] = (15.0, 0.0)
    bed_mm: float | None = None
    bed_front_mm: float = 100.0
    anyhow: bool = False

    def check(self) -> None:
        """Raise InputError for a limit that cannot be."""
        values: list[tuple[str, float, float, float]] = [
            ("bed", 1e6 if self.bed_mm is None else self.bed_mm, 1.0, 1e6),
            ("bed_front", self.bed_front_mm, 0.0, 2000.0),
        ]
        for where, height, up, down, wish in zip(
            ("", "inside_"), self.height_deg, self.up_deg, self.down_deg, self.wish_deg, strict=True
        ):
            values += [
                (f"{where}height_from", height[0], -90.0, 90.0),
                (f"{where}height_to", height[1], height[0], 90.0),
                (f"{where}handle_up", up, -80.0, 80.0),
                (f"{where}handle_down", down, -up, 80.0),
                (f"{where}handle_wish", wish, -up, down),
            ]
        for name, value, low, high in values:
            if not (np.isfinite(value) and low <= value <= high):
                raise InputError(name, f"given {value:g}, allowed is from {low:g} to {high:g}", f"change {name}")

    def terms(self, body: Body, rest: float, mouths: tuple[float, float], most: float = np.inf) -> Floats:
        """(25,): all of it for compiled functions, with the rest's places and the largest overhang."""
        rad, sine = np.radians, lambda deg: float(np.sin(np.radians(deg)))
        outside, inside = (
            [*rad(self.height_deg[k]), sine(self.up_deg[k]), sine(self.down_deg[k]), -sine(self.wish_deg[k])]
            for k in (0, 1)
        )
        bed = np.inf if self.bed_mm is None else self.bed_mm
        return np.array(
            [*outside, *inside, rest, *mouths, most, *body.axis, *body.radii, bed, self.bed_front_mm, self.anyhow],
            float,
        )


USUALLY = Hold()
FREE = Hold(anyhow=True)
"""Whatever the wood allows, held or not."""

_INSIDE = 5
_REST, _RIGHT, _LEFT, _MOST, _BAR, _FERRULE, _HANDLE, _BAR_R, _FERRULE_R, _HANDLE_R, _BED, _FRONT, _ANYHOW = range(
    10, 23
)


@inner
def axis(frame: Floats, place: Floats, lam: float, alpha: float, out: Floats) -> None:
    """Into out (6,): the unit vector from tip to handle, and the axis point level with the edge, placed coordinates."""
    cl, sl, ca, sa = np.cos(lam), np.sin(lam), np.cos(alpha), np.sin(alpha)
    for k in range(2):
        if k == 0:
            e, b, o = -frame[5], -frame[8], -frame[11]
        else:
            e = -frame[0] * frame[3] - frame[1] * frame[4]
            b = -frame[0] * frame[6] - frame[1] * frame[7]
            o = -frame[0] * frame[9] - frame[1] * frame[10]
        q, n = b * ca + o * sa, b * sa - o * ca
        t, v = e * cl + q * sl, q * cl - e * sl
        for c in range(2):
            out[3 * k + c] = place[2 + c] * t + place[4 + c] * n + k * place[c]
        out[3 * k + 2] = v


@inner
def overhang(hold: Floats, place: Floats, a: Floats) -> float:
    """Mm along the tool from the edge to where its axis passes the rest; infinite where it never does."""
    if place[6] != 0:
        if a[0] * place[6] < 1e-9:
            return np.inf
        along = ((hold[_RIGHT] if place[6] > 0 else hold[_LEFT]) - a[3]) / a[0]
        return along if along > 0 else np.inf
    square = a[1] * a[1] + a[2] * a[2]
    b = a[4] * a[1] + a[5] * a[2]
    c = a[4] * a[4] + a[5] * a[5] - hold[_REST] ** 2
    if square < 1e-12 or b * b < square * c:
        return np.inf
    along = (-b + np.sqrt(b * b - square * c)) / square
    return along if along > 0 else np.inf


@inner
def height(hold: Floats, place: Floats, a: Floats, loose: float) -> float:
    """The height ψ of the cut at which the tool with axis a (6,) is best held; NaN where it cannot be.

    loose > 0: a tool whose axis is within so many rad of one that can be held is never refused.
    """
    if hold[_ANYHOW] != 0:
        return 0.0
    inside = place[6] != 0
    k = _INSIDE if inside else 0
    low, high, up, down, wish = hold[k], hold[k + 1], hold[k + 2] + loose, hold[k + 3] + loose, hold[k + 4]
    if inside and a[0] * place[6] < -loose:
        return np.nan
    m, phi = np.sqrt(a[1] * a[1] + a[2] * a[2]), np.arctan2(a[2], a[1])
    if m < 1e-9:
        return min(max(0.0, low), high)
    if down <= -m or up <= -m:
        return np.nan
    more = 0.0 if inside else 2 * np.arcsin(min(1.0, loose / m))  # as far beyond square to the person
    before, after = np.arcsin(min(1.0, down / m)) + more, np.arcsin(min(1.0, up / m)) + more
    aim = np.arcsin(max(-1.0, min(1.0, wish / m)))
    best, far = np.nan, np.inf
    for away in range(2 if inside else 1):  # 1: pointing away from the person
        middle = phi + np.pi - aim if away else phi + aim
        first, last = (phi + np.pi - after, phi + np.pi + before) if away else (phi - before, phi + after)
        for turn in (-2 * np.pi, 0.0, 2 * np.pi):
            one, two = max(first + turn, low), min(last + turn, high)
            if one <= two:
                psi = min(max(middle + turn, one), two)
                off = abs(m * np.sin(psi - phi) - wish)
                if off < far:
                    best, far = psi, off
    return best


@inner
def held(
    hold: Floats, frame: Floats, place: Floats, lam: float, alpha: float, loose: float, slide: float, a: Floats
) -> float:
    """The height ψ at which a posture is best held, NaN where it cannot be; its axis is left in a (6,).

    loose, slide: a posture whose axis is within so many rad and mm of one that can be held is never refused.
    """
    axis(frame, place, lam, alpha, a)
    most, bar = hold[_MOST], hold[_BAR] + frame[2]
    if hold[_ANYHOW] != 0:
        if place[6] != 0 and a[0] * place[6] < -loose:
            return np.nan  # in at the far end of a bore, where the chuck is
        return 0.0 if most == np.inf or overhang(hold, place, a) <= most + loose * most + slide else np.nan
    most = min(most, bar)
    x, y, v = a[3] + most * a[0], a[4] + most * a[1], a[5] + most * a[2]
    if place[6] == 0:
        short = hold[_REST] - np.sqrt(y * y + v * v)
    else:
        short = hold[_RIGHT] - x if place[6] > 0 else x - hold[_LEFT]
    if short > loose * most + slide + 1e-9:
        return np.nan
    psi = height(hold, place, a, loose)
    if loose > 0 or np.isnan(psi):
        return psi
    # Ferrule and handle are thicker than the bar, which lies on the rest: they must be far enough from it.
    over = overhang(hold, place, a)
    if over == np.inf:
        return np.nan
    along = a[0] if place[6] == 0 else a[1] * np.cos(psi) + a[2] * np.sin(psi)
    across, at = max(0.0, 1 - along * along), bar
    for k in range(2):
        if (at - over) ** 2 * across + hold[_BAR_R] ** 2 < hold[_FERRULE_R + k] ** 2:
            return np.nan
        at += hold[_FERRULE + k]
    return psi if hold[_BED] == np.inf or _over_bed(hold, a, psi, at) else _raised(hold, place, a, psi, at)


@inner
def _over_bed(hold: Floats, a: Floats, psi: float, end: float) -> bool:
    """Whether the handle, which ends `end` mm from the edge, stays clear of the bed as far as that comes out."""
    c, s = np.cos(psi), np.sin(psi)
    rise, toward = a[1] * s - a[2] * c, a[1] * c + a[2] * s
    begin = a[4] * c + a[5] * s
    if toward > 0 and begin + end * toward > hold[_FRONT]:
        end = max(0.0, (hold[_FRONT] - begin) / toward)
    thick = max(hold[_FERRULE_R], hold[_HANDLE_R]) * np.sqrt(max(0.0, 1 - rise * rise))
    return a[4] * s - a[5] * c + min(0.0, end * rise) - thick >= -hold[_BED]


@inner
def _raised(hold: Floats, place: Floats, a: Floats, psi: float, end: float) -> float:
    """The nearest greater height at which the handle is over the bed: the higher the cut, the higher the handle."""
    low, high = psi, psi
    limits = hold[:_INSIDE] if place[6] == 0 else hold[_INSIDE:]
    m, phi = np.sqrt(a[1] * a[1] + a[2] * a[2]), np.arctan2(a[2], a[1])
    if np.cos(psi - phi) <= 0:
        return np.nan
    high = min(limits[1], phi + np.arcsin(min(1.0, limits[2] / m)) if m > 0 else limits[1])
    if high < low or not _over_bed(hold, a, high, end):
        return np.nan
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (low, middle) if _over_bed(hold, a, middle, end) else (middle, high)
    return high


_FINE = 2e-5  # rad


@inner
def first_held(
    hold: Floats,
    frame: Floats,
    place: Floats,
    lam: float,
    alpha: float,
    cap: float,
    loose: float,
    slide: float,
    a: Floats,
) -> float:
    """The smallest clearance angle from alpha on at which a posture can be held, to 0.001°; infinite beyond the cap.

    With `loose` and `slide` a lower bound of it for all postures so near, as in `held`. Stretches of angles in which
    none can be are passed over whole, since the axis turns no further than the clearance angle does.
    """
    if not np.isnan(held(hold, frame, place, lam, alpha, loose, slide, a)):
        return alpha
    size = cap - alpha
    while alpha < cap and size > 0:
        if np.isnan(held(hold, frame, place, lam, alpha + size / 2, loose + size / 2, slide, a)):
            alpha += size
            size = min(2 * size, cap - alpha)
        elif size <= max(_FINE, loose / 2):
            if loose > 0:
                return alpha
            alpha += size
            if not np.isnan(held(hold, frame, place, lam, alpha, 0.0, 0.0, a)):
                return alpha
            size = min(2 * size, cap - alpha)
        else:
            size /= 2
    return np.inf
