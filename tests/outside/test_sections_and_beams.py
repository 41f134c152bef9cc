"""Section properties and beams: Machinery's Handbook 31, pp. 245–6 and beam pages (text seen), circles and chords
(derived), Cowper 1966 (from memory), Math. Probl. Eng. 2017, 1568019 (text seen); as noted at each check.
"""

import numpy as np
import pytest

from gougeform.bar.bar import Steel
from gougeform.bar.flutes.arc import ArcFlute
from gougeform.bar.outlines.points import PointsBar
from gougeform.bar.outlines.round import RoundBar
from gougeform.bar.outlines.square import SquareBar
from gougeform.bar.section import build_section
from gougeform.measure.volume import head_volume_mm3
from gougeform.recipe.change import changed
from gougeform.recipe.reading import from_table, load
from gougeform.stiffness.beam import Beam, _step, beam_of, first_frequency, shear_factor
from gougeform.stiffness.properties import fluted, plain, round_bar
from still import ground_by, plane_cut

SOURCE = "Machinery's Handbook 31, pp. 245–6, beam pages · seen"
DERIVED = "circles and chords · derived"
COWPER = "Cowper, J. Appl. Mech. 33, 1966 · from memory"
TIP = "Math. Probl. Eng. 2017, 1568019 · seen"

E, NU, RHO, D = 207000.0, 0.3, 8138e-12, 12.0
STEEL = Steel(young_gpa=207.0, density_g_cm3=8.138, poisson=NU)


def steel_step(end, shear):
    p = round_bar(D)
    k = 6 * (1 + NU) / (7 + 6 * NU)
    carries = k * E / (2 * (1 + NU)) * p.area if shear else 1e30
    return _step(0.0, end, [(p, E, RHO)], carries)


def test_circle(agree):
    """Machinery's Handbook 31, p. 245."""
    p = round_bar(12.0)
    agree("second moment of a round bar", p.ixx, 1017.87601976, 1e-8, "mm⁴")
    agree("polar moment of a round bar", p.ixx + p.iyy, 2035.75203953, 1e-8, "mm⁴")


def test_round_with_a_flat(agree):
    """Radius 6, a flat 1.5 deep, as a measured outline: 720 points on the arc leave 1e-4 of it out."""
    half = np.arccos(4.5 / 6)
    phi = np.linspace(half, 2 * np.pi - half, 720)
    points = 6 * np.stack([-np.sin(phi), np.cos(phi)], -1)
    bar = PointsBar(points_mm=points.tolist(), length_mm=100, steel=STEEL)
    p = plain(build_section(bar, ArcFlute(radius_mm=4, web_mm=9, length_mm=50)).outline)
    agree("area of a round bar with a flat", p.area, 104.937723958, 2e-5, "1", relative=True, source=DERIVED)
    moments = sorted([p.ixx, p.iyy])
    wanted = [787.253983192, 991.318921662]
    agree("second moments of a round bar with a flat", moments, wanted, 4e-5, "1", relative=True, source=DERIVED)


def test_rounded_square(agree):
    """Square 10 with corners of radius 2; derived."""
    bar = SquareBar(side_mm=10, corner_radius_mm=2, length_mm=100, steel=STEEL)
    p = plain(build_section(bar, ArcFlute(radius_mm=4, web_mm=6, length_mm=50)).outline)
    agree("area of a rounded square bar", p.area, 96.5663706144, 1e-9, "mm²", source=DERIVED)
    agree("second moments of a rounded square bar", [p.ixx, p.iyy], 761.663706144, 1e-9, "mm⁴", source=DERIVED)


def test_fluted_round(agree):
    """R 8, flute radius 5 with its centre 6 from the axis; derived, a finite-element library agrees."""
    bar = RoundBar(diameter_mm=16, length_mm=100, steel=STEEL)
    p = fluted(build_section(bar, ArcFlute(radius_mm=5, web_mm=9, length_mm=50)))
    agree("area of a fluted round bar", p.area, 147.359624346, 1e-9, "mm²", source=DERIVED)
    agree("centroid of a fluted round bar", [p.x, p.y], [0, -1.70069106640], 1e-10, "mm", source=DERIVED)
    moments = [1457.76334484, 2889.53197722]
    agree("second moments of a fluted round bar", [p.ixx, p.iyy], moments, 1e-8, "mm⁴", source=DERIVED)


def test_volume_of_a_fluted_bar_under_a_plane_bevel(agree, table):
    """A plane over a prism: its volume is area times the height at the centroid (derived; the row's A and centroid)."""
    made = changed(from_table(table("foot")), {
        "bar.diameter_mm": 16.0, "flute.radius_mm": 5.0, "flute.web_mm": 9.0
    })  # fmt: skip
    slope = 1 / np.tan(np.radians(38))
    gouge = ground_by(made, plane_cut(slope))
    want = 147.359624346 * (30.0 + slope * -1.70069106640)
    agree("volume of a fluted bar under a plane bevel", head_volume_mm3(gouge, 30.0), want, 1e-10, "1", relative=True,
          source=DERIVED)  # fmt: skip


@pytest.mark.parametrize(("shear", "deflection"), [(False, 0.0809997125932), (True, 0.0820020840366)])
def test_cantilever(agree, shear, deflection):
    """L 80, F 100: handbook; with Cowper's shear coefficient (J. Appl. Mech. 33, 1966; from memory)."""
    step = steel_step(80.0, shear)
    # The rest at the far end of a beam whose back does not give: integrate the overhang alone.
    got = 100 * (80**3 / 3 * step.give[0, 0] + 80 * step.shear)
    if shear:
        agree("deflection of the overhang with shear", got, deflection, 1e-12, "mm", source=COWPER)
    else:
        agree("deflection of the overhang: cantilever", got, deflection, 1e-12, "mm")
    factor = shear_factor(RoundBar(diameter_mm=12, length_mm=80, steel=STEEL), NU)
    assert factor == pytest.approx(6 * (1 + NU) / (7 + 6 * NU))


def test_beam_with_overhang(agree):
    """Back span a 150, overhang c 60: F c² (a + c) / 3 E I, reactions -40 and +140 N; handbook pages."""
    beam = Beam((steel_step(210.0, False),), 210.0)
    agree("deflection over rest and hand", 100 * beam.give(60.0)[0, 0], 0.119601138126, 1e-11, "mm")
    agree("force at the rear hand", beam.hand_force(60.0, 100.0), 40.0, 1e-11, "N")
    agree("largest overhang for a deflection", beam.largest_overhang(0.119601138126, 100.0), 60.0, 1e-9, "mm")
    cut = Beam((_part(0, 70), _part(70, 130), _part(130, 210)), 210.0)
    assert cut.give(60.0) == pytest.approx(beam.give(60.0), rel=1e-12)


def _part(start, end):
    whole = steel_step(1.0, False)
    return type(whole)(start, end, whole.give, whole.shear, whole.mass, whole.turning, whole.stiff)


def test_first_frequency_of_a_cantilever(agree):
    """L 80, lambda 1.8751: 1322.93496 Hz without rotary inertia and shear; handbook. Four digits of lambda: 1e-4."""
    step = steel_step(80.0, False)
    thin = type(step)(step.start, step.end, step.give, step.shear, step.mass, 0.0, step.stiff)
    got = first_frequency((thin,), (), clamp=80.0)
    agree("first frequency of the overhang", got, 1322.93496, 1e-4, "1", relative=True)
    assert first_frequency((step,), (), clamp=80.0) < 1322.93496


def test_first_frequency_with_a_tip_mass(agree):
    """Mass ratio 1: lambda² = 1.557298 (Math. Probl. Eng. 2017, 1568019)."""
    step = steel_step(80.0, False)
    thin = type(step)(step.start, step.end, step.give, step.shear, step.mass, 0.0, step.stiff)
    got = first_frequency((thin,), (), clamp=80.0, tip_mass=step.mass * 80)
    want = 1.557298 / (2 * np.pi * 80**2) * np.sqrt(step.stiff / step.mass)
    agree("first frequency with a mass at the tip", got, want, 1e-5, "1", relative=True, source=TIP)


def test_levers(agree):
    """A shorter overhang moves the edge less, a longer handle needs less force: plain facts of levers."""
    recipe = load("finial-round-10-fingernail-foot")
    beams = [beam_of(recipe), beam_of(changed(recipe, {"handle": "long-430"}))]
    levers = "facts of levers · common practice"
    moves = [beams[0].give(a)[1, 1] * 100 for a in (80.0, 60.0, 40.0)]
    agree.falls("movement of the edge as the overhang shortens", moves, "mm", source=levers)
    hand = [beam.hand_force(60.0, 100.0) for beam in beams]
    agree.falls("force at the rear hand with a longer handle", hand, "N", source=levers)
