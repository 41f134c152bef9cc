"""The cautions: every rule is there, and the speed check says both numbers."""

import math

import pytest

from gougeform.present.cautions import STRONG, cautions
from gougeform.recipe.change import changed
from gougeform.recipe.reading import load


@pytest.fixture(scope="module")
def recipe():
    return load("baluster-square-10-relief-foot")


@pytest.mark.parametrize(
    ("diameter_mm", "rpm", "said"),
    [
        # v = pi·D·n, worked by hand: 29.845 m/s; 8 in at 3450 rpm is 7225.66 ft/min = 36.706 m/s.
        (200, 2850, "29.8 m/s"),
        (203.2, 3450, "36.7 m/s"),
    ],
)
def test_speed_of_a_face(recipe, diameter_mm, rpm, said):
    given = {"wheel.diameter_mm": diameter_mm, "wheel.rpm": rpm, "wheel.rated_m_s": 50}
    assert f"face runs at {said}" in cautions(changed(recipe, given))[0]


@pytest.mark.parametrize(
    "words",
    [
        "eye protection",
        "dust mask",
        "1/8 in (3.2 mm)",  # 29 CFR 1910.215(a)(4)
        "1/4 in (6.4 mm)",  # 29 CFR 1910.215(b)(9)
        "29 CFR 1910.215",
        "side of a wheel",
        "600 °C",  # service-centre sheets of M2 high-speed steel
        "carbon steel much earlier",
        "local codes",
        "wheel maker",
        "competent instructor",
        "printed on the wheel",
    ],
)
def test_every_rule_is_said(recipe, words):
    assert sum(words in line for line in cautions(recipe)) == 1


def test_over_the_rating_comes_first_with_both_numbers(recipe):
    # 8 in at 3450 rpm is over a wheel rated 6500 ft/min = 33.02 m/s (36.70 m/s): formula, common bench grinder case.
    fast = changed(recipe, {"wheel.diameter_mm": 203.2, "wheel.rpm": 3450, "wheel.rated_m_s": 33.02})
    first = cautions(fast)[0]
    assert first.startswith(STRONG)
    assert "36.7 m/s" in first
    assert "33.02 m/s" in first
    assert "3450 rpm" in first


def test_a_hair_over_the_rating_is_over_and_shows_it(recipe):
    at = changed(recipe, {"wheel.rpm": 1425, "wheel.rated_m_s": math.pi * 200 * 1425 / 60_000})
    over = changed(recipe, {"wheel.rpm": 1425.01, "wheel.rated_m_s": 14.9})
    assert not any(line.startswith(STRONG) for line in cautions(at))
    assert "14.9227 m/s" in cautions(over)[0]


def test_below_the_rating_says_both_numbers(recipe):
    line = cautions(changed(recipe, {"wheel.rpm": 1425, "wheel.rated_m_s": 35}))[0]
    assert "14.9 m/s" in line
    assert "35 m/s is printed" in line


@pytest.mark.parametrize(("missing", "left"), [("rpm", "rated_m_s"), ("rated_m_s", "rpm")])
def test_what_is_missing_is_named(recipe, missing, left):
    lines = cautions(changed(recipe, {f"wheel.{missing}": None}))
    assert f"gives no wheel.{missing}" in lines[0]
    assert f"gives no wheel.{left}" not in "".join(lines)


def test_the_wheel_of_a_later_grind_is_checked_too(recipe):
    relief = {"kind": "wheel", "diameter_mm": 150.0, "width_mm": 25.0, "rpm": 5000, "rated_m_s": 35}
    lines = cautions(changed(recipe, {"grind.1.wheel": relief}))
    assert "39.3 m/s" in lines[0]
    assert lines[0].startswith(STRONG)
    assert "14.9 m/s" in lines[1]


def test_a_belt_has_no_rest_gap_of_a_wheel(recipe):
    lines = cautions(changed(recipe, {"wheel": "belt-50"}))
    assert "belt" in lines[0]
    assert not any("1/8" in line for line in lines)
