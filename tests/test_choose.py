"""From the work to the tool: the front against the whole grid, a cup that decides its angle, and the smallest set."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from gougeform.choose.front import ALL_MM, front, picks, wishes
from gougeform.choose.question import SPANS, Choice, FieldRange, Offer, stock_of
from gougeform.choose.robust import set_off
from gougeform.choose.search import JOURNAL, search
from gougeform.choose.trial import tried
from gougeform.command import main
from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.reach.result import Terms, reach
from gougeform.read.library import find
from gougeform.read.toml import read_toml
from gougeform.recipe.reading import from_table as load_table
from gougeform.recipe.reading import load
from gougeform.settings.bench import bench_of
from gougeform.settings.names import NAMES
from gougeform.work.files import from_table, load_work

JIG, WHEEL = "foot-65", "wheel-200"


def fixed(value):
    return FieldRange("", value, value, 1.0)


def question(works, bars=("round-10",), flutes=("detail",), tries=40, **spans):
    known = dict(SPANS) | {key: span if isinstance(span, FieldRange) else fixed(span) for key, span in spans.items()}
    return Choice({one: load_work(one) for one in works}, stock_of(bars, flutes), JIG, WHEEL, spans=known, tries=tries)


@pytest.fixture(scope="module")
def small():
    """Two bars, noses and lands on a coarse grid: small enough to be asked whole."""
    spans = {"nose_deg": FieldRange("", 34.0, 58.0, 4.0), "wing_mm": FieldRange("", 4.0, 8.0, 4.0), "fullness": 0.5}
    spans |= {"finer_deg": FieldRange("", 0.0, 8.0, 8.0), "land_mm": FieldRange("", 1.0, 2.0, 1.0)}
    return question(["egg-cup"], ("round-10", "square-8"), tries=84, **spans)


@pytest.fixture(scope="module")
def kept(small, tmp_path_factory):
    """Every tool of the small grid, and the folder whose journal has them all, so that no test tries them again."""
    folder = tmp_path_factory.mktemp("kept")
    return search(small, folder, every=True, workers=2), folder


def keys(tools):
    return {(one.number, *one.values.values()) for one in tools}


def test_the_search_finds_the_front_of_the_whole_grid(small, kept):
    """Against every tool of the grid (84 of them); the search stops where it has seen as many."""
    assert len(small.every()) == 84
    whole, folder = kept
    assert whole.count == 84
    half = search(replace(small, tries=60), folder)
    assert half.count == 60
    best, found = front(whole.tools, False), front(half.tools, False)
    costs = np.stack([one.costs(False) for one in found])
    # How far the front found is from the whole one, in the worst of the costs, as a share of that cost's range.
    every = np.stack([one.costs(False) for one in whole.tools])
    size = np.ptp(every, axis=0)
    gap = max(((costs - one.costs(False)) / np.maximum(size, 1e-9)).clip(0).max(1).min() for one in best)
    assert gap < 0.2
    assert keys(best) & keys(found)


def test_the_same_question_gives_the_same_tools_on_one_process_and_two(small):
    few = replace(small, tries=12)
    one, two = search(few), search(few, workers=2)
    assert [t.values for t in one.tools] == [t.values for t in two.tools]
    assert [t.missed for t in one.tools] == [t.missed for t in two.tools]


def test_a_stopped_run_goes_on_from_its_journal(small, tmp_path, monkeypatch):
    few = replace(small, tries=20)
    whole = search(few)
    search(replace(few, tries=9), tmp_path)
    lines = (tmp_path / JOURNAL).read_text(encoding="utf-8").splitlines()
    assert len(lines) >= 10
    import gougeform.choose.search as module

    computed = []
    monkeypatch.setattr(module, "_work", lambda blob, task: computed.append(task) or tried(few, *task))
    again = search(few, tmp_path)
    assert [t.values for t in again.tools] == [t.values for t in whole.tools]
    assert [t.stiffness for t in again.tools] == pytest.approx([t.stiffness for t in whole.tools])
    assert 0 < len(computed) < 20


MOUTH, DEPTH = 25.0, 30.0


def flat_cup():
    """A bore with a flat floor, of which the middle is to be cut."""
    pieces = [([DEPTH + 10.0, MOUTH + 5.0], False), ([DEPTH + 10.0, MOUTH], False), ([10.0, MOUTH], False)]
    pieces += [([10.0, 2.0], False), ([10.0, 0.0], True)]
    lines = [{"shape": "line", "to_mm": to, "cut": cut, "inside": to[1] <= MOUTH} for to, cut in pieces]
    return from_table({"title": "flat cup", "start_mm": [0.0, MOUTH + 5.0], "piece": lines})


def test_the_nose_angle_that_a_flat_floor_needs_follows_in_closed_form():
    """In the middle plane, elementary trigonometry: the bar leans on the floor by nose and clearance angle b together.

    Its underside runs a web w beside the edge, so it passes the rim, MOUTH out and DEPTH up from the middle of the
    floor, where MOUTH sin b - DEPTH cos b >= w. The finest nose that the search names is within half a degree of that.
    """
    limit, [bar] = 3.0, stock_of(["round-6"], ["detail"])
    spans = dict(SPANS) | {"wing_mm": fixed(3.0), "fullness": fixed(0.5), "finer_deg": fixed(0.0)}
    spans["nose_deg"] = FieldRange("", 48.0, 58.0, 0.5)
    asked = Choice({"cup": flat_cup()}, [bar], JIG, WHEEL, terms=Terms(limit_deg=limit), spans=spans)
    found = search(asked, every=True, workers=2)
    assert len(found.tools) >= 15
    web = load_web(bar.flute)
    lean = np.arctan2(DEPTH, MOUTH) + np.arcsin(web / np.hypot(MOUTH, DEPTH))
    finest = min(one.nose for one in found.tools if one.missed < 0.06)
    assert finest == pytest.approx(np.degrees(lean) - limit, abs=0.5)
    assert min(pick.tool.nose for pick in picks(found, 5)) <= finest


def load_web(flute):
    return float(find_flute(flute)["web_mm"])


def find_flute(name):
    return read_toml(find("flutes", name))


def test_nothing_on_the_front_is_beaten(kept):
    found, _ = kept
    best = front(found.tools, False)
    for one in best:
        for other in found.tools:
            a, b = np.round(other.costs(False), 9), np.round(one.costs(False), 9)
            assert not ((a <= b).all() and (a < b).any())
    named = picks(found, 6)
    assert 1 <= len(named) <= 6
    least = min(one.missed for one in best)
    assert named[0].tool.missed <= least + ALL_MM
    assert len({id(one.tool) for one in named}) == len(named)
    assert picks(found, 1)[0].tool is named[0].tool
    for told in wishes(found):
        assert told.endswith(".")


def test_what_is_told_is_what_the_commands_say(tmp_path, capsys, monkeypatch):
    """Each recipe that is written is ground and reached again by the commands, and shows what was claimed."""
    monkeypatch.chdir(tmp_path)
    words = [
        "choose",
        "--work",
        "coves",
        "--bars",
        "round-10",
        "--flutes",
        "detail",
        "--tries",
        "12",
        "--json",
        "-o",
        "c",
    ]
    assert main(words) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["short_list"]
    for i, one in enumerate(told["short_list"]):
        recipe = load(tmp_path / "c" / f"{chr(65 + i)}.toml")
        again = reach(shape(recipe), load_work("coves"), Terms())
        assert again.length_mm == pytest.approx(one["reached_mm"]["coves"], abs=0.3)
    assert main(words) == 0  # the journal has all of it
    assert json.loads(capsys.readouterr().out)["short_list"] == told["short_list"]


@pytest.mark.parametrize(
    ("words", "field"),
    [
        (["--bars", "round-99"], "--bars"),
        (["--flutes", "shallow"], "--flutes"),
        (["--jig", "no-such-jig"], "jig"),
        (["--tries", "0"], "--tries"),
        (["--bars", "list.csv"], "list.csv"),
    ],
)
def test_bad_questions_get_one_sentence(tmp_path, monkeypatch, capsys, words, field):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "list.csv").write_text("bar,flute,price\nround-10,detail-round-10,cheap\n", encoding="utf-8")
    assert main(["choose", "--work", "coves", *words]) == 2
    said = capsys.readouterr().err
    assert field in said
    assert "Traceback" not in said
    assert not (tmp_path / "out").exists() or not list((tmp_path / "out").rglob("*.toml"))


def test_a_list_with_prices(tmp_path):
    path = tmp_path / "bars.csv"
    path.write_text("bar,flute,price\nround-10,detail-round-10,40\nround-6,detail-round-6,25.5\n", encoding="utf-8")
    stock = stock_of([str(path)])
    assert [(one.name, one.price) for one in stock] == [
        ("round-10 detail-round-10", 40.0),
        ("round-6 detail-round-6", 25.5),
    ]
    asked = Choice({"coves": load_work("coves")}, stock, JIG, WHEEL)
    assert asked.prices
    assert not replace(asked, stock=[*stock, Offer("x", "round-8", "detail-round-8")]).prices


def test_work_without_a_place_to_cut_is_refused():
    work = from_table({"start_mm": [0.0, 20.0], "piece": [{"shape": "line", "to_mm": [60.0, 20.0], "cut": False}]})
    with pytest.raises(InputError) as error:
        Choice({"plain": work}, stock_of(["round-10"]), JIG, WHEEL)
    assert "no place that is to be cut" in error.value.problem


def test_set_off_moves_every_setting_by_a_step_at_most():
    """A step of the recipe's ruler and protractor; the nose of each set-up changes by no more than `tolerance` says."""
    recipe = load("finial-round-10-relief-foot")
    base = [bench_of(recipe, number) for number in (0, 1)]
    seen = 0
    for gouge in set_off(recipe, 6):
        for number in (0, 1):
            made = bench_of(gouge.recipe, number)
            names = made.by_hand if number == 0 else (made.jig.dial,)
            for name in names:
                off = made.value(name) - base[number].value(name)
                assert abs(off) <= NAMES[name].step(recipe) + 1e-9
                seen += abs(off) > 1e-3
    assert seen > 10


def test_the_page_asks_the_same_question(monkeypatch):
    """The job of the workbench, with few tries: what it brings is set on the bench by its recipes."""
    from gougeform.workbench import choosing

    monkeypatch.setattr(choosing, "TRIES", 8)
    said = []
    recipe = load("finial-round-10-fingernail-foot")
    got = choosing.choose(
        {"recipe": recipe.table, "works": ["coves"]}, lambda share, words: said.append((share, words))
    )
    assert said
    assert 0 < said[-1][0] <= 0.9
    assert got["recipes"]
    first = load_table(got["recipes"][0])
    assert first.wheel.diameter_mm == recipe.wheel.diameter_mm
    assert first.grinds[0].jig.arm_length_mm == recipe.grinds[0].jig.arm_length_mm
    titles = [block["title"] for block in got["answer"]["blocks"]]
    assert "The short list" in titles
    for works in (None, [], ["no such"], [3], "coves"):
        with pytest.raises(InputError) as error:
            choosing.choose({"recipe": recipe.table, "works": works}, lambda share, words: None)
        assert error.value.field == "works"
