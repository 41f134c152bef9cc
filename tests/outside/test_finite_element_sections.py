"""sectionproperties (a test extra), a finite-element library for cross-sections: every kind of flute in every kind of
bar.

Its sections are polygons with straight sides; ours are exact curves. Polygons of n and 2n sides a piece are
extrapolated to their limit; where a flute is not smooth (a vee's floor ends, measured points) that leaves more than
elsewhere.
"""

from itertools import pairwise

import numpy as np
import pytest

from gougeform.bar.section import build_section
from gougeform.recipe.change import changed
from gougeform.recipe.reading import from_table, load
from gougeform.stiffness.beam import beam_of
from gougeform.stiffness.properties import fluted
from polygons import limit, polygon

pytest.importorskip("sectionproperties", reason="sectionproperties is a test extra")

SOURCE = "sectionproperties, finite elements"
SMOOTH = {
    "detail-round-10": "round-10",
    "spindle-square-12.7": "square-12.7",
    "deep-ellipse-round-12.7": "round-12.7",
    "deep-round-8": "round-8",
    "spindle-round-6": "round-6",
}
PIECES = {
    "deep-vee-square-12.7": "square-12.7",
    "deep-vee-round-12.7": "round-12.7",
    "measured-round-10": "round-10",
    "detail-flatted-10": "flatted-10",
}


def analysed(points):
    from sectionproperties.analysis import Section as Analysis
    from sectionproperties.pre import Geometry
    from shapely import Polygon

    geometry = Geometry(Polygon(points)).create_mesh(mesh_sizes=[0])  # corners only: plane integrals need no more
    analysis = Analysis(geometry)
    analysis.calculate_geometric_properties()
    return np.array([analysis.get_area(), *analysis.get_c(), *analysis.get_ic()])


def both(table, flute, bar):
    recipe = changed(from_table(table("foot")), {"bar": bar, "flute": flute})
    section = build_section(recipe.bar, recipe.flute)
    return fluted(section), limit(*(analysed(polygon(section, n)) for n in (16, 32)))


@pytest.mark.parametrize("flute", SMOOTH)
def test_smooth_flutes(table, agree, flute):
    """Area, centroid and second moments about the centroid."""
    ours, (area, x, y, ixx, iyy, _) = both(table, flute, SMOOTH[flute])
    agree("area of bars with smooth flutes", ours.area, area, 3e-6, "1", relative=True)
    agree("centroid of bars with smooth flutes", [ours.x, ours.y], [x, y], 3e-6, "mm")
    agree("second moments of bars with smooth flutes", [ours.ixx, ours.iyy], [ixx, iyy], 3e-6, "1", relative=True)


@pytest.mark.parametrize("flute", PIECES)
def test_flutes_of_pieces(table, agree, flute):
    ours, (area, _, y, ixx, iyy, ixy) = both(table, flute, PIECES[flute])
    agree("area of bars with vees and measured flutes", ours.area, area, 3e-5, "1", relative=True)
    agree("centroid of bars with vees and measured flutes", ours.y, y, 3e-5, "mm")
    moments = [ours.ixx, ours.iyy]
    agree("second moments of bars with vees and measured flutes", moments, [ixx, iyy], 1e-5, "1", relative=True)
    agree("mixed moment of bars with vees and measured flutes", ours.ixy, ixy, 1e-10, "mm⁴")


@pytest.mark.parametrize("overhang", [40.0, 80.0])
def test_deflection_with_its_sections(agree, overhang):
    """A whole tool over rest and hand: the moment's curve integrated twice, as handbooks do, by scipy's trapezoids.

    Stiffness of the fluted part from the library's section; plain bar, ferrule and handle are circles, bonded where the
    tang is inside. Shear by Cowper's coefficient for circles, 0.9 taken for the handle.
    """
    from scipy.integrate import cumulative_trapezoid

    recipe = load("finial-round-10-fingernail-foot")
    bar, handle = recipe.bar, recipe.handle
    section = build_section(bar, recipe.flute)
    area, _, _, ixx, _, _ = limit(*(analysed(polygon(section, n)) for n in (16, 32)))
    young, nu, wood = bar.steel.young_gpa * 1e3, bar.steel.poisson, handle.young_gpa * 1e3
    shear, soft, k = young / 2 / (1 + nu), wood / 2 / 1.35, 6 * (1 + nu) / (7 + 6 * nu)
    i_bar, a_bar = np.pi * bar.diameter_mm**4 / 64, np.pi * bar.diameter_mm**2 / 4
    front = bar.length_mm
    hand = front + handle.hand_mm
    pieces = [(0.0, recipe.flute.length_mm, young * ixx, k * shear * area)]
    pieces.append((recipe.flute.length_mm, front, young * i_bar, k * shear * a_bar))
    marks = [front, front + handle.ferrule_length_mm, front + handle.tang_mm, hand]
    assert marks == sorted(marks)
    for low, high, size in zip(
        marks[:-1], marks[1:], (handle.ferrule_diameter_mm, *2 * [handle.handle_diameter_mm]), strict=True
    ):
        stiff, carries = wood * np.pi * size**4 / 64, 0.9 * soft * np.pi * size**2 / 4
        if high <= front + handle.tang_mm:
            stiff, carries = stiff + (young - wood) * i_bar, carries + k * (shear - soft) * a_bar
        pieces.append((low, high, stiff, carries))
    borders = sorted({0.0, overhang, hand, *(p[0] for p in pieces)})
    x = np.concatenate([np.linspace(a + 1e-9, b - 1e-9, 4001) for a, b in pairwise(borders)])
    which = np.array([next(p for p in pieces if p[0] <= at <= p[1]) for at in x])
    moment = np.where(x < overhang, x, overhang * (hand - x) / (hand - overhang))
    force = np.where(x < overhang, 1.0, -overhang / (hand - overhang))
    slope = cumulative_trapezoid(moment / which[:, 2], x, initial=0) - force / which[:, 3]
    w = cumulative_trapezoid(slope, x, initial=0)
    # Both supports stand still: take off the line through them.
    at_rest, at_hand = np.interp(overhang, x, w), w[-1]
    tip = w[0] - (at_rest - (at_hand - at_rest) / (hand - overhang) * overhang)
    ours = beam_of(recipe).give(overhang)[1, 1]
    agree("deflection of a library tool over rest and hand", 100 * ours, 100 * tip, 1e-6, "mm")
