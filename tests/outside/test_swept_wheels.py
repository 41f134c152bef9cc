"""Wheels turned about an axis: the neck left on a bar, and the surface a skew axis gives.

The neck: derived from the torus and the sagitta. The skew axis: derived; envelope theory as in do Carmo and in
Pottmann and Wallner, Computational Line Geometry, from memory (texts not seen).
"""

import numpy as np
import pytest

from gougeform.grind.gouge import shape
from gougeform.grind.ground import Ground, Pass
from gougeform.machine.solid import WheelSolid
from gougeform.machine.sweep import Steady
from gougeform.measure.edge import measure_edge
from gougeform.recipe.change import changed
from gougeform.recipe.reading import from_table
from still import gauss

SOURCE = "neck ρ = D − √(R² − x²), parallel surface of a hyperboloid · derived"


def turned_round_the_bar(radius, distance, skew, width=500.0):
    """A wheel turned fully about the bar axis; `distance` centre to bar axis, `skew` between the two axes (rad)."""
    x, y = np.array([0.0, 1.0, 0.0]), np.array([np.sin(skew), 0.0, np.cos(skew)])
    turn = np.stack([x, y, np.cross(x, y)])
    path = Steady(np.array([0.0, 0, 1]), np.zeros(3), turn, np.array([distance - radius, 0.0, 0.0]), np.pi)
    return Ground((Pass(path, WheelSolid(1 / radius, width, 0.0)),))


def radial(ground, z, angle):
    """How far from the axis a line square to it at height z first meets the surface."""
    n = len(z)
    origin = np.stack([np.zeros(n), np.zeros(n), z])
    return ground.cut(origin, np.stack([np.cos(angle), np.sin(angle), np.zeros(n)]), from_origin=True).z


def test_neck_left_on_a_round_bar(agree):
    """ρ = D − √(R² − x²); R 100, D 103, b 8: c 31.2249899920, ρ(20) 5.02041028867, V 4674.23594395."""
    big, far, b = 100.0, 103.0, 8.0
    ground = turned_round_the_bar(big, far, np.pi / 2)
    angle = np.linspace(-3, 3, 13)
    agree("neck left by a wheel turned round a bar, radius", radial(ground, np.full(13, 20.0), angle), 5.02041028867,
          2e-10, "mm")  # fmt: skip
    c = -ground.heights(np.array([[b * np.cos(1.0), b * np.sin(1.0)]])).z[0]
    agree("where that neck begins on the bar", c, 31.2249899920, 1e-9, "mm")
    # Steel left between −c and c, over radii in two parts: lines nearer the axis than D − R never meet the wheel.
    u, w = gauss(0, np.sqrt(b - 3), 60)
    rho = 3 + u * u
    # Looked at where a knot of the path (every 2.5°) faces the line: close to ρ = 3 the wheel touches a line over less
    # of a turn than that, which the kernel's scan may step over. All round the surface is the same.
    a = np.radians(-90 + 30 * np.arange(12))
    wa = np.full(12, np.pi / 6)
    points = np.stack([np.outer(rho, np.cos(a)).ravel(), np.outer(rho, np.sin(a)).ravel()], -1)
    h = ground.heights(points).z.reshape(len(rho), len(a))
    left = (w * 2 * u * rho * ((2 * c + 2 * h) @ wa)).sum() + np.pi * 9 * 2 * c
    exact = (
        2
        * np.pi
        * ((far**2 + big**2) * c - c**3 / 3 - far * (c * np.sqrt(big**2 - c**2) + big**2 * np.arcsin(c / big)))
    )
    assert exact == pytest.approx(4674.23594395, rel=1e-10)
    agree("volume of the neck left on the bar", left, exact, 1e-11, "1", relative=True)
    inner = np.stack([np.linspace(0, 2.9, 7), np.zeros(7)], -1)
    assert np.isinf(ground.heights(inner).z).all()


@pytest.mark.parametrize("z0", [-40.0, 0.0, 5.0, 12.0])
def test_full_turn_about_a_skew_axis(agree, z0):
    """The parallel surface of a one-sheet hyperboloid; R 100, d 103, φ 60°, z0 5: ρ 4.400068094774."""
    big, gap, t = 100.0, 103.0, np.tan(np.radians(60))
    rho0 = np.sqrt(gap**2 + z0**2 * t**2)
    n = np.sqrt(rho0**2 + z0**2 * t**4)
    rho, z = rho0 - big * rho0 / n, z0 + big * z0 * t**2 / n
    if z0 == 5:
        assert (rho, z) == pytest.approx((4.400068094774, 19.361466455913), abs=1e-11)
    ground = turned_round_the_bar(big, gap, np.radians(60), 2000.0)
    angle = np.linspace(-2.8, 2.9, 9)
    agree(
        "wheel turned about a skew axis: radius of the surface", radial(ground, np.full(9, z), angle), rho, 1e-11, "mm"
    )
    # Along the bar the first entry is on the lower half of that surface.
    points = rho * np.stack([np.cos(angle), np.sin(angle)], -1)
    if z0:
        agree(
            "wheel turned about a skew axis: height of the surface along the bar",
            ground.heights(points).z,
            -abs(z),
            1e-11,
            "mm",
        )


@pytest.mark.parametrize("wheel", [150.0, 200.0, 250.0])
@pytest.mark.parametrize("nose", [30.0, 45.0])
def test_neck_of_a_steady_rod_jig(table, agree, wheel, nose):
    """A rod jig hinged along the bar axis turns the tool about that axis, square to the wheel's: its bevel is the neck.

    With the nose at (0, y, 0) below the axis and its bevel at β to the bar, the wheel's centre stands |y| + R cos β
    from the axis and R sin β ahead of the nose. So every edge and heel point has ρ = D − √(R² − (z − R sin β)²), and
    the bevel's normal there leans to the axis by the wheel's own slope.
    """
    edits = {"wheel.diameter_mm": wheel, "jig.nose_angle_deg": nose, "grind.0.roll_max_deg": 179.0}
    edge = measure_edge(shape(changed(from_table(table("rod-steady")), edits)), 101)
    big, beta, low = wheel / 2, np.radians(nose), edge.point[1, edge.nose]
    assert low == pytest.approx(-1.5)
    far, ahead = big * np.cos(beta) - low, big * np.sin(beta)

    def neck(z):
        return far - np.sqrt(big**2 - (z - ahead) ** 2)

    rho = np.hypot(*edge.point[:2])
    agree("edge of a steady rod jig on the neck", rho, neck(edge.point[2]), 1e-11, "mm")
    rho = np.hypot(*edge.heel_line[:2])
    agree("heel of a steady rod jig on the neck", rho, neck(edge.heel_line[2]), 1e-11, "mm")
    # Edge angle: the flute's normal against (radial, along) = (far − ρ, ahead − z) / −R turned outward.
    out = edge.point[:2] / np.hypot(*edge.point[:2])
    normal = np.concatenate([out * (far - np.hypot(*edge.point[:2])), [ahead - edge.point[2]]]) / big
    flute = np.zeros_like(normal)
    flute[:2] = edge.gouge.section.flute_normal(edge.u).T
    wedge = 180 - np.degrees(np.arccos((flute * normal).sum(0)))
    agree("edge angle of a steady rod jig from the neck's formula", edge.wedge, wedge, 1e-11, "deg")
