"""Reliefs: land, move and angle, any two of which give the third."""

import numpy as np
import pytest

from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.measure.measures import measure
from gougeform.recipe.change import changed
from gougeform.recipe.reading import load
from gougeform.settings.bench import bench_of
from gougeform.settings.relief import Middle

NAMES = ["finial-round-10-fingernail-foot", "finial-round-10-fingernail-rod", "finial-round-10-plain-table"]


@pytest.mark.parametrize("name", NAMES)
def test_each_two_give_the_third(name):
    middle = Middle(load(name))
    one = middle.from_move(1.2, 6.0)
    assert middle.from_angle(1.2, one.angle).move == pytest.approx(6.0, abs=1e-9)
    assert middle.from_both(6.0, one.angle).land == pytest.approx(1.2, abs=1e-9)


@pytest.mark.parametrize("name", NAMES)
def test_the_surface_has_the_angle_and_the_land(name):
    middle = Middle(load(name))
    made = middle.made(middle.from_move(1.2, 6.0))
    assert made.angle == pytest.approx(made.relief.angle, abs=1e-6)
    assert made.edge.land[made.edge.nose] == pytest.approx(1.2, abs=1e-3)
    assert bench_of(made.recipe, 1).nose_angle() == pytest.approx(made.relief.nose, abs=1e-9)
    if made.relief.unit == "mm":
        both = shape(made.recipe).settings
        assert both[0].rim_distance - both[1].rim_distance == pytest.approx(6.0, abs=1e-9)


def test_angle_on_the_circle():
    # Derived: on an arc of radius R that meets the nose at β, the slope h below the nose has cos γ = cos β - h / R.
    middle = Middle(load(NAMES[0]))
    relief = middle.from_move(1.2, 6.0)
    nose = np.radians(35)
    depth = 1.2 * np.sin(nose + np.arcsin(1.2 / 200))
    assert np.cos(np.radians(relief.angle)) == pytest.approx(np.cos(np.radians(relief.nose)) - depth / 100, abs=1e-12)


def test_relief_needs_the_pocket_inward():
    # Practice: moving the pocket toward the wheel takes the heel, outward it would blunt the edge.
    middle = Middle(load(NAMES[0]))
    with pytest.raises(InputError, match="must be more acute"):
        middle.from_move(1.2, -2.0)
    family = middle.family(1.2)
    assert np.all(np.diff([one.nose for one in family]) < 0)
    assert all(one.nose < 35 for one in family)
    assert [one.move for one in family[:3]] == [0.5, 1.0, 1.5]


def test_a_recipes_own_relief_is_found_again():
    recipe = load("finial-round-10-relief-foot")
    middle = Middle(recipe)
    move = bench_of(recipe).value("distance") - bench_of(recipe, 1).value("distance")
    relief = middle.from_move(recipe.grinds[1].land_mm, move)
    assert relief.nose == pytest.approx(recipe.grinds[1].jig.nose_angle_deg, abs=1e-9)
    made = middle.made(relief)
    assert measure(made.gouge).land == pytest.approx(measure(shape(recipe)).land, abs=1e-6)


def test_on_a_belt_the_relief_is_flat():
    middle = Middle(changed(load(NAMES[0]), {"wheel": "belt-50"}))
    relief = middle.from_move(1.2, 4.0)
    assert relief.angle == pytest.approx(relief.nose, abs=1e-9)
    with pytest.raises(InputError, match="on a belt the relief is flat"):
        middle.from_both(4.0, 30.0)


@pytest.mark.parametrize(
    ("ask", "message"),
    [
        (lambda m: m.from_move(40.0, 6.0), "given 40: the bevel at the nose is"),
        (lambda m: m.from_move(0.0, 6.0), "given 0: the bevel at the nose is"),
        (lambda m: m.from_move(1.2, 500.0), "pocket or rod would stand in the wheel"),
        (lambda m: m.from_angle(1.2, 50.0), "a relief can begin with"),
        (lambda m: m.from_angle(1.2, 2.0), "a relief can begin with"),
        (lambda m: m.from_both(6.0, 60.0), "an angle between them"),
        (lambda m: m.from_both(6.0, 10.0), "An angle between them"),
    ],
)
def test_bad_reliefs(ask, message):
    with pytest.raises(InputError) as caught:
        ask(Middle(load(NAMES[0])))
    assert message.lower() in str(caught.value).lower()


def test_the_relief_that_a_recipe_has():
    """Its land as the recipe says, and the nose angle that its setting would make by itself."""
    from gougeform.recipe.reading import load
    from gougeform.settings.relief import relief_of

    recipe = load("finial-round-10-relief-foot")
    relief = relief_of(recipe)
    assert relief.land == pytest.approx(recipe.grinds[1].land_mm)
    assert relief.nose == pytest.approx(recipe.grinds[1].jig.nose_angle_deg, abs=1e-6)
    assert 25.0 < relief.angle < 35.0
