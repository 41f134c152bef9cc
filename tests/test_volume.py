"""Exact volumes: against closed forms, a second quadrature, and an independent dense method's results."""

from __future__ import annotations

import numpy as np
import pytest

import solids
from gougeform.errors import InputError
from gougeform.grind.ground import Ground
from gougeform.measure.fan import build_fan
from gougeform.measure.volume import head_volume_mm3, height_integral, steel_removed_mm3
from solids import BAR, FLUTE, GRIND, RELIEF, TABLE


def bare(height):
    """A height as the quadrature takes it, with slopes that nobody knows."""
    return lambda points: (height(points), np.full((2, len(points)), np.nan))


@bare
def ones(points):
    return np.ones(len(points))


@pytest.mark.parametrize(
    ("bar", "flute", "area"),
    [
        # Derived, a finite-element library agrees: round, R 8; flute radius 5, its centre 6 above the axis.
        (BAR | {"diameter_mm": 16.0}, FLUTE | {"radius_mm": 5.0, "web_mm": 9.0}, 147.359624346),
        # A rounded square less a segment: the arc's chord lies in the flat top (derived, with plain geometry).
        (
            {"outline": "square", "side_mm": 10.0, "corner_radius_mm": 2.0, "length_mm": 150.0},
            FLUTE | {"radius_mm": 3.0, "web_mm": 8.0},
            96.5663706144 - (9 * np.arccos(1 / 3) - np.sqrt(8)),
        ),
    ],
)
def test_area_of_the_section(bar, flute, area):
    fan = build_fan(solids.tool(bar=bar, flute=flute, grind=[GRIND | {"wing_length_mm": 4.0}]).section)
    assert height_integral(fan, [ones]) == pytest.approx(area, rel=1e-9)


def test_plane_cut_is_area_times_centroid():
    """Under a plane z = 2 + 3 y the integral is 2 A + 3 A y_c; area and centroid from the same source as above."""
    gouge = solids.tool(bar=BAR | {"diameter_mm": 16.0}, flute=FLUTE | {"radius_mm": 5.0, "web_mm": 9.0})
    value = height_integral(build_fan(gouge.section), [bare(lambda p: 2 + 3 * p[:, 1])])
    assert value == pytest.approx(147.359624346 * (2 - 3 * 1.70069106640), rel=1e-9)


def test_lowest_of_several_planes():
    """min(x, -x) = -|x|, split along the middle plane; and a third plane that cuts that ridge off."""
    gouge = solids.tool(bar=BAR | {"diameter_mm": 16.0}, flute=FLUTE | {"radius_mm": 5.0, "web_mm": 9.0})
    fan = build_fan(gouge.section)
    roof = [bare(lambda p: p[:, 0]), bare(lambda p: -p[:, 0])]
    x, y = np.meshgrid(*[(np.arange(4000) + 0.5) / 250 - 8] * 2)
    steel = (x**2 + y**2 < 64) & (x**2 + (y - 6) ** 2 > 25)
    cell = (1 / 250) ** 2
    assert height_integral(fan, roof) == pytest.approx(-np.abs(x[steel]).sum() * cell, rel=1e-4)
    flat = [*roof, bare(lambda p: np.full(len(p), -1.5))]
    dense = np.minimum(-np.abs(x), -1.5)[steel].sum() * cell
    assert height_integral(fan, flat) == pytest.approx(dense, rel=1e-4)
    assert height_integral(fan, flat) == pytest.approx(height_integral(fan, flat, 4), rel=1e-5)


@pytest.mark.parametrize(
    ("grinds", "value"),
    [([GRIND], 409.5412), ([GRIND, RELIEF], 549.4466)],
)
def test_steel_removed_of_the_worked_examples(grinds, value):
    """An independent dense method gave these values (good to 0.3 %; they agree to 1e-6)."""
    gouge = solids.tool(grind=grinds)
    removed = steel_removed_mm3(gouge)
    assert removed == pytest.approx(value, rel=2e-6)
    assert removed == pytest.approx(steel_removed_mm3(gouge, fineness=3), rel=1e-6)


def test_steel_removed_by_a_second_quadrature():
    """A plain midpoint rule on a grid over the section, with no fan."""
    gouge = solids.tool(grind=[GRIND, RELIEF])
    n = 160
    x, y = (g.ravel() for g in np.meshgrid(*[((np.arange(n) + 0.5) / n - 0.5) * 10] * 2))
    steel = (x**2 + y**2 < 25) & (x**2 + (y - 5.5) ** 2 > 16)
    z = gouge.ground.heights(np.stack([x[steel], y[steel]], -1)).z
    assert steel_removed_mm3(gouge) == pytest.approx(-np.minimum(z, 0).sum() * (10 / n) ** 2, rel=2e-3)


def test_cylinder_wedge():
    """A wide belt square to the middle plane takes an ungula off a full round bar's lower half.

    V = (2/3 a³ + b A) L / (r + b), here a = r, b = 0: 2 r³ L / (3 r) (Machinery's Handbook 31 p. 90: seen); the plane
    passes through the bar's axis, its tip angle 45°, so L = r. The flute takes nothing below the axis.
    """
    gouge = solids.tool(
        flute=FLUTE | {"radius_mm": 4.0, "web_mm": 5.0 + 1e-9, "length_mm": 60.0},
        wheel={"kind": "belt", "width_mm": 60.0},
        jig=TABLE | {"nose_angle_deg": 45.0},
        grind=[{"path": "steady", "roll_max_deg": 1e-6}],
    )
    fan = build_fan(gouge.section)
    below = height_integral(fan, [bare(lambda p: np.zeros(len(p))), bare(lambda p: gouge.ground.heights(p).z)])
    assert -below == pytest.approx(2 * 5**3 / 3, rel=1e-6)


def test_older_shapes():
    first, both = solids.tool(grind=[GRIND]), solids.tool(grind=[GRIND, RELIEF])
    step = steel_removed_mm3(both, first.ground)
    assert step == pytest.approx(steel_removed_mm3(both) - steel_removed_mm3(first), rel=1e-6)
    assert steel_removed_mm3(first, both.ground) == pytest.approx(0.0, abs=1e-6)
    # Set back by b, the same shape again takes b times the section.
    area = height_integral(build_fan(first.section), [ones])
    assert steel_removed_mm3(first, first.ground, setback=0.7) == pytest.approx(0.7 * area, rel=1e-7)
    table = {"title": "before"} | first.recipe.table
    after = solids.tool(grind=[GRIND, RELIEF], older=table)
    assert steel_removed_mm3(after) == pytest.approx(step, rel=1e-9)


def test_head_volume_adds_the_prism():
    gouge = solids.tool()
    area = height_integral(build_fan(gouge.section), [ones])
    assert head_volume_mm3(gouge, 60.0) - head_volume_mm3(gouge, 20.0) == pytest.approx(40 * area, rel=1e-9)


def test_a_hole_is_said():
    gouge = solids.tool()

    @bare
    def nothing(points):
        return np.where(points[:, 1] < -4, np.inf, 0.0)

    with pytest.raises(InputError, match="no pose of the path brings the wheel to the bar"):
        height_integral(build_fan(gouge.section), [nothing])


def test_ground_is_not_changed():
    gouge = solids.tool(grind=[GRIND, RELIEF])
    before = gouge.ground
    steel_removed_mm3(gouge)
    assert gouge.ground is before
    assert isinstance(before, Ground)
