"""The tightest cove a tool can follow, found by halving: a number that describes the tool and no one workpiece."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gougeform.reach.body import Body
from gougeform.reach.contact import TOLERANCE_MM, Contact
from gougeform.reach.posture import places_at
from gougeform.reach.search import USUAL, Fineness, search
from gougeform.work.build import Chain, meridian_of
from gougeform.work.distance import Wood
from gougeform.work.meridian import Meridian

Floats = NDArray[np.float64]

HALF_ANGLE_DEG = 60.0
CYLINDER_MM = 25.0
_SMALLEST, _START, _LARGEST = 0.8, 4.0, 40.0
COVE_ERROR_MM = 0.1
"""What halving and search together may be off."""
_WIDTH = 0.05
_SHARES = np.array([0.02, 0.14, 0.26, 0.38, 0.5])  # rim to bottom of one wall


@dataclass(frozen=True)
class TightestCove:
    """radius: mm, None where even `largest` is too tight. The cove spans 2 · half_angle of a circle in a cylinder."""

    radius: float | None
    largest: float = _LARGEST
    half_angle_deg: float = HALF_ANGLE_DEG
    cylinder_mm: float = CYLINDER_MM


def cove_meridian(radius: float, half_angle_deg: float = HALF_ANGLE_DEG, cylinder: float = CYLINDER_MM) -> Meridian:
    """A cylinder with one cove across its middle, 40 mm of cylinder on both sides."""
    half = radius * float(np.sin(np.radians(half_angle_deg)))
    chain = Chain((-half - 40.0, cylinder))
    chain.straight((-half, cylinder), "cove")
    chain.by_radius((half, cylinder), radius, True, half_angle_deg > 90, "cove", True, None)
    chain.straight((half + 40.0, cylinder), "cove")
    return meridian_of(chain, "spindle", "")


def tightest_cove(
    body: Body, limit_deg: float, tolerance: float = TOLERANCE_MM, fineness: Fineness = USUAL
) -> TightestCove:
    """The smallest radius of a cove whose wall the tool can follow downhill, from the rim to the bottom.

    Each place must have a clear posture of at most the limit's clearance angle. Wider coves are taken as easier.
    A tool and a cove are both symmetric, so one wall stands for both.
    """
    most = max(limit_deg, 1e-3)
    search_to = replace(fineness, most_deg=most, enough_deg=most)
    # The place that failed last is looked at first; to begin with those near the bottom.
    order = np.arange(len(_SHARES))[::-1]

    def follows(radius: float) -> bool:
        nonlocal order
        meridian = cove_meridian(radius)
        wood = Wood(meridian)
        # The piece before the cove closes the end, the next is the cylinder: the cove is the third.
        places = places_at(meridian, np.full(len(_SHARES), 2), _SHARES)
        for part in (order[:1], order[1:2], order[2:]):
            contact = Contact(body, wood, places.take(part), tolerance)
            clear = np.isfinite(search(contact, search_to, feeds=(1,)).alpha)
            if not clear.all():
                worst = part[np.flatnonzero(~clear)[0]]
                order = np.concatenate([[worst], order[order != worst]])
                return False
        return True

    low, high = _SMALLEST, _LARGEST
    if follows(_START):
        high = _START
        if follows(low):
            return TightestCove(low)
    elif follows(high):
        low = _START
    else:
        return TightestCove(None)
    while high - low > max(_WIDTH, 0.005 * high):
        middle = float(np.sqrt(low * high))
        low, high = (low, middle) if follows(middle) else (middle, high)
    return TightestCove(high)
