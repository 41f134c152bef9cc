"""What the middle plane of a scan shows at a glance, to begin with: nose angle, bevel, and whether there is a land."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.take.prism import Prism

Floats = NDArray[np.float64]

_RIDGE_DEG = 2.0  # two surfaces of a bevel that meet at less are one
_SIMPLER = 20.0  # by which Schwarz's criterion must be better for two
_FINE = 1e-4  # mm: numbers in a file are no better


@dataclass(frozen=True)
class Profile:
    """Angles deg, lengths mm, roughly. land and relief: None where one surface goes from nose to heel."""

    nose: float
    bevel: float
    land: float | None = None
    relief: float | None = None


def profile_of(face: Floats, prism: Prism) -> Profile:
    """The bevel down the middle of a face (n, 3) mm: one bend, or two with a ridge between them. Raises InputError."""
    band = 0.09 * float(prism.bar[0])
    use = np.abs(face[:, 0]) < band
    if use.sum() < 60:
        raise InputError("", "the bevel under the nose has too few points", "scan finer: 0.1 to 0.3 mm")
    x, y, z = face[use].T
    order = np.argsort(-y)
    few = max(len(order) // 20, 3)
    (z0, y0), (z1, y1) = (np.median(np.column_stack([z, y])[k], axis=0) for k in (order[:few], order[-few:]))
    reach, chord = float(np.hypot(z1 - z0, y1 - y0)), float(np.arctan2(y0 - y1, z0 - z1))
    along = np.array([-np.cos(chord), -np.sin(chord)])
    rel = np.column_stack([z - z0, y - y0])
    t, q, across = rel @ along / reach, rel @ np.array([-along[1], along[0]]), (x / band) ** 2

    def laid(which: NDArray[np.bool_]) -> tuple[Floats, float]:
        """Coefficients of 1, t, t² first, and the sum of squares. Beside the middle it bends by changing amounts."""
        s, a = t[which], across[which]
        m = np.column_stack([np.ones_like(s), s, s * s, a, a * s, a * s * s, a * a])
        c = np.linalg.lstsq(m, q[which], rcond=None)[0]
        return c, float(((q[which] - m @ c) ** 2).sum())

    def angle(c: Floats, at: float) -> float:
        return float(np.degrees(chord + np.arctan((c[1] + 2 * c[2] * at) / reach)))

    n = len(t)
    whole, left = laid(np.ones(n, bool))
    best, found = n * np.log(left / n + _FINE**2) - _SIMPLER, Profile(angle(whole, 0.0), reach)
    for at in np.linspace(0.08, 0.92, 43):
        near = t < at
        if min(near.sum(), n - near.sum()) < 25:
            continue
        (c1, r1), (c2, r2) = laid(near), laid(~near)
        score = n * np.log((r1 + r2) / n + _FINE**2) + 8 * np.log(n)
        if score < best and angle(c1, at) - angle(c2, at) > _RIDGE_DEG:
            best, found = score, Profile(angle(c1, 0.0), reach, at * reach, angle(c2, at))
    return found
