"""The commands of the settings family from the outside: tables, JSON, files, cautions, and bad input."""

import csv
import json
import re
import shlex
import tomllib
from pathlib import Path

import numpy as np
import pytest

from gougeform.command import main
from gougeform.grind.gouge import shape
from gougeform.measure.measures import measure
from gougeform.measure.quantities.standing import all_standings
from gougeform.present.folder import file_name
from gougeform.recipe.change import changed
from gougeform.recipe.reading import load
from gougeform.recipe.write import to_toml
from gougeform.settings.bench import bench_of
from gougeform.settings.match import _usual as match_frees
from gougeform.settings.names import NAMES

FOOT, ROD = "finial-round-10-fingernail-foot", "finial-round-10-fingernail-rod"
RELIEF = "finial-round-10-relief-foot"
# Read to a tenth of a degree on a jig with an arm of 92 mm at 41°.
PAIRS = "projection_mm,wheel_diameter_mm,rim_distance_mm,nose_deg\n65,200,108,35.6\n75,200,124,40.1\n65,150,110,28.3\n"

EVERY = {
    "settings": ["settings", FOOT, "--want", "nose=35", "--want", "wing50=47"],
    "transfer": ["transfer", FOOT, "--to", "wheel=150"],
    "tolerance": ["tolerance", FOOT],
    "match": ["match", FOOT, "--old", RELIEF],
    "regrind": ["match", FOOT, "--old", RELIEF, "--regrind"],
    "relief": ["relief", FOOT, "--land", "1.5"],
    "hone": ["hone", FOOT, "--wheel", "250"],
    "calibrate": ["calibrate", FOOT, "pairs.csv", "--unknown", "arm_length", "--unknown", "cant"],
}


@pytest.fixture(autouse=True)
def in_a_folder_of_its_own(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("gougeform.present.progress.PATIENCE_S", 3600.0)  # tests/test_progress.py sees to that
    (tmp_path / "pairs.csv").write_text(PAIRS, encoding="utf-8")


def finite(value):
    """Every number in a JSON value is finite."""
    if isinstance(value, dict):
        return all(map(finite, value.values()))
    if isinstance(value, list):
        return all(map(finite, value))
    return not isinstance(value, float) or np.isfinite(value)


@pytest.mark.parametrize("words", EVERY.values(), ids=EVERY)
def test_json_is_one_object_and_cautions_go_to_standard_error(words, capsys):
    assert main([*words, "--json"]) == 0
    out, err = capsys.readouterr()
    result = json.loads(out)
    assert finite(result)
    for said in (json.dumps(result["cautions"], ensure_ascii=False), " ".join(err.split())):
        assert "competent instructor" in said
    assert "1/8 in" in json.dumps(result["cautions"])  # the full list; standard error has it in short
    assert "`gougeform cautions` has the full list" in " ".join(err.split())
    for name in result.get("files", []):
        assert Path(name).stat().st_size > 0


@pytest.mark.parametrize("words", EVERY.values(), ids=EVERY)
def test_tables_for_people_carry_the_cautions(words, capsys):
    assert main(words) == 0
    out, err = capsys.readouterr()
    assert "Before you grind" in out
    assert "competent instructor" in " ".join(out.split())
    assert [
        line for line in err.splitlines() if not line.endswith(" …")
    ] == []  # but what takes long, said while it does
    assert max(map(len, out.splitlines())) <= 80


def test_settings_writes_the_recipe_a_ruler_can_set(capsys):
    assert main([*EVERY["settings"], "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    ruler = result["solutions"][0]["with_a_ruler"]
    back = measure(shape(load(result["files"][0])))
    assert back.nose_angle == pytest.approx(ruler["edge"]["nose_deg"], abs=1e-9)
    assert back.gouge.settings[0].rim_distance == pytest.approx(ruler["rim_distance_mm"], abs=1e-9)
    solved = result["solutions"][0]
    assert solved["edge"]["wing50_deg"] == pytest.approx(47, abs=2e-6)
    assert solved["centre_distance_mm"] == pytest.approx(solved["rim_distance_mm"] + 100)
    assert {"contact_deg", "straight_distance_mm"} <= solved.keys()


def test_no_solution_is_an_answer_that_says_why(capsys):
    assert main(["settings", FOOT, "--want", "nose=35", "--want", "wing50=80", "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert result["exact"] is False
    assert "projection is at its upper bound" in result["cannot_be_met"][0]


@pytest.mark.parametrize(
    ("wing", "range_", "bound", "wider"),
    [
        (42, "62:78", "lower bound 62", "projection=54:78"),
        (60, "50:66", "upper bound 66", "projection=50:74"),
    ],
)
def test_what_is_not_met_says_the_bound_and_the_command_that_goes_further(wing, range_, bound, wider, capsys):
    """The command that is printed runs as it stands, and comes nearer."""
    words = ["settings", FOOT, "--want", "nose=35", "--want", f"wing50={wing}"]
    free = ["--free", "distance", "--free", f"projection={range_}"]
    assert main([*words, *free]) == 0
    out = capsys.readouterr().out
    assert "NOT MET" in out
    assert f"projection is at its {bound} mm" in " ".join(out.split())
    command = out.split("look further:\n")[1].split("The nearest tool:")[0].replace("\\\n", " ")
    further = shlex.split(command)
    assert further[0] == "gougeform"
    assert wider in further  # half as wide again, on the side that stopped it
    misses = []
    for one in ([*words, *free], further[1:]):
        assert main([*one, "--json"]) == 0
        result = json.loads(capsys.readouterr().out)
        misses.append(abs(result["solutions"][0]["misses"]["wing50"]))
    assert misses[1] < misses[0] - 0.1


def test_settings_are_looked_for_only_where_they_stand(capsys):
    """A rod jig's exact settings for this edge put the clamp 1.4 mm into the wheel; found in a review."""
    words = ["settings", ROD, "--want", "nose=33", "--want", "wing50=46"]
    assert main(words) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert out.index("NOT MET") < out.index("by the ruler")
    assert "a shorter projection cannot be used: the clamp would stand" in out
    ground = measure(shape(load("out/finial-round-10-fingernail-rod/settings.toml")))
    assert all_standings(ground)[0].gap.mm >= 0


def test_settings_lists_each_distance_once_and_what_stays(capsys):
    assert main(["settings", FOOT, "--want", "nose=35"]) == 0
    out = capsys.readouterr().out
    rim = re.findall(r"rim to pocket +([\d.]+) mm", out)
    assert len(rim) == 1
    assert out.count(f" {rim[0]} mm") == 1  # not again under another name
    assert re.search(r"cant, as it was +40\.00°", out)
    assert re.search(r"projection, as it was +65\.00 mm", out)
    assert re.search(r"pocket above wheel's centre, as it was +-130\.00 mm", out)
    assert f"gougeform grind out/{FOOT}/settings.toml" in out


def test_two_tools_settings_do_not_go_to_one_folder(capsys):
    """Every settings.toml has that name; what is made of it goes where its own folder says."""
    for name in (FOOT, RELIEF):
        assert main(["settings", name, "--want", "nose=36"]) == 0
        assert main(["tolerance", f"out/{name}/settings.toml"]) == 0
        assert main(["card", f"out/{name}/settings.toml"]) == 0
    capsys.readouterr()
    assert {path.name for path in Path("out").iterdir()} == {
        FOOT, RELIEF, f"{FOOT}-settings", f"{RELIEF}-settings"
    }  # fmt: skip
    assert file_name(load(f"out/{FOOT}/settings.toml")) == f"{FOOT}-settings"
    assert (Path("out") / f"{RELIEF}-settings" / "card.png").exists()


def test_a_search_stays_on_the_bar(capsys):
    """A short bar: what a clamp cannot hold is not given as a setting."""
    short = changed(load(FOOT), {"bar.length_mm": 100.0})
    Path("short.toml").write_text(to_toml(short), encoding="utf-8")
    assert main(["settings", "short.toml", "--want", "nose=20", "--want", "wing50=28", "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert result["solutions"][0]["settings"]["projection_mm"] <= 85.0
    assert "100 mm ahead of the ferrule" in result["cannot_be_met"][0]
    for given in (["--free", "projection=50:100"], ["--stops", "projection=60,120"]):
        assert main(["settings", "short.toml", "--want", "nose=35", *given]) == 2
        assert "only 100 mm of steel ahead of the ferrule" in capsys.readouterr().err
    frees = match_frees(bench_of(short))
    assert [free.high for free in frees if free.name.name == "projection"] == [85.0]
    table = bench_of(changed(load("finial-round-10-plain-table"), {"bar.length_mm": 60.0, "flute.length_mm": 40.0}))
    assert table.bounds(NAMES["projection"])[1] == NAMES["projection"].bounds[1]  # fingers may hold the handle


def test_transfer_and_wear_table_say_one_difference(capsys):
    assert main(["transfer", FOOT, "--to", "wheel=wheel-150", "--keep", "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    first = result["wear"][0]
    assert first["diameter_mm"] == 150
    for name in ("largest", "mean"):
        there = next(value for key, value in first.items() if name in key)
        assert there == pytest.approx(result[f"{name}_difference_deg"], abs=2e-3)


def test_match_says_on_which_steel_and_what_was_assumed(capsys):
    baluster = "baluster-square-10-fingernail-foot"
    for extra in ([], ["--regrind"]):
        assert main(["match", FOOT, "--old", baluster, *extra]) == 0
        said = " ".join(capsys.readouterr().out.split())
        assert "on the old tool's bar and flute" in said
        assert main(["match", FOOT, "--old", RELIEF, *extra]) == 0  # the same bar and flute
        said = " ".join(capsys.readouterr().out.split())
        assert "on the old tool's bar and flute" not in said
    assert main(["match", FOOT, "--measured", "nose=36", "--measured", "wing50=46"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "taken as ground on this very wheel and jig" in said
    assert "any number" in said
    assert "no end" not in said


def test_calibration_that_tells_nothing_is_refused_and_saves_nothing(capsys, monkeypatch, tmp_path):
    own = tmp_path / "mine"
    own.mkdir()
    monkeypatch.setenv("GOUGEFORM_LIBRARY", str(own))
    both = ["--unknown", "arm_length", "--unknown", "cant"]
    for text, unknowns, words in (
        # In inches: no jig stands 4 mm from a wheel.
        ("3.6,33.5\n3.8,36.5\n4.0,39.5\n", both[:2], "if they are inches write them in mm"),
        # Three settings within a millimetre or two say nothing of two lengths.
        ("106,34.4\n106.8,35\n105.2,33.9\n", both, "One more pair that tells most"),
    ):
        Path("pairs.csv").write_text("rim_distance_mm,nose_deg\n" + text, encoding="utf-8")
        assert main(["calibrate", FOOT, "pairs.csv", *unknowns, "--save", "mine"]) == 2
        assert words in capsys.readouterr().err
        assert not Path("out").exists()
        assert list(own.iterdir()) == []
    # A jig that is told, but not well: saved with a note of how well, and what would tell more.
    Path("pairs.csv").write_text(PAIRS, encoding="utf-8")
    assert main(["calibrate", FOOT, "pairs.csv", *both, "--save", "mine"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "These pairs hardly tell arm length and cant" in said
    assert "One more pair that tells most" in said


def test_wear_table_and_its_chart(capsys):
    assert main(["transfer", FOOT, "--to", "wheel=250", "--wear", "250:200:6", "--keep", "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    folder = Path("out") / FOOT
    with (folder / "wear.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [float(row["diameter_mm"]) for row in rows] == [250, 240, 230, 220, 210, 200]
    assert float(rows[3]["centre_distance_mm"]) == pytest.approx(result["wear"][3]["centre_distance_mm"], abs=1e-8)
    for name in ("wear", "transfer"):
        assert (folder / f"{name}.png").read_bytes().startswith(b"\x89PNG")
        assert "<svg" in (folder / f"{name}.svg").read_text(encoding="utf-8")


def test_charts_are_the_same_for_the_same_numbers():
    pictures = []
    for folder in ("a", "b"):
        assert main(["tolerance", FOOT, "-o", folder]) == 0
        pictures.append([(Path(folder) / f"tolerance.{kind}").read_bytes() for kind in ("png", "svg", "csv")])
    assert pictures[0] == pictures[1]


def test_match_writes_the_gap(capsys):
    assert main([*EVERY["match"], "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert result["largest_light_mm"] < 1e-4
    with (Path("out") / FOOT / "gap.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert max(abs(float(row["gap_mm"])) for row in rows if row["gap_mm"]) < 1e-4
    assert any(row["gap_mm"] == "" for row in rows)  # behind the land


def test_calibrate_saves_into_the_own_library(capsys, monkeypatch, tmp_path):
    own = tmp_path / "mine"
    own.mkdir()
    monkeypatch.setenv("GOUGEFORM_LIBRARY", str(own))
    assert main([*EVERY["calibrate"], "--save", "my-jig", "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    saved = tomllib.loads((own / "jigs" / "my-jig.toml").read_text(encoding="utf-8"))
    assert saved["arm_length_mm"] == pytest.approx(result["unknowns"]["arm_length_mm"]["value"], abs=1e-6)
    # A recipe can name it now, and it is not overwritten unasked.
    assert main(["transfer", FOOT, "--to", "jig=my-jig", "--json"]) == 0
    capsys.readouterr()
    assert main([*EVERY["calibrate"], "--save", "my-jig"]) == 2
    assert "there is a jig my-jig already" in capsys.readouterr().err
    assert main([*EVERY["calibrate"], "--save", "my-jig", "--replace"]) == 0


BAD = [
    (["settings", "nothing", "--want", "nose=35"], 'given "nothing", which is not in the library'),
    (["settings", FOOT], "nothing is asked for"),
    (
        ["settings", FOOT, "--want", "nose=35", "--free", "distance", "--stops", "cant="],
        "--stops: given 'cant=', allowed is NAME=A,B",
    ),
    (["settings", "finial-round-10-plain-table", "--want", "nose=35", "--free", "distance"], "a table has no distance"),
    (["settings", FOOT, "--want", "nose=35", "-o", "pairs.csv"], "cannot be written"),
    (["transfer", FOOT], "nothing to carry over to"),
    (["transfer", FOOT, "--to", "wheel=wheel-15"], "not in the library's wheels"),
    (["transfer", FOOT, "--to", "wheel=-5"], "allowed is a number above 0"),
    (["transfer", FOOT, "--to", "wheel=150", "--wear", "150"], "allowed is NEW:WORN or NEW:WORN:STEPS"),
    (["transfer", FOOT, "--to", "wheel=150", "--wear", "100:150"], "from a larger to a smaller one"),
    (["transfer", FOOT, "--to", "wheel=150", "--wear", "150:100:1"], "whole number from 2 to 500"),
    (["transfer", FOOT, "--to", "wheel=150", "--keep", "--free", "cant"], "given together with --free"),
    (["transfer", FOOT, "--to", "jig=table-65"], "no pose"),
    (["tolerance", FOOT, "--tolerance", "projection=-1"], "allowed is from 0 to 100"),
    (["match", FOOT], "nothing says what the tool is now"),
    (["match", FOOT, "--old", RELIEF, "--measured", "nose=35"], "given together with --measured"),
    (["match", FOOT, "--measured", "wing50=45"], "the nose angle is missing"),
    (["relief", FOOT], "nothing is asked for"),
    (["relief", FOOT, "--move", "5"], "one number does not fix a relief"),
    (["relief", FOOT, "--land", "1", "--move", "5", "--angle", "30"], "all given"),
    (["relief", FOOT, "--land", "nan", "--move", "5"], "--land: given nan, allowed is a number"),
    (["relief", FOOT, "--land", "-1", "--move", "5"], "--land: given -1, allowed is above 0 and below 180"),
    (["relief", FOOT, "--land", "99", "--move", "5"], "the bevel at the nose is"),
    (["hone", FOOT, "--wheel", "1"], "allowed is a diameter from 5 to 1e6"),
    (["hone", FOOT, "--wheel", "nothing"], "--wheel"),
    (["hone", FOOT, "--wheel", "nan"], "allowed is a diameter from 5 to 1e6"),
    (["calibrate", FOOT, "none.csv", "--unknown", "cant"], "there is no such file"),
    (["calibrate", FOOT, "pairs.csv"], "nothing is to be fitted"),
    (["calibrate", FOOT, "pairs.csv", "--unknown", "arm_lenght"], "did you mean arm_length"),
    (["calibrate", FOOT, "pairs.csv", "--unknown", "cant", "--reading", "0"], "allowed is from 1e-6 to 20"),
    (["calibrate", FOOT, "pairs.csv", "--unknown", "cant", "--save", "x"], "nothing says where your own library is"),
    (["calibrate", FOOT, "pairs.csv", "--unknown", "cant", "--save", "../x"], "allowed are letters, digits"),
    (["calibrate", FOOT, "pairs.csv", "--unknown", "cant", "--library", "x"], "under which name to save"),
]


@pytest.mark.parametrize(("words", "message"), BAD, ids=[" ".join(words) for words, _ in BAD])
def test_bad_input_is_one_message_and_exit_code_2(words, message, capsys, monkeypatch):
    monkeypatch.delenv("GOUGEFORM_LIBRARY", raising=False)
    assert main(words) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert message.lower() in err.lower()
    assert "Traceback" not in err
    assert err.count("\n") == 1
    assert not Path("out").exists()
