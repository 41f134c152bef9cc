"""Every number of a recipe carries what is said of it, once, and that holds together. No outside source."""

from __future__ import annotations

import math

import pytest

from gougeform.bar.bar import Steel
from gougeform.bar.handle import Handle
from gougeform.machine.wheel import GrinderRest, Guard
from gougeform.quantity import Quantity
from gougeform.recipe.model import Recipe
from gougeform.recipe.resolving import Grind
from gougeform.recipe.sections import SECTIONS
from gougeform.settings.names import NAMES

MODELS = dict.fromkeys(
    [
        *(model for kinds in SECTIONS.values() for model in kinds.classes.values()),
        *(Steel, Handle, Guard, GrinderRest, Grind, Recipe),
    ]
)
FIELDS = [(model, name, quantity) for model in MODELS for name, quantity in model.quantities().items()]


def allowed(quantity, value):
    return (
        (quantity.gt is None or value > quantity.gt)
        and (quantity.lt is None or value < quantity.lt)
        and quantity.least <= value <= quantity.most
    )


@pytest.mark.parametrize(("model", "name", "quantity"), FIELDS, ids=[f"{m.__name__}.{n}" for m, n, _ in FIELDS])
def test_what_is_said_of_a_field_holds_together(model, name, quantity):
    assert quantity.label
    assert quantity.description
    assert -math.inf < quantity.least < quantity.most < math.inf
    for ends in (quantity.usual, quantity.search, quantity.span):
        for end in ends or ():
            assert allowed(quantity, end)
        assert ends is None or ends[0] < ends[1]
    assert (
        quantity.usual is None
        or quantity.span is None
        or (quantity.span[0] <= quantity.usual[0] and quantity.usual[1] <= quantity.span[1])
    )
    assert (quantity.span is None) or quantity.step > 0
    assert bool(quantity.search) == bool(quantity.setting) == bool(quantity.called)
    default = model.model_fields[name].default
    for value in default if isinstance(default, tuple) else (default,):
        assert not isinstance(value, float) or allowed(quantity, value)
    assert not quantity.how.endswith(".")


@pytest.mark.parametrize("name", NAMES)
def test_a_setting_is_the_same_on_every_jig(name):
    one = NAMES[name]
    found = {
        (quantity.search, quantity.called)
        for kind, field in one.fields.items()
        for quantity in [SECTIONS[one.table].classes[kind].meaning(field)]
        if isinstance(quantity, Quantity)
    }
    assert found == {(one.bounds, one.words)}


def test_every_field_has_words_a_person_can_read():
    for model in MODELS:
        for name, info in model.model_fields.items():
            if (
                name != model.tag
                and not info.exclude
                and name not in ("bar", "flute", "wheel", "jig", "grind", "older")
            ):
                assert model.meaning(name).description, f"{model.__name__}.{name}"
