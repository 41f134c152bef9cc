"""The commands `reach` and `compare`, as a person runs them, and what they write."""

from __future__ import annotations

import json

import numpy as np
import pytest

from gougeform.bar.outline import round_outline
from gougeform.command import main
from gougeform.compare.tools import compare, differences, lands, section_behind
from gougeform.grind.gouge import shape
from gougeform.reach.result import Terms
from gougeform.recipe.change import changed
from gougeform.recipe.reading import load
from gougeform.work.files import load_work

TOOL = "finial-round-10-fingernail-foot"


def test_reach_prints_one_json_object_and_writes_its_files(tmp_path, capsys):
    words = ["reach", TOOL, "--work", "egg-cup", "--places", "14", "--overhang", "15", "40", "--no-cove"]
    assert main([*words, "--no-picture", "--json", "-o", str(tmp_path / "new")]) == 0
    out = capsys.readouterr()
    whole = json.loads(out.out)
    assert "Before you grind" in out.err
    assert whole["places"] == len(whole["at"]) / 2
    assert [row["overhang_mm"] for row in whole["overhangs"]] == [15.0, 40.0]
    assert whole["overhangs"][0]["places_reached"] <= whole["overhangs"][1]["places_reached"]
    assert json.loads((tmp_path / "new" / "reach.json").read_text(encoding="utf-8"))["at"] == whole["at"]
    lines = (tmp_path / "new" / "reach.csv").read_text(encoding="utf-8").splitlines()
    assert len(lines) == len(whole["at"]) + 1
    assert whole["largest_diameter_mm"] == pytest.approx(2 * load_work("egg-cup").box[1, 1])
    assert "Grain is not judged" in whole["notes"][0]
    assert lines[0].startswith("s_mm,x_mm,rho_mm,feed,cut,clearance_angle_deg")


def test_reach_says_how_thick_the_work_is_and_what_is_uphill(tmp_path, capsys):
    inch = tmp_path / "inch.csv"
    inch.write_text("x,diameter\n0,1.8\n0.7,1.4\n1.5,1.8\n")
    words = ["reach", TOOL, "--work", str(inch), "--places", "6", "--overhang", "40", "--no-cove", "--no-picture"]
    assert main([*words, "--all", "-o", str(tmp_path / "out")]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "largest diameter 1.8 mm; if it is inches write 45.72" in out
    assert "^ uphill" in out
    assert "it may rise with the overhang" in out
    assert "Grain is not judged" in out
    assert "inches" not in " ".join(_head("egg-cup", tmp_path, capsys))


def _head(work, tmp_path, capsys):
    words = ["reach", TOOL, "--work", work, "--places", "4", "--no-cove", "--no-picture", "-o", str(tmp_path / work)]
    assert main(words) == 0
    return capsys.readouterr().out.splitlines()


def test_places_where_the_bevel_rides_are_listed_when_asked(tmp_path, capsys):
    words = ["reach", TOOL, "--work", "cylinder", "--places", "5", "--no-cove", "--no-picture", "-o", str(tmp_path)]
    assert main(words) == 0
    short = capsys.readouterr().out
    # A plain cylinder stops nothing: the bevel rides on it everywhere (common practice, no source).
    assert "with the bevel riding, at every one of" in short
    assert "Place by place" not in short
    assert main([*words, "--all"]) == 0
    every = capsys.readouterr().out
    assert "Place by place" in every
    assert len(every.splitlines()) > len(short.splitlines()) + 5


def test_reach_draws_profile_and_tool(tmp_path, capsys):
    from PIL import Image

    folder = tmp_path / "pictures"
    words = ["reach", TOOL, "--work", "egg-cup", "--places", "14", "--no-cove", "--at", "60"]
    assert main([*words, "-o", str(folder)]) == 0
    text = capsys.readouterr().out
    assert "Places where something stops it" in text
    assert "heel" in text
    # Which cup a tool of this shape cannot bottom, and why, stands before any table.
    assert text.index("Not reached: x ") < text.index("On the whole")
    assert "(stopped by heel, " in " ".join(text.split())
    for name in ("profile.png", "standing.png"):
        picture = np.asarray(Image.open(folder / name).convert("RGB")).reshape(-1, 3)
        # Not blank: paper, wood and the tool's or the angles' colours are there.
        assert len(np.unique(picture, axis=0)) > 100
        wood = np.array([0xE6, 0xD3, 0xB3])
        assert (np.abs(picture - wood).max(1) < 3).mean() > 0.02
    red = np.array([0xA3, 0x1F, 0x34])
    profile = np.asarray(Image.open(folder / "profile.png").convert("RGB")).reshape(-1, 3)
    assert (np.abs(profile - red).max(1) < 8).sum() > 500  # the unreachable part is plain to see


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["reach", "nope", "--work", "bore"], "not in the library's recipes"),
        (["reach", TOOL, "--work", "boar"], 'Did you mean "bore"?'),
        (["reach", TOOL, "--work", "bore", "--limit", "x"], "--limit: given x"),
        (["reach", TOOL, "--work", "bore", "--places", "2.5"], "allowed is a whole number"),
        (["reach", TOOL, "--work", "bore", "--rest", "3"], "the rest would stand inside the wood"),
        (["reach", TOOL, "--work", "bore", "--at", "200"], "allowed is from 0 to 60 mm"),
        (["reach", TOOL, "--work", "bore", "--slicing", "85"], "below 75 degrees"),
        (["compare", TOOL, "--work", "bore"], "at least two are compared"),
        (["compare", TOOL, TOOL, "--work", "bore", "--lands", "2"], "name one recipe with --lands"),
        (["compare", TOOL, "--work", "bore", "--lands", "200"], "land"),
    ],
)
def test_refused(words, said, tmp_path, capsys):
    assert main([*words, "-o", str(tmp_path / "none")]) == 2
    assert said.lower() in capsys.readouterr().err.lower()
    assert not (tmp_path / "none").exists()


@pytest.fixture(scope="module")
def two():
    recipes = [load(TOOL), load("baluster-square-10-fingernail-foot")]
    return compare(recipes, load_work("bore"), Terms(places=5))


def test_compare_says_differences_with_their_size(two):
    said = " ".join(differences(two))
    # The place where they differ most is told, and not the smallest difference.
    for key, words in (("cheek_width_mm", ("wider", "narrower")), ("cheek_past_edge_mm", ("more", "less"))):
        gaps = {
            name: two[1].numbers[name] - value for name, value in two[0].numbers.items() if name.startswith(f"{key}.")
        }
        name = max(gaps, key=lambda name: abs(gaps[name]))
        assert f"{abs(gaps[name]):.2f} mm {words[gaps[name] < 0]} than" in said
        assert f"{name.rpartition('.')[2]} mm behind the nose" in said
    # Deflections are compared, not stiffnesses: 0.26 mm instead of 0.42 bends 38 % less, and is 61 % stiffer.
    more = two[1].numbers["deflection_mm"] / two[0].numbers["deflection_mm"] - 1
    assert f"bends {100 * abs(more):.0f} % {'more' if more > 0 else 'less'}" in said
    assert "better" not in said  # no verdict that the numbers do not carry


def test_what_cannot_be_told_apart_is_said_so(two):
    """The same tool twice differs in nothing."""
    said = differences([two[0], two[0]])
    assert len(said) == 1
    assert "differ by less than this program can tell" in said[0]


def test_a_section_behind_everything_is_the_fluted_bar(two):
    """Far behind the heel the ground tool's section is flute and outline; its width is the bar's."""
    section = section_behind(two[0].gouge, 40.0)
    r = np.hypot(*section.T)
    assert r.max() == pytest.approx(5.0, abs=1e-9)
    assert np.ptp(section[:, 0]) == pytest.approx(10.0, abs=0.01)
    assert round_outline(10.0).contains(section * (1 - 1e-9)).all()
    assert len(section_behind(two[0].gouge, -1.0)) == 0
    for behind, cheek in ((3.0, "cheek_width_mm.3"), (5.0, "cheek_width_mm.5")):
        below = section_behind(two[0].gouge, behind)
        below = below[below[:, 1] <= two[0].gouge.section.y_floor + 1e-9]
        assert np.ptp(below[:, 0]) == pytest.approx(two[0].numbers[cheek], abs=0.05)


def test_lands_are_the_same_tool_with_and_without_relief():
    made, names = lands(load("finial-round-10-relief-foot"), [3.0, 1.5])
    assert names == ["one bevel", "land 3 mm", "land 1.5 mm"]
    assert [len(recipe.grinds) for recipe in made] == [1, 2, 2]
    assert made[2].grinds[1].land_mm == 1.5
    added, _ = lands(load(TOOL), [2.0])
    assert added[1].grinds[1].land_mm == 2.0


CHEEK_BARS = [(6, "spindle"), (8, "detail"), (8, "spindle"), (10, "detail"), (10, "spindle"), (12.7, "detail")]


@pytest.mark.parametrize("equal", ["grind", "settings"])
@pytest.mark.parametrize(("size", "flute"), CHEEK_BARS)
def test_is_the_squarer_bars_cheek_narrower(size, flute, equal):
    """Common practice, no source: a squarer bar has a slightly narrower cheek. Asked here, not assumed.

    Round and square bar of one size with the same flute, wheel, jig and fingernail outline; at the same nose angle, or
    at the same distance with both bars lying on their underside. The simulation finds the opposite: the square's flute
    meets its outline further out, so the wings and the steel under them are wider, by 0.3 to 0.7 mm 3 and 5 mm behind
    the nose. Ground plain, with the bar rolled at one setting, both are the same there.
    """
    from gougeform.measure.cheek import cheek_widths

    edits = {"flute": f"{flute}-round-{size:g}"}
    if equal == "settings":
        edits |= {"jig.clamp": "below", "jig.hinge_drop_mm": 8.0 + size / 2}
    first = shape(changed(load(TOOL), {"bar": f"round-{size:g}"} | edits))
    edits["grind.0.rim_distance_mm"] = first.settings[0].rim_distance
    if equal == "grind":
        edits.pop("grind.0.rim_distance_mm")
    second = shape(changed(load(TOOL), {"bar": f"square-{size:g}"} | edits))
    gap = cheek_widths(second, np.array([3.0, 5.0])) - cheek_widths(first, np.array([3.0, 5.0]))
    assert (gap > 0.2).all()
    assert (gap < 0.8).all()


@pytest.mark.parametrize("name", ["finial-round-10-plain-table", "finial-round-10-plain-rod"])
def test_ground_plain_round_and_square_have_the_same_cheek(name):
    """The rolled bevel lies inside both outlines that close to the nose."""
    from gougeform.measure.cheek import cheek_widths

    widths = [
        cheek_widths(shape(changed(load(name), {"bar": bar})), np.array([3.0, 5.0]))
        for bar in ("round-10", "square-10")
    ]
    assert widths[0] == pytest.approx(widths[1], abs=0.01)
