"""Section properties and beams: Machinery's Handbook 31, handbook pages, Roark, Cowper 1966; as noted at each check."""

import numpy as np
import pytest

from gougeform.bar.section import build_section
from gougeform.read.parts import ArcFlute, RoundBar, SquareBar, Steel
from gougeform.read.recipe import load
from gougeform.stiffness.beam import Beam, _step, beam_of, first_frequency, shear_factor
from gougeform.stiffness.properties import fluted, plain, round_bar

E, NU, RHO, D = 207000.0, 0.3, 8138e-12, 12.0
STEEL = Steel(young_gpa=207.0, density_g_cm3=8.138, poisson=NU)


def steel_step(end, shear):
    p = round_bar(D)
    k = 6 * (1 + NU) / (7 + 6 * NU)
    carries = k * E / (2 * (1 + NU)) * p.area if shear else 1e30
    return _step(0.0, end, [(p, E, RHO)], carries)


def test_circle():
    """Machinery's Handbook 31, p. 245."""
    assert round_bar(12.0).ixx == pytest.approx(1017.87601976, abs=1e-8)


def test_rounded_square():
    """Square 10 with corners of radius 2; derived."""
    bar = SquareBar(side_mm=10, corner_radius_mm=2, length_mm=100, steel=STEEL)
    p = plain(build_section(bar, ArcFlute(radius_mm=4, web_mm=6, length_mm=50)).outline)
    assert (p.area, p.ixx, p.iyy) == pytest.approx((96.5663706144, 761.663706144, 761.663706144), abs=1e-9)


def test_fluted_round():
    """R 8, flute radius 5 with its centre 6 from the axis; derived, a finite-element library agrees."""
    bar = RoundBar(diameter_mm=16, length_mm=100, steel=STEEL)
    p = fluted(build_section(bar, ArcFlute(radius_mm=5, web_mm=9, length_mm=50)))
    assert (p.area, p.y) == pytest.approx((147.359624346, -1.70069106640), abs=1e-9)
    assert (p.ixx, p.iyy) == pytest.approx((1457.76334484, 2889.53197722), abs=1e-8)
    assert abs(p.x) < 1e-12


@pytest.mark.parametrize(("shear", "deflection"), [(False, 0.0809997125932), (True, 0.0820020840366)])
def test_cantilever(shear, deflection):
    """L 80, F 100: handbook; with Cowper's shear coefficient (J. Appl. Mech. 33, 1966; from memory)."""
    step = steel_step(80.0, shear)
    # The rest at the far end of a beam whose back does not give: integrate the overhang alone.
    got = 100 * (80**3 / 3 * step.give[0, 0] + 80 * step.shear)
    assert got == pytest.approx(deflection, abs=1e-12)
    assert shear_factor(RoundBar(diameter_mm=12, length_mm=80, steel=STEEL), NU) == pytest.approx(7.8 / 8.8)


def test_beam_with_overhang():
    """Back span a 150, overhang c 60: F c² (a + c) / 3 E I, reactions -40 and +140 N; handbook pages."""
    beam = Beam((steel_step(210.0, False),), 210.0)
    assert 100 * beam.give(60.0)[0, 0] == pytest.approx(0.119601138126, abs=1e-11)
    assert beam.hand_force(60.0, 100.0) == pytest.approx(40.0)
    assert beam.largest_overhang(0.119601138126, 100.0) == pytest.approx(60.0, abs=1e-6)
    cut = Beam((_part(0, 70), _part(70, 130), _part(130, 210)), 210.0)
    assert cut.give(60.0) == pytest.approx(beam.give(60.0), rel=1e-12)


def _part(start, end):
    whole = steel_step(1.0, False)
    return type(whole)(start, end, whole.give, whole.shear, whole.mass, whole.turning, whole.stiff)


def test_first_frequency_of_a_cantilever():
    """L 80, lambda 1.8751: 1322.93496 Hz without rotary inertia and shear; handbook. Four digits of lambda: 1e-4."""
    step = steel_step(80.0, False)
    thin = type(step)(step.start, step.end, step.give, step.shear, step.mass, 0.0, step.stiff)
    assert first_frequency((thin,), (), clamp=80.0) == pytest.approx(1322.93496, rel=1e-4)
    assert first_frequency((step,), (), clamp=80.0) < 1322.93496


def test_first_frequency_with_a_tip_mass():
    """Mass ratio 1: lambda² = 1.557298 (Math. Probl. Eng. 2017, 1568019)."""
    step = steel_step(80.0, False)
    thin = type(step)(step.start, step.end, step.give, step.shear, step.mass, 0.0, step.stiff)
    got = first_frequency((thin,), (), clamp=80.0, tip_mass=step.mass * 80)
    want = 1.557298 / (2 * np.pi * 80**2) * np.sqrt(step.stiff / step.mass)
    assert got == pytest.approx(want, rel=1e-5)


@pytest.mark.parametrize(
    "name",
    [
        "finial-round-10-fingernail-foot",
        "baluster-square-10-fingernail-foot",
        "baluster-deep-round-12.7-fingernail-foot",
    ],
)
def test_fluted_bars_in_a_finite_element_library(name):
    """sectionproperties (a test extra) on the same outlines as fine polygons."""
    pytest.importorskip("sectionproperties", reason="sectionproperties is a test extra")
    from sectionproperties.analysis import Section as Analysis
    from sectionproperties.pre import Geometry
    from shapely import Polygon

    recipe = load(name)
    section = build_section(recipe.bar, recipe.flute)
    inner = section.outline.breaks
    inner = inner[(inner > section.v_left) & (inner < section.v_right)]
    v = np.unique(np.concatenate([np.linspace(section.v_left, section.v_right, 400), inner]))
    u = np.linspace(section.u_right, section.u_left, 200)[1:-1]
    polygon = Polygon(np.concatenate([section.outline.point(v), section.flute_point(u)]))
    geometry = Geometry(polygon).create_mesh(mesh_sizes=[0.5])
    analysis = Analysis(geometry)
    analysis.calculate_geometric_properties()
    ours = fluted(section)
    ixx, iyy, ixy = analysis.get_ic()
    assert ours.area == pytest.approx(analysis.get_area(), rel=1e-4)
    assert (ours.ixx, ours.iyy) == pytest.approx((ixx, iyy), rel=2e-4)
    assert (ours.y, ours.ixy) == pytest.approx((analysis.get_c()[1], ixy), abs=1e-3)


def test_a_longer_handle_and_a_shorter_overhang_hold_steadier():
    """Plain facts of levers."""
    recipe = load("finial-round-10-fingernail-foot")
    beam = beam_of(recipe)
    assert beam.give(40.0)[1, 1] < beam.give(60.0)[1, 1] < beam.give(80.0)[1, 1]
    assert beam.hand_force(60.0, 100.0) > 0
    from gougeform.read.recipe import changed

    longer = beam_of(changed(recipe, {"handle": "long-430"}))
    assert longer.hand_force(60.0, 100.0) < beam.hand_force(60.0, 100.0)
