"""Facts of the trade: common practice, no source. Each is held against what the program computes."""

import numpy as np
import pytest
from test_reach_closed_forms import at_the_nose, ring

from conftest import grind_tool
from gougeform.bar.section import build_section
from gougeform.grind.gouge import shape
from gougeform.measure.cheek import cheek_widths, past_edge
from gougeform.measure.edge import measure_edge
from gougeform.measure.measures import measure
from gougeform.reach.body import build_body
from gougeform.recipe.change import changed
from gougeform.recipe.reading import from_table, load
from gougeform.stiffness.beam import beam_of
from gougeform.stiffness.properties import plain

SOURCE = "common practice, no source"


@pytest.mark.parametrize("name", ["finial-round-10-fingernail-foot", "finial-round-10-fingernail-rod",
                                  "finial-round-10-relief-foot"])  # fmt: skip
def test_nose_angles_of_detail_gouges(agree, name):
    """Between 25 and 35 degrees; new ones often come at 35."""
    agree("nose angles of ground detail gouges", measure(shape(load(name))).nose_angle, 30, 5.0001, "deg")


@pytest.mark.parametrize("projection", [65.0, 75.0])
@pytest.mark.parametrize("wheel", ["wheel-150", "wheel-200", "wheel-250"])
def test_usual_projections_and_wheels(agree, projection, wheel):
    """All of them give the usual 35 degrees with a fingernail edge."""
    edits = {"jig.projection_mm": projection, "wheel": wheel, "grind.0.nose_angle_deg": 35.0}
    found = measure(shape(changed(load("finial-round-10-fingernail-foot"), edits))).nose_angle
    agree("nose angle on usual wheels at usual projections", found, 35, 1e-11, "deg")


def test_toward_the_wheel_takes_the_heel(agree):
    """A second, more acute bevel, the pocket nearer to the wheel; the heel it takes was left of the first."""
    gouge, plain_one = grind_tool("foot-relief"), grind_tool("foot")
    first, second = gouge.settings
    agree.falls("rim distance from the first bevel to the relief", [first.rim_distance, second.rim_distance], "mm")
    one, two = measure_edge(plain_one), measure_edge(gouge)
    heel = [one.bevel[one.nose], two.land[two.nose]]
    agree.falls("bevel next to the edge, without and with the relief", heel, "mm")
    low = cheek_widths(plain_one, np.array([10.0])), cheek_widths(gouge, np.array([10.0]))
    agree.falls("cheek 10 mm behind the nose, without and with the relief", np.concatenate(low), "mm")


def test_a_shorter_bevel_gets_into_a_tighter_place(agree):
    """The clearance that a tool's nose needs in a bore of radius 20, for ever shorter lands; no bevel is longer."""
    need = [at_the_nose(build_body(grind_tool("foot"), head_only=True), ring(20.0), 2).alpha[0]]
    for land in (6.0, 4.0, 2.5, 1.5):
        body = build_body(grind_tool("foot-relief", {"grind.1.land_mm": land}), head_only=True)
        need.append(at_the_nose(body, ring(20.0), 2).alpha[0])
    agree.falls("clearance needed in a bore as the bevel gets shorter", np.degrees(need), "deg")


def test_a_thicker_bar_reaches_further_over_the_rest(agree, table):
    """The overhang at which 100 N bend the edge by 0.25 mm, bars of 12.7, 10, 8 and 6 mm."""
    far = []
    for size, web in ((12.7, 8.2), (10.0, 6.5), (8.0, 5.2), (6.0, 3.9)):
        made = {"bar.diameter_mm": size, "flute.web_mm": web, "flute.radius_mm": 0.4 * size}
        far.append(beam_of(changed(from_table(table("foot")), made)).largest_overhang(0.25, 100.0))
    agree.falls("overhang for the same deflection, from the thickest bar down", far, "mm")


@pytest.mark.parametrize("bar", ["round-6", "round-8", "round-10", "round-12.7", "square-10", "square-12.7"])
def test_a_thick_web_makes_a_detail_gouge(agree, table, bar):
    """Steel under the flute, as a part of the bar's thickness: detail, spindle, deep."""
    webs = []
    for kind in ("detail", "spindle", "deep"):
        recipe = changed(from_table(table("foot")), {"bar": bar, "flute": f"{kind}-{bar}"})
        section = build_section(recipe.bar, recipe.flute)
        webs.append((section.y_floor - section.underside) / (section.outline.support((0.0, 1.0)) - section.underside))
    agree.falls("web of detail, spindle and deep flutes", webs, "of the bar")


def test_square_and_round_cheeks(agree):
    """The trade says that a squarer bar has a slightly narrower cheek for the same grind. So it has, past its own edge.

    Across, with the same thickness, flute, web and grind it is wider, by 0.4 to 0.7 mm, and with as much steel in the
    section still by 0.04 mm: its lips stand further out, and with them the edge. What stands out beside the edge, from
    about 8 mm behind the nose on, is less on the square bar, and by more the further back.
    """
    says = "common practice says the reverse: not found"
    square = {"bar": {"outline": "square", "side_mm": 10.0, "corner_radius_mm": 1.0, "length_mm": 150.0}}
    recipe = changed(grind_tool("foot").recipe, square)
    same = float(np.sqrt(plain(build_section(recipe.bar, recipe.flute).outline).area * 4 / np.pi))
    widths = [
        cheek_widths(grind_tool("foot", edits), np.array([3.0, 5.0, 10.0]))
        for edits in (square, {"bar.diameter_mm": same}, {})
    ]
    for pair in np.array(widths)[:2].T:
        agree.falls("cheeks, square bar to round bar of the same steel", pair, "mm", source=says)
    for pair in np.array(widths)[[0, 2]].T:
        agree.falls("cheeks, square bar to round bar as thick", pair, "mm", source=says)
    past = [past_edge(measure_edge(grind_tool("foot", edits)), [8.0, 10.0, 14.0]) for edits in ({}, square)]
    for pair in np.transpose(past):
        agree.falls("cheek past the edge, round bar to square bar as thick", pair, "mm", source=SOURCE)
