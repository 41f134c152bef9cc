"""Volumes between shapes that the same few ground surfaces make at different setbacks, from one sampling of them.

A regrind, a sharpening, a relief ground again move the same surfaces along the bar by this much or that. Each surface
is cut once on rays of the fan, heights and slopes, and a cubic stands for it between two places; where one takes over
from another, and where the new shape leaves the old one, then follows from numbers at hand.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gougeform.bar.section import Section
from gougeform.errors import InputError
from gougeform.grind.ground import Ground, Pass
from gougeform.measure.fan import Columns, build_fan
from gougeform.measure.volume import gauss, panels
from gougeform.numerics.curve import hermite

Floats = NDArray[np.float64]
Shape = Sequence[tuple[int, float]]
"""Surfaces by number, each with how far it is held back along the bar (mm): a shape ends at the lowest of them."""

_ACROSS = 3  # Gauss points across each panel of the fan
_ALONG = 17  # places down each ray at which the surfaces are cut
_FINER = 8  # parts of the piece between two of them, on which heights are joined by straight lines
_STEEP = 50.0  # a slope beyond this is that of an upright wall: the chord says more


@dataclass(frozen=True, eq=False)
class Field:
    """Heights of s surfaces over a section. weight: (c,) rad of each ray (twice, where the other half is its mirror).

    distance: (c, f) mm from the fan's pole at places down the rays, flute to outline; height: (s, c, f) mm there.
    """

    weight: Floats
    distance: Floats
    height: Floats
    columns: Columns

    def area(self) -> float:
        """Of the section's steel, mm²."""
        d = self.distance
        return float((self.weight * (d[:, -1] ** 2 - d[:, 0] ** 2) / 2).sum())

    def lowest(self, shape: Shape) -> Floats:
        """(c, f) mm: where a shape ends."""
        return np.minimum.reduce([self.height[i] - back for i, back in shape])

    def removed(self, old: Shape, new: Shape) -> float:
        """Volume (mm³) of what the old shape has and the new one has not; exact for straight lines between places."""
        over = self.lowest(old) - self.lowest(new)
        a, b, p, q = over[:, :-1], over[:, 1:], self.distance[:, :-1], self.distance[:, 1:]
        with np.errstate(divide="ignore", invalid="ignore"):
            t = np.where((a > 0) != (b > 0), a / (a - b), 1.0)
        # Over the part where the difference is above zero: from a over p to b over q, or to or from zero at t.
        at = p + t * (q - p)
        a, b = np.maximum(a, 0.0), np.maximum(b, 0.0)
        whole = (a * (2 * p + q) + b * (p + 2 * q)) / 6
        first, last = t * a * (2 * p + at) / 6, (1 - t) * b * (at + 2 * q) / 6
        piece = np.where(t == 1.0, whole, first + last) * (q - p)
        return float((self.weight * piece.sum(1)).sum())


def sample(section: Section, surfaces: Sequence[Pass], alike: bool, fineness: float = 1) -> Field:
    """Cut each surface on rays over the section. alike: whether all of it is the same on both sides of the middle.

    fineness: 2 has twice as many rays and places. Raises InputError where a surface is missing somewhere.
    """
    fan = build_fan(section)
    edges = panels(fan, [], fineness).phi
    edges = edges[edges >= np.pi - 1e-12] if alike else edges
    x, w = gauss(_ACROSS)
    width = np.diff(edges)
    columns = fan.at((edges[:-1, None] + width[:, None] * x).ravel())
    weight = (width[:, None] * w).ravel() * (2 if alike else 1)
    share = np.linspace(0.0, 1.0, round((_ALONG - 1) * fineness) + 1)
    way = columns.outer - columns.inner
    flat = columns.inner[:, None] + share[:, None] * way[:, None]
    heights = [_height(one, flat, way, share) for one in surfaces]
    fine = np.linspace(0.0, 1.0, (len(share) - 1) * _FINER + 1)
    near = np.hypot(*(columns.inner - fan.pole).T)
    return Field(weight, near[:, None] + columns.length[:, None] * fine, np.stack(heights), columns)


def _height(one: Pass, flat: Floats, way: Floats, share: Floats) -> Floats:
    """(c, f) mm: one surface down the rays, cubics between the places flat (c, m, 2) at which it is cut."""
    cut = Ground((one,)).heights(flat.reshape(-1, 2))
    missed = np.flatnonzero(~np.isfinite(cut.z))
    if len(missed):
        x, y = flat.reshape(-1, 2)[missed[0]]
        raise InputError(
            "grind",
            f"no pose of the path brings the wheel to the bar at x = {x:.2f}, y = {y:.2f} mm, so there is no volume"
            " to compute",
            "a wider wheel, a longer path, or another setting of the jig",
        )
    z, step = cut.z.reshape(flat.shape[:2]), share[1]
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = -(cut.normal[0] / cut.normal[2]), -(cut.normal[1] / cut.normal[2])
        rise = step * sum(s.reshape(z.shape) * way[:, None, i] for i, s in enumerate(slope))
    chord = np.diff(z, axis=1)
    steep = _STEEP * step * np.hypot(*way.T)[:, None]
    start, stop = (np.where(np.abs(part) < steep, part, chord) for part in (rise[:, :-1], rise[:, 1:]))
    t = np.arange(_FINER) / _FINER
    fine = hermite(z[:, :-1, None], z[:, 1:, None], start[..., None], stop[..., None], t)
    return np.concatenate([fine.reshape(len(z), -1), z[:, -1:]], axis=1)
