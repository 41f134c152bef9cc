"""Tools brought to the same edge, width, stiffness or mass before they are compared."""

import numpy as np
import pytest

from gougeform.bar.section import build_section
from gougeform.compare.equal import fair, usual
from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.measure.measures import measure
from gougeform.recipe.change import changed
from gougeform.recipe.reading import load
from gougeform.stiffness.beam import beam_of
from gougeform.stiffness.properties import fluted

ROUND = load("finial-round-10-fingernail-foot")
SQUARE = changed(ROUND, {"bar": {"outline": "square", "side_mm": 10.0, "corner_radius_mm": 1.0, "length_mm": 150.0}})


def section(recipe):
    return build_section(recipe.bar, recipe.flute)


def stiffness(recipe, overhang=60.0):
    return 1 / np.linalg.eigvalsh(beam_of(recipe, section(recipe)).give(overhang))[-1]


def test_at_equal_flute_the_lips_of_a_square_bar_stand_further_out():
    """Numbers of an independent computation of the same two sections (arc 4, web 6.5; nose 35, wing 10)."""
    one, two = fair([ROUND, SQUARE], ["flute"], 60.0)
    assert (one.changed, two.changed) == ("", "")
    assert section(two.recipe).lip(1)[0] - section(one.recipe).lip(1)[0] == pytest.approx(0.47, abs=0.005)
    past = [measure(shape(each.recipe))["cheek_past_edge_mm"]["10"] / 2 for each in (one, two)]
    assert past == pytest.approx([0.68, 0.54], abs=0.006)


def test_the_same_edge_has_the_same_lips_and_depth_and_so_the_same_outline():
    _, two = fair([ROUND, SQUARE], ["edge"], 60.0)
    a, b = section(ROUND), section(two.recipe)
    assert b.lip(1)[0] == pytest.approx(a.lip(1)[0], abs=1e-9)
    assert b.lip(1)[1] - b.y_floor == pytest.approx(a.lip(1)[1] - a.y_floor, abs=1e-9)
    edges = [measure(shape(recipe)).edge for recipe in (ROUND, two.recipe)]
    from_nose = [edge.point[:, ::40] - edge.point[:, [edge.nose]] for edge in edges]
    np.testing.assert_allclose(from_nose[1], from_nose[0], atol=1e-6)
    assert "web under the flute 6.50 mm to 7.93 mm" in two.changed


def steel(recipe):
    return fluted(section(recipe)).area


@pytest.mark.parametrize("size", [stiffness, steel])
@pytest.mark.parametrize("edge", [[], ["edge"]])
def test_sizes_are_equal(size, edge):
    words = [*edge, "stiffness" if size is stiffness else "mass"]
    _, two = fair([ROUND, SQUARE], words, 60.0)
    assert size(two.recipe) == pytest.approx(size(ROUND), rel=1e-9)
    assert two.recipe.bar.side_mm < 10
    assert two.recipe.bar.corner_radius_mm == pytest.approx(two.recipe.bar.side_mm / 10, rel=1e-12)
    if edge:
        assert section(two.recipe).lip(1)[0] == pytest.approx(section(ROUND).lip(1)[0], abs=1e-9)


def test_at_equal_edge_and_stiffness_the_square_bar_is_leaner_behind():
    """The trade's claim, where it is true (from about 10 mm behind the nose on); computed independently, see above."""
    _, two = fair([ROUND, SQUARE], ["edge", "stiffness"], 60.0)
    past = [measure(shape(recipe))["cheek_past_edge_mm"]["15"] for recipe in (ROUND, two.recipe)]
    assert past[0] - past[1] > 1.0


def test_what_contradicts_itself_is_refused_and_what_cannot_be_says_why():
    for words, said in (
        (["width", "mass"], "both decide the size of the bar"),
        (["edge", "flute"], "both decide the flute"),
        (["nothing", "edge"], "together with something"),
        (["colour"], "allowed are edge"),
    ):
        with pytest.raises(InputError, match=said):
            fair([ROUND, SQUARE], words, 60.0)
    points = [[x, x * x / 8] for x in np.linspace(-6, 6, 13).tolist()]
    measured = changed(SQUARE, {"flute": {"shape": "points", "points_mm": points, "web_mm": 6.0, "length_mm": 60.0}})
    _, two = fair([ROUND, measured], ["edge"], 60.0)
    assert two.recipe == measured
    assert "no opening to choose" in two.why


def test_bars_that_differ_in_section_alone_get_the_same_edge_unasked():
    assert usual([ROUND, SQUARE]) == ("edge",)
    assert usual([ROUND, changed(ROUND, {"flute.web_mm": 6.0})]) == ()
    assert usual([ROUND, changed(SQUARE, {"grind.0.nose_angle_deg": 40.0})]) == ()
