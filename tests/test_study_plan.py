"""Study files: what is refused before anything is computed, how many tools a study has, and where it asks.

Sources: the definition of a Latin hypercube (McKay, Beckman, Conover, Technometrics 21, 1979; from memory) and of the
design for Sobol indices (Saltelli et al., Computer Physics Communications 181, 2010, Table 2; read in SciPy's source).
"""

from __future__ import annotations

import re
import tomllib

import numpy as np
import pytest

import gougeform
from gougeform.errors import InputError
from gougeform.reach.quantities import EVERY
from gougeform.read import library
from gougeform.recipe.reading import load
from gougeform.study.outputs import GROUPS
from gougeform.study.plan import MOST_POINTS, from_table, read, recipe_of
from gougeform.study.points import Points, changes, labels

BASE = "finial-round-10-fingernail-foot"
ANGLE = {"field": "grind.0.nose_angle_deg", "from": 30.0, "to": 40.0}
PROJECTION = {"field": "jig.projection_mm", "from": 60.0, "to": 80.0}


def study(**own):
    table = {"recipe": BASE, "vary": [{**ANGLE, "steps": 3}]} | own
    return {key: value for key, value in table.items() if value is not None}


def plan(**own):
    return from_table(study(**own), name="test")


def places(made):
    return Points(made).places(np.arange(made.size))


REFUSED = [
    (study(recipe=None), "recipe", "is missing"),
    (study(recipe="finial-round-10-fingernail-fot"), "", "not in the library"),
    (study(recipe=3), "recipe", "given 3"),
    (study(recipes=1), "recipes", "is not a field of a study"),
    (study(title=3), "title", "given 3"),
    (study(sample="sobl"), "sample", 'given "sobl", allowed is one of grid, latin, sobol, sensitivity, list'),
    (study(vary=None), "vary", "at least one field"),
    (study(vary=ANGLE), "vary", "allowed are tables"),
    (study(vary=[{**ANGLE}]), "vary.0.steps", "is missing"),
    (study(vary=[{**ANGLE, "steps": 1}]), "vary.0.steps", "given 1"),
    (study(vary=[{**ANGLE, "steps": 2.5}]), "vary.0.steps", "given 2.5"),
    (study(vary=[{**ANGLE, "steps": True}]), "vary.0.steps", "given true"),
    (study(vary=[{**ANGLE, "steps": 3, "to": 30.0}]), "vary.0.to", "above from = 30"),
    (study(vary=[{**ANGLE, "steps": 3, "to": float("inf")}]), "vary.0.to", "given inf"),
    (study(vary=[{**ANGLE, "steps": 3, "from": float("nan")}]), "vary.0.from", "given nan"),
    (study(vary=[{**ANGLE, "steps": 3, "from": "30"}]), "vary.0.from", 'given "30"'),
    (study(vary=[{**ANGLE, "step": 3}]), "vary.0.step", "is not a field of what varies"),
    (study(vary=[{**ANGLE, "steps": 3, "values": [1.0]}]), "vary.0.from", "beside values"),
    (study(vary=[{"field": "jig.projection_mm"}]), "vary.0", "either values, or from and to"),
    (study(vary=[{"from": 1.0, "to": 2.0, "steps": 2}]), "vary.0.field", "exactly one of field and fields"),
    (study(vary=[{"field": "jig.projection_mm", "values": []}]), "vary.0.values", "allowed is a list"),
    (study(vary=[{"field": "jig.projection_mm", "values": [70.0, [1]]}]), "vary.0.values.1", "a number or a text"),
    (study(vary=[{"fields": ["bar", "flute"], "values": [["round-10"]]}]), "vary.0.values", "lists of 2 values"),
    (study(vary=[{"fields": ["bar", "flute"], "from": 1.0, "to": 2.0}]), "vary.0", "needs values"),
    (study(vary=[{"field": "bar", "values": ["rond-10"]}]), "vary.0.values.0", "not in the library's bars"),
    (study(vary=[{"field": "recipe", "values": ["nothing"]}]), "", "not in the library's recipes"),
    (study(vary=[{**PROJECTION, "steps": 2}] * 2), "vary.1.field", "varies twice"),
    # Bounds no recipe can have are found before the first grind.
    (study(vary=[{**PROJECTION, "steps": 2, "from": -5.0}]), "vary.0", "jig.projection_mm: given -5"),
    (study(vary=[{**PROJECTION, "steps": 2, "to": 5000.0}]), "vary.0", "jig.projection_mm: given 5000"),
    (
        study(vary=[{**PROJECTION, "steps": 2, "field": "jig.projektion_mm"}]),
        "vary.0",
        "jig.projektion_mm: is not a field",
    ),
    (study(vary=[{**ANGLE, "steps": 2, "field": "grind.1.nose_angle_deg"}]), "vary.0", "grind.1: given grind number"),
    (study(vary=[{**ANGLE, "steps": 2, "field": "jig.nose_angle_deg"}]), "vary.0", "changing it has no effect"),
    (study(outputs=["nose_angle"]), "outputs", 'given "nose_angle", which is no output'),
    (study(outputs=[]), "outputs", "allowed is a list of names"),
    (study(points=10), "points", 'no meaning with sample = "grid"'),
    (study(sample="latin", vary=[ANGLE]), "points", "is missing, allowed is a whole number"),
    (study(sample="latin", points=10), "vary.0.steps", 'no meaning with sample = "latin"'),
    (study(sample="sobol", points=100, vary=[ANGLE]), "points", "allowed is a power of two"),
    (study(sample="sensitivity", points=64, vary=[ANGLE]), "vary", "one field alone"),
    (
        study(sample="sensitivity", points=64, vary=[ANGLE, {"field": "bar", "values": ["round-10"]}]),
        "vary.1.values",
        "needs ranges",
    ),
    (study(sample="list", vary=[ANGLE]), "vary.0", "needs values"),
    (
        study(
            sample="list",
            vary=[
                {"field": "grind.0.nose_angle_deg", "values": [30.0, 35.0]},
                {"field": "jig.projection_mm", "values": [60.0]},
            ],
        ),
        "vary",
        "the lists have 2, 1 values",
    ),
    (study(question=3), "question", "given 3"),
    (study(question={"work": "cove"}), "", "not in the library's work"),
    (study(question={"over_hang_mm": 3}), "question.over_hang_mm", "is not a field of a question"),
    (study(question={"overhang_mm": -3}), "question.overhang_mm", "given -3"),
    (study(question={"limit_deg": 300}), "question.limit_deg", "given 300"),
    (study(question={"places": 7.5}), "question.places", "given 7.5"),
    (study(outputs=["reach"]), "question.work", "is missing"),
    (
        study(vary=[{"field": "question.overhang_mm", "from": -1, "to": 5, "steps": 2}]),
        "vary.0",
        "overhang_mm: given -1",
    ),
    (study(vary=[{"field": "question.hang", "values": [1.0]}]), "vary.0.values.0", "is not a field of a question"),
    (study(seed=-1), "seed", "given -1"),
    (study(seed=1.5), "seed", "given 1.5"),
    (study(constraint=[{"name": "nose"}]), "constraint.0.name", 'given "nose"'),
    (study(constraint=[{"name": "nose_angle_deg"}]), "constraint.0", "has no limit"),
    (study(constraint=[{"name": "nose_angle_deg", "least": 40, "most": 30}]), "constraint.0.most", "at least 40"),
    (study(constraint=[{"name": "nose_angle_deg", "max": 30}]), "constraint.0.max", "is not a field"),
]


@pytest.mark.parametrize(("table", "field", "problem"), REFUSED, ids=lambda value: str(value)[:40])
def test_a_wrong_study_is_refused_in_words(table, field, problem):
    with pytest.raises(InputError) as caught:
        from_table(table, name="test", source="")
    assert caught.value.field == field
    assert problem in caught.value.problem
    assert caught.value.hint


def test_a_study_of_a_thousand_million_tools_is_refused_with_its_size():
    wide = [{**ANGLE, "steps": 1000}, {**PROJECTION, "steps": 1000}]
    wide.append({"field": "grind.0.wing_length_mm", "from": 5.0, "to": 12.0, "steps": 1000})
    with pytest.raises(InputError, match=r"1,000,000,000 tools \(1000 × 1000 × 1000\), allowed are at most 1,000,000"):
        plan(vary=wide)
    with pytest.raises(InputError, match=r"1,000,000,000 tools"):
        plan(sample="latin", points=10**9, vary=[ANGLE])
    with pytest.raises(InputError, match=r"2,097,152 tools"):
        plan(sample="sensitivity", points=2**19, vary=[ANGLE, PROJECTION])
    assert plan(sample="latin", points=MOST_POINTS, vary=[ANGLE]).size == MOST_POINTS


def test_a_grid_has_every_combination_the_last_field_fastest():
    made = plan(
        vary=[
            {**ANGLE, "steps": 3},
            {
                "fields": ["bar", "flute"],
                "values": [["round-10", "detail-round-10"], ["square-10", "detail-square-10"]],
            },
            {**PROJECTION, "steps": 5},
        ]
    )
    assert made.size == 3 * 2 * 5
    found = places(made)
    loops = [(a, b, c) for a in (30.0, 35.0, 40.0) for b in (0, 1) for c in (60.0, 65.0, 70.0, 75.0, 80.0)]
    assert found == loops
    assert labels(made, found[7]) == {
        "grind.0.nose_angle_deg": 30.0,
        "bar": "square-10",
        "flute": "detail-square-10",
        "jig.projection_mm": 70.0,
    }
    made_recipe = recipe_of(made.recipe, changes(made, found[7]))
    assert made_recipe.bar.side_mm == 10.0
    assert made_recipe.jig.projection_mm == 70.0
    assert made_recipe.grinds[0].jig.nose_angle_deg == 30.0


def test_lists_are_read_side_by_side():
    made = plan(
        sample="list",
        vary=[
            {"field": "grind.0.nose_angle_deg", "values": [30, 33.5]},
            {"field": "wheel", "values": ["wheel-150", "wheel-250"]},
        ],
    )
    assert made.size == 2
    assert [labels(made, place) for place in places(made)] == [
        {"grind.0.nose_angle_deg": 30, "wheel": "wheel-150"},
        {"grind.0.nose_angle_deg": 33.5, "wheel": "wheel-250"},
    ]
    assert recipe_of(made.recipe, changes(made, places(made)[1])).wheel.diameter_mm == 250.0


def test_whole_recipes_can_be_compared():
    names = ["finial-round-10-plain-foot", BASE]
    made = plan(vary=[{"field": "recipe", "values": names}, {**PROJECTION, "steps": 2}])
    for place, name in zip(places(made)[::2], names, strict=True):
        changed = recipe_of(made.recipe, changes(made, place))
        assert changed.jig.projection_mm == 60.0
        assert changed.grinds[0].path == load(name).grinds[0].path


def test_a_latin_hypercube_has_one_tool_in_each_stratum_of_each_field():
    made = plan(sample="latin", points=50, seed=4, vary=[ANGLE, PROJECTION])
    found = np.array(places(made))
    for column, (low, high) in zip(found.T, ((30, 40), (60, 80)), strict=True):
        strata = np.floor((column - low) / (high - low) * 50).astype(int)
        assert sorted(strata) == list(range(50))


def test_lists_in_a_sample_get_equal_shares():
    made = plan(sample="sobol", points=64, vary=[ANGLE, {"field": "wheel", "values": ["wheel-150", "wheel-250"]}])
    found = [place[1] for place in places(made)]
    assert found.count(0) == found.count(1) == 32


@pytest.mark.parametrize("sample", ["latin", "sobol", "sensitivity"])
def test_the_seed_decides_the_sample_and_all_stay_in_bounds(sample):
    one, same, other = (plan(sample=sample, points=64, seed=seed, vary=[ANGLE, PROJECTION]) for seed in (5, 5, 6))
    assert places(one) == places(same)
    assert places(one) != places(other)
    assert len({one.fingerprint, same.fingerprint, other.fingerprint}) == 2
    found = np.array(places(one))
    assert (found >= [30, 60]).all()
    assert (found <= [40, 80]).all()


def test_the_design_for_sensitivities_exchanges_one_field_at_a_time():
    made = plan(sample="sensitivity", points=8, vary=[ANGLE, PROJECTION])
    assert made.size == 8 * 4
    a, b, first, second = np.array(places(made)).reshape(4, 8, 2)
    assert not np.isclose(a, b).any()
    np.testing.assert_array_equal(first, np.stack([b[:, 0], a[:, 1]], -1))
    np.testing.assert_array_equal(second, np.stack([a[:, 0], b[:, 1]], -1))


def test_outputs_are_named_one_by_one_or_by_group():
    made = plan(outputs=["cheek_width_mm", "nose_angle_deg", "cheek_width_mm.5"])
    assert made.outputs == ("cheek_width_mm.3", "cheek_width_mm.5", "cheek_width_mm.10", "nose_angle_deg")
    made = plan(outputs=["cheeks", "nose_angle_deg", "cheek_width_mm.5"])
    cheeks = tuple(name for name, one in EVERY.items() if one.of.group == "cheeks")
    assert {"cheek_width_mm.3", "cheek_past_edge_mm.15"} < set(cheeks)
    assert made.outputs == (*cheeks, "nose_angle_deg")
    for group in GROUPS:
        whole = {name for name, one in EVERY.items() if one.of.group == group}
        assert set(plan(outputs=[group], question={"work": "coves"}).outputs) == whole


def test_what_the_table_depends_on_is_in_the_fingerprint():
    base = plan().fingerprint
    assert plan(title="another title").fingerprint == base
    for own in (
        {"recipe": "finial-round-10-fingernail-rod"},
        {"outputs": ["edge"]},
        {"vary": [{**ANGLE, "steps": 4}]},
        {"constraint": [{"name": "nose_angle_deg", "least": 1.0}]},
    ):
        assert plan(**own).fingerprint != base


@pytest.mark.parametrize("name", library.names("studies"))
def test_shipped_studies_can_be_read(name):
    made = read(name)
    assert made.title
    assert 0 < made.size <= 2000


def test_what_is_written_beside_the_notebooks_is_true():
    text = (library.built_in().parent / "notebooks" / "README.md").read_text(encoding="utf-8")
    (study_file,) = re.findall(r"^```toml\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)
    made = from_table(tomllib.loads(study_file))
    assert made.size == 10
    assert made.question.work is not None
    assert len(made.constraints) == 1
    assert f"{MOST_POINTS:,} tools" in text
    assert all(f"`{name}`" in text or f"`{name}(" in text for name in gougeform.__all__ if name[0].islower())
