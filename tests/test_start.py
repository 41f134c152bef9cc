"""`gougeform start`: a first recipe that grinds as it stands, says where each number is read off, and is drawn.

Outside: the circle through three points and the other closed forms are checked against the section that the program
builds by root finding; the picture's lengths against the recipe. Usual ranges are common practice, no source.
"""

import json
import os
import re
import tomllib
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from gougeform.bar.flutes.arc import ArcFlute
from gougeform.bar.flutes.parabola import ParabolaFlute
from gougeform.bar.section import build_section
from gougeform.command import main
from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.machine.jigs.foot import FootJig
from gougeform.measure.measures import measure
from gougeform.recipe.reading import from_table, load
from gougeform.settings.sensitivity import OUTPUTS, sensitivity
from gougeform.starter.fields import described, measured
from gougeform.starter.lengths import at_the_wheel, from_above, from_the_end
from gougeform.starter.ruler import Stock, flatted_outline, flute_depth
from gougeform.starter.text import starter
from gougeform.starter.values import BARS, CLAMPS, FLUTES, JIGS, PATHS, WHEELS, Choices, full_name, model, names, tables
from gougeform.tool.doubts import doubts

ALL = [
    Choices(bar, flute, wheel, jig, "", path)
    for bar, flute, wheel, jig, path in product(BARS, FLUTES, WHEELS, JIGS, PATHS)
    if (jig, path) != ("foot", "steady")
]
# Every kind with every other at least once, through the whole of it.
SOME = [
    *(Choices(BARS[k % 3], FLUTES[k % 5], WHEELS[k % 2], JIGS[k // 2 % 3]) for k in range(15)),
    Choices("flatted", "", "wheel", "rod", "vee"),
    Choices("square", "", "wheel", "foot", "above"),
    Choices("round", "", "wheel", "foot", "axis"),
    Choices("round", "", "belt", "rod", "", "steady"),
]


def name_of(kinds):
    return "-".join(word for word in vars(kinds).values() if word)


def recipe_of(kinds, given=None):
    made = tables(kinds.filled(), given or {})
    return from_table({**made, "grind": [made["grind"]]})


@pytest.fixture(autouse=True)
def in_a_folder_of_its_own(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("gougeform.present.progress.PATIENCE_S", 3600.0)


@pytest.fixture(scope="module")
def made():
    return {name_of(kinds): starter(kinds, {}, "mine.toml") for kinds in SOME}


# ---- what the file says


def test_every_combination_of_kinds_can_be_ground():
    for kinds in ALL:
        gouge = shape(recipe_of(kinds))
        assert doubts(gouge.recipe) == [], kinds


@pytest.mark.parametrize("size", [6.0, 12.7, 20.0])
def test_bars_of_other_sizes_too(size):
    for kinds in ALL[::7]:
        name = "bar.side_mm" if kinds.bar == "square" else "bar.diameter_mm"
        assert shape(recipe_of(kinds, {name: size})).section.y_floor < size / 2


@pytest.mark.parametrize("kinds", SOME, ids=name_of)
def test_the_file_reads_back_and_every_field_has_one_comment(kinds, made):
    text = made[name_of(kinds)].text
    Path("mine.toml").write_text(text, encoding="utf-8")
    recipe = load("mine.toml")
    assert recipe == made[name_of(kinds)].measures.gouge.recipe
    assert max(map(len, text.splitlines())) <= 100
    for section, table in tables(kinds.filled(), {}).items():
        for field in table:
            comment = comment_of(text, section, field)
            # One source of words: the reader's own description begins it.
            assert comment.startswith(described(section, field, model(section, table))), field
            low, high = usual(comment)
            if field.endswith(("_mm", "_deg")) and field != "points_mm":
                assert low <= table[field] <= high, field
    assert "gougeform grind mine.toml" in text
    assert ("gougeform calibrate mine.toml" in text) == (kinds.jig != "table")


def comment_of(text, section, field):
    """The comment that stands above a field, as one line."""
    part = text[text.index(f"\n[[{section}]]" if section == "grind" else f"\n[{section}]") :]
    above = part[: part.index(f"\n{field} = ")].splitlines()
    lines = []
    while above and above[-1].startswith("# "):
        lines.insert(0, above.pop()[2:])
    return " ".join(lines)


def usual(comment):
    found = re.search(r"Usual: (\S+) to (\S+)\.$", comment)
    return (float(found[1]), float(found[2])) if found else (-np.inf, np.inf)


def test_units_are_said_where_the_name_has_one(made):
    text = made[name_of(SOME[0])].text
    for field, words in (("diameter_mm", "mm"), ("arm_cant_deg", "degrees"), ("wing_length_mm", "mm")):
        section = {"diameter_mm": "bar", "arm_cant_deg": "jig"}.get(field, "grind")
        assert words in comment_of(text, section, field)


def test_every_field_that_is_asked_for_says_how_it_is_measured(made):
    for one in made.values():
        for section, table in tomllib.loads(one.text).items():
            fields = table[0] if section == "grind" else table
            for name in fields if isinstance(fields, dict) else ():
                if name not in ("steel", "outline", "shape", "kind", "path"):
                    assert measured(name, model(section, fields), fields), f"{section}.{name}"


def test_no_speed_and_no_rating_is_invented(made):
    for one in made.values():
        wheel = one.measures.gouge.recipe.wheel
        assert wheel.rpm is None
        assert wheel.rated_m_s is None
        assert "\n# rated_m_s =\n" in one.text


@pytest.mark.parametrize("field", ["centre_distance_mm", "rim_distance_mm"])
def test_the_other_distances_say_the_same(field, made):
    one = made[name_of(SOME[0])]
    text = one.text.replace("\nnose_angle_deg", "\n# nose_angle_deg").replace(f"\n# {field} =", f"\n{field} =")
    Path("other.toml").write_text(text, encoding="utf-8")
    # Written to 0.01 mm, which is worth 0.008° here.
    assert shape(load("other.toml")).jigs[0].rim == pytest.approx(one.measures.gouge.jigs[0].rim, abs=0.005)


@pytest.mark.parametrize("jig", ["foot", "rod"])
def test_the_second_bevel_grinds_when_its_signs_are_taken_off(jig):
    text = starter(Choices(jig=jig), {}, "mine.toml").text
    head, tail = text.split("\n# [[grind]]\n")
    rest = tail.splitlines()
    Path("two.toml").write_text("\n".join([head, "[[grind]]", *(line[2:] for line in rest[:2])]), encoding="utf-8")
    assert len(shape(load("two.toml")).ground.passes) == 2


# ---- readings


@pytest.mark.parametrize("bar", BARS)
@pytest.mark.parametrize("flute", FLUTES)
def test_width_and_web_give_a_flute_that_has_them(bar, flute):
    web = 3.6 if flute == "ellipse" else 5.0  # an ellipse with that floor is deep
    given = {"flute.web_mm": web} | ({} if flute == "points" else {"flute.width_mm": 7.3})
    section = build_section(*[getattr(recipe_of(Choices(bar, flute), given), part) for part in ("bar", "flute")])
    low = section.outline.on_middle_plane(below=True)
    assert section.y_floor - low == pytest.approx(web, abs=1e-9)
    if flute != "points":
        # Fields are rounded to 0.001; a flatted bar is a polygon, within 0.005 mm of its circle; points to 0.01 mm.
        rough = 0.02 if bar in ("flatted", "points") else 0.006
        assert section.lip(1)[0] - section.lip(-1)[0] == pytest.approx(7.3, abs=rough)


def test_the_arc_is_the_circle_through_lips_and_floor():
    # Elementary geometry: the radius from a chord w and its rise d is w²/8d + d/2.
    assert ArcFlute.through(6.0, 1.0, 0.0)["radius_mm"] == pytest.approx(36 / 8 + 1 / 2)
    assert ParabolaFlute.through(6.0, 1.5, 0.0) == {"floor_radius_mm": pytest.approx(3.0)}


def test_lips_in_the_corner_of_a_square_bar():
    stock = Stock("square", 10.0, corner=2.0)
    assert stock.lip_height(2.0) == 5.0
    assert stock.lip_height(4.0) == pytest.approx(3.0 + np.sqrt(4.0 - 1.0))
    assert flute_depth(stock, 8.0, 6.0) == pytest.approx(2.0 + np.sqrt(3.0))


def test_a_flatted_outline_has_its_readings():
    p = np.array(flatted_outline(12.0, 10.5))
    assert np.ptp(p[:, 1]) == pytest.approx(10.5, abs=1e-3)
    assert np.ptp(p[:, 0]) == pytest.approx(12.0, abs=1e-3)
    assert np.allclose(np.hypot(*p.T), 6.0, atol=1e-3)
    assert (p[:, 1] > -4.5 - 1e-9).all()


def test_the_place_of_the_foot_is_all_that_counts():
    # Two ways to take the jig's lengths that put the foot at one place grind one tool.
    given = {"jig.foot_back_mm": 85.0, "jig.foot_down_mm": 62.0}
    one, other = (
        shape(recipe_of(Choices(), given | {"jig.hinge_back_mm": back, "jig.hinge_drop_mm": drop})).jigs[0]
        for back, drop in ((14.0, 4.0), (0.0, 0.0))
    )
    assert one.foot == pytest.approx(other.foot, abs=0.03)  # arm and cant are rounded to 0.01
    assert one.foot == pytest.approx([0.0, -5.0 - 62.0, -65.0 - 85.0], abs=0.03)
    read = {"foot_back_mm": 14.0 + 3.0, "foot_down_mm": 4.0 + 4.0}
    found = FootJig.from_readings({"hinge_back_mm": 14.0, "hinge_drop_mm": 4.0}, read)
    assert found == {"arm_length_mm": 5.0, "arm_cant_deg": 53.13}


def test_names_may_be_short_where_there_is_one():
    kinds = Choices().filled()
    assert full_name("projection_mm", kinds) == "jig.projection_mm"
    assert full_name("grind.0.wing_length_mm", kinds) == "grind.wing_length_mm"
    assert "wheel.rpm" in names(kinds)
    for name in names(kinds):
        assert full_name(name, kinds) == name


# ---- the command


def test_it_writes_three_files_and_says_what_is_next(capsys):
    assert main(["start", "mine.toml"]) == 0
    said = capsys.readouterr()
    assert said.err == ""
    assert set(os.listdir()) == {"mine.toml", "mine-bar.png", "mine-jig.png"}
    for words in ("gougeform grind mine.toml", "gougeform calibrate mine.toml pairs.csv", "competent instructor"):
        assert words in said.out
    found = sensitivity(load("mine.toml"))
    cant = found.slope[found.names.index("cant"), [0, OUTPUTS.index("wing50")]]
    assert "the cant, 1° more {:+.2f}° {:+.2f}°".format(*cant) in " ".join(said.out.split())
    assert main(["grind", "mine.toml", "--no-picture"]) == 0


def test_a_reading_that_is_hardly_meant_is_noted(capsys):
    assert main(["start", "mine.toml", "--no-drawing", "--set", "projection_mm=2.5"]) == 0
    assert "2.5 looks like inches: in mm that would be 63.5." in " ".join(capsys.readouterr().out.split())


def test_json_is_one_object(capsys):
    wishes = ["--set", "nose_angle_deg=40", "--title", 'A "b" ü']
    assert main(["start", "mine.toml", "--no-drawing", "--json", *wishes]) == 0
    given = json.loads(capsys.readouterr().out)
    assert given["nose_angle_deg"] == pytest.approx(40.0)
    assert given["files"] == ["mine.toml"]
    assert given["title"] == 'A "b" ü' == load("mine.toml").title
    assert given["next"][0] == "gougeform grind mine.toml"


@pytest.mark.parametrize(
    "file", ["Röhre für Döcken.toml", "中/刀.toml", "it's $HOME.toml", "UPPER.TOML", ".hidden.toml"]
)
def test_any_name_will_do(file, capsys):
    assert main(["start", file, "--no-drawing"]) == 0
    command = next(line for line in capsys.readouterr().out.splitlines() if line.strip().startswith("gougeform grind"))
    import shlex

    assert shlex.split(command)[2] == file
    assert command.strip() in Path(file).read_text(encoding="utf-8")
    assert load(file).title.startswith("My gouge")


@pytest.mark.parametrize("taken", ["mine.toml", "mine-jig.png"])
def test_nothing_is_overwritten(taken, capsys):
    Path(taken).write_bytes(b"mine")
    assert main(["start", "mine.toml"]) == 2
    assert f"{taken}: is there already, and is not overwritten" in capsys.readouterr().err
    assert Path(taken).read_bytes() == b"mine"
    assert os.listdir() == [taken]


def test_not_even_a_link_that_leads_nowhere(capsys):
    os.symlink("nowhere", "mine.toml")
    assert main(["start", "mine.toml", "--no-drawing"]) == 2
    assert os.listdir() == ["mine.toml"]
    assert not Path("nowhere").exists()


def test_a_file_that_appears_meanwhile_is_kept_and_nothing_half_done(monkeypatch, capsys):
    def draw(measures, path, asked=None):
        Path("mine-jig.png").write_bytes(b"theirs")
        Path(path).write_bytes(b"ours")

    monkeypatch.setattr("gougeform.starter.answer.draw_bar", draw)
    monkeypatch.setattr("gougeform.starter.answer.draw_jig", draw)
    assert main(["start", "mine.toml"]) == 2
    assert os.listdir() == ["mine-jig.png"]
    assert Path("mine-jig.png").read_bytes() == b"theirs"


def test_a_disk_without_links_takes_it_too(monkeypatch):
    def refuse(*_):
        raise PermissionError("no links here")

    monkeypatch.setattr(os, "link", refuse)
    assert main(["start", "mine.toml", "--no-drawing"]) == 0
    assert load("mine.toml").bar.diameter_mm == 10.0
    assert main(["start", "mine.toml", "--no-drawing"]) == 2


REFUSED = [
    (["mine"], ["FILE.toml: given mine, which does not end in .toml", "Write mine.toml"]),
    (["mine.toml.txt"], ["does not end in .toml", "Write mine.toml."]),
    ([".toml"], ["Write mine.toml"]),
    (["a\nb.toml"], ["FILE.toml: has a line break"]),
    (["m.toml", "--title", "a\udcffb"], ["--title: has a line break or another sign that cannot be printed"]),
    (["m.toml", "--title", "a" * 201], ["title", "at most 200 characters"]),
    (["/proc/mine.toml"], ["cannot be written"]),
    (["m.toml", "--jig", "table", "--clamp", "vee"], ["--clamp: given vee, but a table holds no bar"]),
    (["m.toml", "--path", "steady"], ["--path", "ball joint", "--jig rod"]),
    (["m.toml", "--set", "bar.diameter_mm=9,5"], ['--set bar.diameter_mm: given "9,5"', "Write it like 12.5"]),
    (["m.toml", "--set", "bar.diameter_mm"], ["--set: given 'bar.diameter_mm', allowed is NAME=VALUE"]),
    (["m.toml", "--set", "diametre_mm=9"], ["--set", "Did you mean bar.diameter_mm?"]),
    (["m.toml", "--set", "length_mm=9"], ["bar.length_mm and flute.length_mm", "which of the two"]),
    (["m.toml", "--set", "rpm=1", "--set", "wheel.rpm=2"], ["wheel.rpm is given twice"]),
    (["m.toml", "--set", "bar.diameter_mm=0"], ["bar.diameter_mm: given 0, allowed is a number above 0"]),
    (["m.toml", "--set", "bar.diameter_mm=500"], ["bar.diameter_mm: given 500", "at most 200 mm"]),
    (["m.toml", "--set", "flute.width_mm=10.5"], ["flute.width_mm: given 10.5", "below the bar's width, 10 mm"]),
    (["m.toml", "--set", "web_mm=9"], ["flute.web_mm: given 9, but the lips lie only 8.57 mm above the underside"]),
    (["m.toml", "--set", "flute.width_mm=7", "--set", "radius_mm=4"], ["flute.radius_mm", "from which it follows"]),
    (["m.toml", "--set", "foot_back_mm=85"], ["jig.foot_down_mm: is missing", "--set jig.foot_down_mm="]),
    (["m.toml", "--set", "foot_back_mm=5", "--set", "foot_down_mm=60"], ["jig.foot_back_mm: given 5", "hinge_back_mm"]),
    (["m.toml", "--bar", "flatted", "--set", "over_flat_mm=4"], ["bar.over_flat_mm: given 4", "--bar round"]),
    (["m.toml", "--flute", "ellipse", "--set", "floor_radius_mm=0.5"], ["flute.floor_radius_mm: given 0.5", "vee"]),
    (["m.toml", "--flute", "vee", "--set", "floor_radius_mm=6"], ["flute.floor_radius_mm: given 6", "--flute arc"]),
    (["m.toml", "--set", "wing_length_mm=-1"], ["grind.0.wing_length_mm"]),
    (["m.toml", "--set", "steel=wood"], ["bar.steel", "not in the library's steels"]),
    (["m.toml", "--set", "rim_distance_mm=80", "--set", "centre_distance_mm=180"], ["exactly one"]),
]


@pytest.mark.parametrize(("words", "fragments"), REFUSED, ids=[ascii(" ".join(words))[:60] for words, _ in REFUSED])
def test_refused_in_one_line_and_nothing_written(words, fragments, capsys):
    assert main(["start", *words]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("gougeform: ")
    assert said.err.count("\n") == 1
    for fragment in fragments:
        assert fragment in said.err
    assert os.listdir() == []


# ---- never a refusal where there is something to write


def test_what_cannot_be_ground_is_written_with_the_nearest_that_can(capsys):
    assert main(["start", "m.toml", "--set", "wing_length_mm=40", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["verdict"].startswith("NOT MET")
    assert load("m.toml").grinds[0].path.wing_length_mm == 40.0
    with pytest.raises(InputError):
        measure(shape(load("m.toml")))
    # The comment's values in the place of those above grind, and are what the numbers told are of.
    text = Path("m.toml").read_text(encoding="utf-8")
    for name, value in told["nearest"].items():
        text = re.sub(rf"^{name} = .*$", f"{name} = {value:g}", text, flags=re.MULTILINE)
        assert f"\n# {name} = {value:g}\n" in text
    Path("nearest.toml").write_text(text, encoding="utf-8")
    assert measure(shape(load("nearest.toml"))).nose_angle == pytest.approx(told["nose_angle_deg"], abs=1e-9)
    assert {path.name for path in Path().iterdir()} == {"m.toml", "m-bar.png", "m-jig.png", "nearest.toml"}


def test_where_nothing_near_can_be_ground_the_file_is_there_all_the_same(capsys):
    assert main(["start", "m.toml", "--set", "projection_mm=30"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "No outline near it can either" in said
    assert os.listdir() == ["m.toml"]
    assert "# AS IT STANDS IT CANNOT BE GROUND" in Path("m.toml").read_text(encoding="utf-8")


def test_a_path_that_brings_other_values_says_which(capsys):
    assert main(["start", "m.toml", "--jig", "rod", "--path", "steady"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "With a steady path go other usual values" in said
    assert "hinge_cant_deg = 0" in said
    assert main(["start", "n.toml", "--jig", "rod"]) == 0
    assert "go other usual values" not in capsys.readouterr().out


def test_a_measured_bar_runs_smoothly_through_its_points():
    # Outside: points of a circle give that circle again (elementary geometry), whatever their number.
    assert main(["start", "m.toml", "--bar", "points", "--set", "bar.diameter_mm=12"]) == 0
    bar = load("m.toml").bar
    outline = bar.build()
    far = np.linalg.norm(outline.point(np.linspace(0, outline.count, 801)[:-1]), axis=1)
    assert far == pytest.approx(6.0, abs=0.01)  # the readings are to 0.01 mm
    assert 0 < bar.coarse_mm < 0.02


# ---- the drawings


def test_lengths_in_the_drawings_are_the_fields_they_name(made):
    for name, one in made.items():
        gouge = one.measures.gouge
        recipe = gouge.recipe
        named = [*from_the_end(gouge), *from_above(one.measures), *at_the_wheel(gouge)]
        seen = set()
        for length in named:
            section, _, field = length.field.partition(".")
            seen.add(length.field)
            if not field:
                continue
            part = recipe.grinds[0].path if section == "grind" else getattr(recipe, section)
            value = getattr(part, field)
            setting = {"rim_distance_mm": "rim_distance", "centre_distance_mm": "centre_distance"}.get(field)
            if setting:
                value = getattr(gouge.settings[0], setting)
            if field == "nose_angle_deg" and recipe.grinds[0].path.path == "steady":
                continue  # a steady grind may take the nose back from where it first touched
            assert length.value == pytest.approx(abs(value), abs=2e-3), (name, length.field)
        numbers = {f"jig.{field}" for field, value in recipe.jig if field.endswith("_mm") and isinstance(value, float)}
        assert numbers - seen <= {"jig.height_mm", "jig.vee_deg", "jig.arm_diameter_mm"}, name


def test_pictures_show_the_jig_in_the_wheel(made):
    """Seen from the side, the nose lies on the wheel and the arm ends in the pocket: by triangles, not by the poses."""
    one = made[name_of(SOME[0])]
    named = {length.field: length for length in at_the_wheel(one.measures.gouge)}
    foot, pocket = named["jig.arm_length_mm"].points[1], named["jig.centre_distance_mm"].points[1]
    assert foot == pytest.approx(pocket, abs=1e-6)
    assert np.linalg.norm(named["jig.nose_angle_deg"].points[1]) == pytest.approx(100.0, abs=1e-6)
    assert pocket[1] == pytest.approx(-130.0, abs=1e-9)


@pytest.mark.parametrize("kinds", [SOME[1], SOME[4], SOME[15], SOME[18]], ids=name_of)
def test_every_kind_can_be_drawn(kinds, made):
    from PIL import Image

    from gougeform.starter.sketch import draw_bar, draw_jig

    for draw in (draw_bar, draw_jig):
        draw(made[name_of(kinds)].measures, Path("drawn.png"))
        with Image.open("drawn.png") as image:
            assert image.width == 1170
            assert len(image.convert("L").getcolors(256)) > 20
        assert Path("drawn.png").stat().st_size < 120_000


def test_input_errors_only():
    with pytest.raises(InputError, match="no flute is left"):
        flute_depth(Stock("round", 10.0), 7.0, 9.5)
    assert set(CLAMPS) == {"axis", "below", "above", "vee"}
