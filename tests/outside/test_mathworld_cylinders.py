"""Intersections of cylinders: Wolfram MathWorld, "Steinmetz Solid" (text seen); F. Bowman, Introduction to Elliptic
Functions, 1961, p. 34 (as quoted there).

The wheel is one cylinder, a plain round bar the other, their axes square and meeting. The volume is the integral of the
lengths of lines inside the wheel, from the kernel's entry and exit.
"""

import numpy as np
import pytest
from scipy.special import ellipe, ellipk

from gougeform.grind.ground import Ground, Pass
from gougeform.machine.solid import WheelSolid
from still import gauss, still

SOURCE = "MathWorld, Steinmetz Solid; Bowman 1961 p. 34 · seen"


def common_volume(wheel_radius, bar_radius):
    """∫ over the bar's circle of (exit − entry); the bar's axis points at the wheel's centre, both axes square."""
    one = Pass(still([0, 0, -1], [-1, 0, 0], [0, 0, 0]), WheelSolid(1 / wheel_radius, 500.0, 0.0))
    t, wt = gauss(-np.pi / 2, np.pi / 2, 90)
    u, wu = gauss(-1, 1, 6)  # along the wheel's axis nothing changes
    y = bar_radius * np.sin(t)
    half = bar_radius * np.cos(t)
    points = np.stack([np.outer(half, u).ravel(), np.repeat(y, len(u))], -1)
    cut = Ground((one,)).heights(points)
    length = (cut.leave - cut.z).reshape(len(t), len(u))
    return float((wt * bar_radius * np.cos(t) * half * (length @ wu)).sum())


def test_two_equal_cylinders(agree):
    """V = 16 r³ / 3. 1e-9: the integrand is smooth in the angle, quadrature and roots are exact to rounding."""
    for r in (2.0, 5.0, 10.0):
        volume = common_volume(r, r * (1 - 1e-13))
        agree("volume that two equal cylinders share", volume, 16 * r**3 / 3, 1e-11, "1", relative=True)


@pytest.mark.parametrize(
    ("a", "b", "volume"),
    [
        (10, 6, 2154.96262022),
        (100, 8, 40180.1902696),
        (75, 5, None),
        (100, 6.35, None),
        (125, 5, None),
        (12, 11.5, None),
        (500, 3, None),
    ],
)
def test_two_unequal_cylinders(agree, a, b, volume):
    """By scipy's complete elliptic integrals, which take m = k²; the formula cancels, so wide cases lose digits."""
    k2 = (b / a) ** 2
    formula = 8 / 3 * a * ((a * a + b * b) * ellipe(k2) - (a * a - b * b) * ellipk(k2))
    if volume:
        assert formula == pytest.approx(volume, rel=1e-10)
    agree("volume that wheel and bar share, unequal cylinders", common_volume(a, b), formula, 1e-10, "1", relative=True)
