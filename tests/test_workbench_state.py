"""The bench without a server or a page: what lies on it, how it changes, how it is written down."""

import asyncio
import json
import threading
import tomllib
from dataclasses import replace

import pytest

from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.measure.measures import measure, result
from gougeform.recipe.change import changed
from gougeform.recipe.reading import from_table, load
from gougeform.recipe.write import to_toml
from gougeform.workbench import address, answers, knobs
from gougeform.workbench.incoming import good_recipe, parsed_json, parsed_upload, without_files
from gougeform.workbench.numbers import ROWS, numbers
from gougeform.workbench.state import (
    Shown,
    Trouble,
    copied,
    differences,
    fresh,
    looked,
    opened,
    put_back,
    start,
    swapped,
    turned,
)
from gougeform.workbench.workroom import Superseded, Workroom, table_key

A, B = "finial-round-10-fingernail-foot", "baluster-square-10-relief-foot"
room = Workroom(1)
ground = room.measured


@pytest.fixture
def bench():
    return start(load(A), load(B))


# ---- turning knobs


def test_a_turned_knob_is_the_changed_recipe(bench):
    after = turned(bench, "a", {"jig.projection_mm": 70}, ground)
    assert after.a.recipe == changed(load(A), {"jig.projection_mm": 70})
    assert after.a.problem is None
    assert after.b is bench.b
    assert bench.a.recipe == load(A), "benches do not change"


BAD = {
    "out of range": ({"jig.projection_mm": -5}, "jig.projection_mm", "given -5, allowed is"),
    "no number": ({"wheel.diameter_mm": "wide"}, "wheel.diameter_mm", 'given "wide"'),
    "no pose": ({"grind.0.wing_length_mm": 60}, "grind.0.wing_length_mm", ""),
    "pocket inside the wheel": ({"grind.0.centre_distance_mm": 60}, "", "inside the wheel"),
    "no such field": ({"jig.colour": 3}, "jig.colour", "is not a field"),
    "no such library entry": ({"wheel": "wheel-9000"}, "wheel", 'given "wheel-9000"'),
    "leads nowhere": ({"grind.7.fullness": 0.4}, "grind.7", ""),
    "not a table": ({"bar": 3}, "bar", "given 3"),
}


@pytest.mark.parametrize(("changes", "field", "words"), BAD.values(), ids=BAD)
def test_a_bad_value_keeps_the_last_good_shape(bench, changes, field, words):
    after = turned(bench, "a", changes, ground)
    assert after.a.problem is not None
    assert after.a.problem.field.startswith(field)
    assert words in after.a.problem.problem
    assert after.a.good == bench.a.good
    assert after.b is bench.b


def test_the_knob_keeps_the_bad_value_and_a_good_one_mends_it(bench):
    bad = turned(bench, "a", {"jig.projection_mm": "abc"}, ground)
    assert bad.a.wanted["jig"]["projection_mm"] == "abc"
    other = turned(bad, "a", {"wheel.width_mm": 50}, ground)
    assert other.a.problem == bad.a.problem, "another field does not hide what is still wrong"
    good = turned(other, "a", {"jig.projection_mm": 68}, ground)
    assert good.a.recipe == changed(load(A), {"jig.projection_mm": 68, "wheel.width_mm": 50})
    assert put_back(bad, "a").a == bench.a


def test_a_later_fault_does_not_lose_an_earlier_good_turn(bench):
    good = turned(bench, "a", {"jig.projection_mm": 70}, ground)
    bad = turned(good, "a", {"grind.0.wing_length_mm": 80}, ground)
    assert bad.a.good == good.a.good


def test_library_names_stand_for_whole_tables_and_the_distance_stays(bench):
    moved = turned(bench, "a", {"grind.0.rim_distance_mm": 100}, ground)
    after = turned(moved, "a", {"wheel": "wheel-250", "jig": "foot-75"}, ground)
    assert after.a.problem is None
    assert after.a.recipe.wheel.diameter_mm == 250
    assert after.a.recipe.jig.projection_mm == 75
    assert after.a.recipe.grinds[0].jig.rim_distance_mm == 100
    own = turned(start(from_table(_distance_in_jig()), load(B)), "a", {"jig": "foot-75"}, ground)
    assert own.a.recipe.jig.nose_angle_deg == 41, "a distance of the jig's own table goes over to the next jig"


def _distance_in_jig():
    table = json.loads(json.dumps(load(A).table))
    del table["grind"][0]["nose_angle_deg"]
    table["jig"]["nose_angle_deg"] = 41
    return table


def test_changing_how_it_moves_brings_what_that_needs(bench):
    rod = turned(bench, "a", {"jig": "rod-65"}, ground)
    steady = turned(rod, "a", {"grind.0.path": "steady"}, ground)
    assert steady.a.wanted["grind"][0]["roll_max_deg"] == 90
    assert steady.a.problem is None or "roll" in steady.a.problem.field or "wheel" in steady.a.problem.field
    back = turned(steady, "a", {"grind.0.path": "traced"}, ground)
    assert back.a.problem is None


def test_a_relief_is_added_and_removed(bench):
    with_one = turned(bench, "a", {"grind.1": "relief"}, ground)
    assert len(with_one.a.recipe.grinds) == 2
    assert turned(with_one, "a", {"grind.1": None}, ground).a.recipe == load(A)


# ---- two tools


def test_copy_swap_and_differences(bench):
    assert copied(bench, "a").b == bench.a
    assert copied(bench, "b").a == bench.b
    assert swapped(bench).a == bench.b
    assert swapped(swapped(bench)) == bench
    same = copied(bench, "a")
    a, b = (numbers(ground(t.recipe), late=False) for t in (same.a, same.b))
    assert {v for v in differences(a, b).values() if v is not None} == {0.0}


def test_a_copy_takes_the_problem_along(bench):
    bad = turned(bench, "a", {"jig.projection_mm": -1}, ground)
    assert copied(bad, "a").b == bad.a


def test_differences_are_b_less_a_and_none_where_one_is_missing():
    assert differences({"x": 1.0, "y": 2.0}, {"x": 4.0, "z": 1.0}) == {"x": 3.0, "y": None, "z": None}
    assert differences({"x": None}, {"x": 1.0}) == {"x": None}


def test_only_a_and_b(bench):
    for call in (lambda: turned(bench, "c", {}, ground), lambda: copied(bench, ""), lambda: put_back(bench, None)):
        with pytest.raises(InputError, match="allowed are a and b"):
            call()


def test_opening_is_all_or_nothing(bench):
    assert opened(bench, "b", load(A).table, ground).b == bench.a
    with pytest.raises(InputError):
        opened(bench, "b", {**load(A).table, "bar": {"outline": "round"}}, ground)


# ---- the view


@pytest.mark.parametrize(
    "changes",
    [
        {"panel": "kitchen"},
        {"overlay": 1},
        {"section_mm": -1},
        {"section_mm": True},
        {"section_mm": "5"},
        {"look": ""},
        {"work": 5},
        {"size": 1},
    ],
)
def test_bad_views_are_refused(changes):
    with pytest.raises(InputError, match="view"):
        looked(Shown(), changes)


def test_the_view_changes_only_what_is_named():
    assert looked(Shown(), {"panel": "reach", "section_mm": 7}) == replace(Shown(), panel="reach", section_mm=7.0)


# ---- written down


def test_the_address_restores_the_bench_exactly(bench):
    moved = turned(bench, "a", {"jig.projection_mm": 70.123456789012345, "flute": "measured-round-10"}, ground)
    moved = replace(moved, view=looked(moved.view, {"panel": "section", "section_mm": 0.1 + 0.2, "work": "coves"}))
    assert moved.a.problem is None
    text = address.address(moved)
    assert text
    assert set(text) <= set("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_")
    assert address.from_address(text, ground) == moved


def test_an_address_keeps_a_bad_value_with_its_last_good_shape(bench):
    bad = turned(bench, "b", {"wheel.width_mm": "wide"}, ground)
    assert address.from_address(address.address(bad), ground) == bad


@pytest.mark.parametrize("text", ["", "!!!!", "eNo", "AAAA", "e30", "é"])
def test_damaged_addresses_are_refused(text):
    with pytest.raises(InputError):
        address.from_address(text, ground)


def test_a_cut_off_address_is_refused(bench):
    with pytest.raises(InputError, match="cut off"):
        address.from_address(address.address(bench)[:-40], ground)


def test_an_address_that_unpacks_to_far_too_much_is_refused():
    import base64
    import zlib

    bomb = base64.urlsafe_b64encode(zlib.compress(b" " * 50_000_000, 9)).decode()
    with pytest.raises(InputError, match="too large"):
        address.from_address(bomb, ground)


def test_a_bench_too_large_for_an_address_has_none(bench):
    n = 2000
    import math

    points = [
        [4 * math.cos(t) * 1.25, 5 * math.sin(t) + 1e-7 * i] for i, t in ((i, 2 * math.pi * i / n) for i in range(n))
    ]
    table = json.loads(json.dumps(load(A).table))
    table["bar"] = {"outline": "points", "points_mm": points, "length_mm": 150.0}
    big = replace(bench, a=fresh(from_table(table)))
    assert address.address(big) == ""
    assert address.address(bench) != ""


def test_the_file_restores_the_bench(bench):
    view = looked(bench.view, {"overlay": True, "look": "below"})
    text = address.bench_toml(replace(bench, view=view))
    table = tomllib.loads(text)
    assert address.is_bench(table)
    assert not address.is_bench(bench.a.good)
    assert address.from_bench_table(table, ground) == replace(bench, view=view)
    for which, name in (("a", A), ("b", B)):
        assert from_table(table[which]) == load(name), "each tool is a recipe as it stands"


@pytest.mark.parametrize("change", [{"bench": 2}, {"c": {}}, {"a": 3}, {"view": 3}, {"view": {"panel": 1}}, {"b": {}}])
def test_bench_files_that_are_none_are_refused(bench, change):
    table = tomllib.loads(address.bench_toml(bench)) | change
    with pytest.raises(InputError):
        address.from_bench_table(table, ground)


def test_what_comes_back_from_a_page_is_ground_anew(bench):
    plain = address.plain(bench)
    plain["a"]["good"] = {"title": "not ground"}
    plain["a"]["wanted"] = {"title": "nor this"}
    with pytest.raises(InputError):
        address.from_plain(plain, ground)


# ---- what is not trusted


PATHS = ["../x.toml", "/etc/passwd", "x.toml", "a/b", "..\\x", "C:\\x.toml", "X.TOML"]


@pytest.mark.parametrize("path", PATHS)
@pytest.mark.parametrize(
    "where",
    [
        lambda p: {"bar": p},
        lambda p: {"wheel": {"from": p}},
        lambda p: {"grind": [p]},
        lambda p: {"grind": [{"from": p}]},
        lambda p: {"grind": [{"wheel": p}]},
        lambda p: {"bar": {"steel": p}},
        lambda p: {"bar": {"steel": {"from": p}}},
        lambda p: {"older": p},
        lambda p: {"older": {"bar": p}},
        lambda p: {"handle": p},
    ],
)
def test_no_reference_to_a_file_is_followed(path, where):
    with pytest.raises(InputError, match="does not read other files"):
        without_files(where(path))
    with pytest.raises(InputError):
        good_recipe({**load(A).table, **where(path)})


def test_a_turned_knob_cannot_name_a_file(bench, tmp_path):
    secret = tmp_path / "wheel.toml"
    secret.write_text('kind = "wheel"\ndiameter_mm = 123.0\nwidth_mm = 40.0\n')
    for changes in (
        {"wheel": str(secret)},
        {"wheel.from": str(secret)},
        {"grind.0.wheel": str(secret)},
        {"older": str(secret)},
    ):
        after = turned(bench, "a", changes, ground)
        assert after.a.good == bench.a.good, changes
        assert after.a.problem is not None


def test_library_names_are_followed():
    without_files({"bar": "round-10", "grind": ["fingernail", {"from": "relief"}], "title": "a/b.toml"})


def test_nesting_and_sizes_are_limited():
    deep = {}
    for _ in range(40):
        deep = {"bar": deep}
    with pytest.raises(InputError, match="deeply"):
        without_files(deep)
    with pytest.raises(InputError, match="KiB"):
        parsed_upload(b"#" * 300_000)
    for data in (b"[", b"[1]", b"3", b'{"x": NaN}', b'{"x": Infinity}', b"[" * 100_000, b"\xff"):
        with pytest.raises(InputError):
            parsed_json(data)


# ---- what the page is told


@pytest.mark.parametrize("name", [A, B, "baluster-square-10-relief-rod", "finial-round-10-plain-table"])
def test_numbers_are_those_of_the_command_line(name):
    measures = measure(shape(load(name)))
    given = result(measures, [])
    got = numbers(measures, late=False) | numbers(measures, late=True)
    assert set(got) == {row.name for row in ROWS}
    for field, value in got.items():
        key, _, place = field.partition(".")
        assert value == (given[key][place] if place else given.get(key)), field


@pytest.mark.parametrize("name", [A, B, "baluster-square-10-relief-rod", "finial-round-10-plain-table"])
def test_every_knob_can_be_set_to_its_own_value(name):
    bench = start(load(name), load(name))
    answer = answers.tool_answer(bench.a, ground)
    groups = answer["knobs"]
    assert [g["section"] for g in groups][:4] == ["bar", "flute", "wheel", "jig"]
    for knob in (k for g in groups for k in g["knobs"]):
        assert knob["low"] < knob["high"]
        assert knob["label"]
        if knob["value"] is None:
            continue
        after = turned(bench, "a", {knob["field"]: knob["value"]}, ground)
        assert after.a.problem is None, knob
        before, now = (ground(t.recipe) for t in (bench.a, after.a))
        assert now.nose_angle == pytest.approx(before.nose_angle, abs=1e-9), knob


def test_the_three_distances_follow_each_other():
    bench = start(load(A), load(A))
    grind = answers.tool_answer(bench.a, ground)["knobs"][4]
    given = {k["field"].split(".")[-1]: k for k in grind["knobs"] if "given" in k}
    assert [name for name, k in given.items() if k["given"]] == ["nose_angle_deg"]
    after = turned(bench, "a", {"grind.0.rim_distance_mm": given["rim_distance_mm"]["value"] + 5}, ground)
    grind = answers.tool_answer(after.a, ground)["knobs"][4]
    now = {k["field"].split(".")[-1]: k for k in grind["knobs"] if "given" in k}
    assert [name for name, k in now.items() if k["given"]] == ["rim_distance_mm"]
    # Moving the pocket away from the wheel blunts the nose (common practice; law of cosines in the contract).
    assert now["nose_angle_deg"]["value"] > 35.5
    assert now["centre_distance_mm"]["value"] == pytest.approx(given["centre_distance_mm"]["value"] + 5)


def test_library_entries_are_recognised():
    groups = {g["section"]: g["library"] for g in knobs.knobs(load(B).table)}
    assert groups["bar"] == "square-10"
    assert groups["wheel"] == "wheel-200"
    assert groups["grind.1"] == "relief"
    own = {g["section"]: g["library"] for g in knobs.knobs(changed(load(B), {"wheel.diameter_mm": 199}).table)}
    assert own["wheel"] == ""


def test_cautions_of_this_very_set_up_are_marked():
    fast = start(changed(load(A), {"wheel.rpm": 2850, "wheel.rated_m_s": 20}), load(A))
    told = answers.whole(fast, ground)["tools"]
    assert told["a"]["cautions"][0]["strong"]
    assert not any(one["strong"] for one in told["b"]["cautions"])


def test_deeds_follow_each_other(bench):
    deeds = [
        {"do": "turn", "tool": "a", "changes": {"jig.projection_mm": 70}},
        {"do": "copy", "from": "a"},
        {"do": "turn", "tool": "b", "changes": {"jig.projection_mm": 75}},
        {"do": "look", "changes": {"panel": "reach"}},
    ]
    after = answers.done(bench, deeds, ground)
    assert after.a.recipe.jig.projection_mm == 70
    assert after.b.recipe == changed(load(A), {"jig.projection_mm": 75})
    assert after.view.panel == "reach"


@pytest.mark.parametrize(
    "deeds",
    [
        None,
        {},
        [3],
        [{}],
        [{"do": "turn"}],
        [{"do": "turn", "tool": "c", "changes": {}}],
        [{"do": "copy"}],
        [{"do": "sell"}],
        [{"do": "recipe", "tool": "a", "name": "../x.toml"}],
        [{"do": "recipe", "tool": "a", "name": 3}],
        [{"do": "swap"}] * 51,
    ],
)
def test_deeds_that_are_none_are_refused(bench, deeds):
    with pytest.raises(InputError):
        answers.done(bench, deeds, ground)


def test_a_number_is_the_same_with_and_without_its_point():
    assert table_key({"x": [10, 1.5], "y": {"z": 3}}) == table_key({"y": {"z": 3.0}, "x": [10.0, 1.5]})
    assert table_key({"x": 1}) != table_key({"x": True})
    assert table_key({"x": 1}) != table_key({"x": "1"})


def test_the_room_keeps_a_few_tools_only():
    own = Workroom(1)
    recipe = load(A)
    first = own.measured(recipe)
    assert own.measured(recipe) is first
    for i in range(30):
        own.measured(changed(recipe, {"jig.projection_mm": 65 + i / 100}))
    assert len(own._kept) == 10
    assert own.measured(recipe) is not first


def test_an_older_request_that_has_not_begun_is_never_worked_on():
    own, worked, gate = Workroom(1), [], threading.Event()

    def work(i):
        gate.wait(5)
        worked.append(i)
        return i

    async def all_of_them():
        tasks = [asyncio.create_task(own.newest("page", "turn", lambda i=i: work(i))) for i in range(5)]
        tasks.append(asyncio.create_task(own.newest("another page", "turn", lambda: work(5))))
        tasks.append(asyncio.create_task(own.newest("page", "head", lambda: work(6))))
        await asyncio.sleep(0.05)
        gate.set()
        return await asyncio.gather(*tasks, return_exceptions=True)

    answers_ = asyncio.run(all_of_them())
    assert worked == [0, 4, 5, 6], "the first had begun; of the others of its lane only the newest counts"
    assert [one if isinstance(one, int) else type(one) for one in answers_] == [*[Superseded] * 4, 4, 5, 6]
    own.close()


def test_a_saved_recipe_is_the_recipe(bench):
    assert from_table(tomllib.loads(to_toml(bench.a.recipe))) == load(A)
    assert Trouble.of(InputError("a", "b", "c")).plain == {"field": "a", "problem": "b", "hint": "c"}


def test_the_first_view_has_the_same_edge_on_a_round_bar_and_a_square_one():
    """Lips as far apart, the floor as far below them: so the edge seen from above is one; bar and web alone differ."""
    from gougeform.commands.workbench import _BAR, _RECIPE, on_bar

    first = load(_RECIPE)
    second = on_bar(first, _BAR)
    one, two = (shape(recipe) for recipe in (first, second))
    assert type(one.recipe.bar) is not type(two.recipe.bar)
    assert two.section.lip(1)[0] == pytest.approx(one.section.lip(1)[0], abs=1e-9)
    depth = [tool.section.lip(1)[1] - tool.section.y_floor for tool in (one, two)]
    assert depth[1] == pytest.approx(depth[0], abs=1e-9)
    edges = [measure(tool).edge.point for tool in (one, two)]
    assert edges[1][[0, 2]] == pytest.approx(edges[0][[0, 2]], abs=1e-6)
    assert second.grinds[0].path == first.grinds[0].path
