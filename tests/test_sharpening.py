"""Sharpening again and again: closed forms of two straight bevels, and lands of any length."""

import numpy as np
import pytest

from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.measure.measures import measure, result
from gougeform.measure.sharpening import sharpening
from gougeform.recipe.change import changed
from gougeform.recipe.reading import load

RELIEF = "finial-round-10-relief-foot"


def test_what_is_taken_off_the_bevel_shortens_by_its_sine():
    """Derived: the bevel stands at the nose angle to the bar, so d off square to it is d / sin(nose angle) long."""
    for name, taken in ((RELIEF, 0.1), ("finial-round-10-plain-table", 0.05)):
        made = measure(shape(load(name)))
        one = sharpening(made.gouge, made.edge, taken)
        assert one.nose_loss == pytest.approx(taken / np.sin(np.radians(made.nose_angle)), rel=1e-9)
    with pytest.raises(InputError, match="above 0"):
        sharpening(made.gouge, made.edge, 0.0)


def test_a_relief_leaves_less_to_take_and_the_land_grows():
    one = sharpening(shape(load(RELIEF)))
    assert one.steel < one.of_one_bevel
    assert (np.diff(one.cycle.lands) > 0).all()
    # Over a whole cycle both ways take the same steel: both end as the same tool, so much shorter.
    assert sum(one.cycle.steel) + one.cycle.relief == pytest.approx(one.cycle.one_bevel, rel=0.01)


def test_a_land_that_is_longer_already_is_told_and_not_refused():
    """Half of the bevel is usual; tools with more were refused once. Only what a person asked for is refused."""
    long = shape(changed(load(RELIEF), {"grind.1.land_mm": 8.0}))
    told = result(measure(long), [])["sharpening"]
    assert told["relief_again_after"] == 0
    assert told["lands_mm"] == pytest.approx([8.0], abs=0.05)
    with pytest.raises(InputError, match="already"):
        sharpening(long, longest=3.0)
