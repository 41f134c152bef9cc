"""`gougeform gauge`: what is written, said and refused."""

import json

import pytest

from gougeform.command import main
from gougeform.gauges.checks import read

ROD = "finial-round-10-relief-rod"


def test_one_kind_writes_stl_3mf_and_says_what_it_is(tmp_path, capsys):
    assert main(["gauge", "relief", ROD, "--no-picture", "-o", str(tmp_path)]) == 0
    assert sorted(path.name for path in tmp_path.iterdir()) == ["relief.3mf", "relief.stl"]
    out = capsys.readouterr().out
    assert "12.14 mm" in out
    assert "competent instructor" in out
    assert "steepest overhang" in out


def test_all_on_plates_as_json(tmp_path, capsys):
    words = ["gauge", "all", ROD, "--no-picture", "--json", "--bed", "200x200", "-o", str(tmp_path)]
    assert main(words) == 0
    out, told = capsys.readouterr()
    result = json.loads(out)
    assert [g["kind"] for g in result["gauges"]] == [
        "projection",
        "spacer",
        "spacer",
        "angle",
        "outline",
        "wheel",
        "relief",
        "tag",
    ]
    assert result["without"] == {}
    assert all(g["wall_mm"] >= 1.2 and g["overhang_deg"] <= 45.1 for g in result["gauges"])
    assert set(result["files"]) == {str(path) for path in tmp_path.iterdir()}
    bodies = read(tmp_path / f"{result['plates'][0]}.3mf")
    assert {g["name"] for g in result["gauges"]} == set(bodies)
    assert "Before you grind" in told


def test_a_whole_set_clears_the_set_before_it_and_nothing_else(tmp_path, capsys):
    """Old and new spacers side by side are a wheel set to the wrong one."""
    folder = str(tmp_path)
    (tmp_path / "wheel-of-mine.png").write_text("a photo")
    words = ["gauge", "spacer", ROD, "--no-picture", "-o", folder]
    assert main(words) == 0
    before = {path.name for path in tmp_path.iterdir() if path.name.startswith("spacer")}
    assert "from earlier runs" not in capsys.readouterr().out
    assert main([*words, "--wheel", "180"]) == 0
    told = capsys.readouterr().out.split("Also there, from earlier runs")[1]
    assert all(name in told for name in before)
    assert main(["gauge", "all", ROD, "--wheel", "170", "--no-picture", "--json", "-o", folder]) == 0
    given = json.loads(capsys.readouterr().out)
    assert set(given["files"]) | {f"{folder}/wheel-of-mine.png"} == {str(path) for path in tmp_path.iterdir()}
    assert not before & {path.name for path in tmp_path.iterdir()}


def test_preview_is_drawn_in_a_process_of_its_own(tmp_path, capsys):
    assert main(["gauge", "tag", ROD, "-o", str(tmp_path)]) == 0
    picture = tmp_path / "tag.png"
    told = capsys.readouterr().err
    if picture.exists():
        from PIL import Image

        with Image.open(picture) as image:
            dark = sum(image.convert("L").histogram()[:90])
        assert dark > 20_000  # the letters
    else:  # a machine without a graphics library says so, and the gauge is there all the same
        assert "The picture could not be made" in told
    assert (tmp_path / "tag.stl").exists()


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["--fit", "wide"], "gougeform: --fit: given wide, allowed is a number"),
        (["--bed", "220"], "allowed is width x depth in mm"),
        (["--bed", "60x60"], "needs"),
        (["--wheel", "5"], "--wheel: given 5, allowed is a number at least 20 and at most 5000 mm"),
        (["--scale", "nan"], "--scale: given nan"),
        (["--scale", "2"], "--scale: given 2, allowed is a number at least 0.9 and at most 1.1. 1.003 makes good"),
        (["--angle", "30"], "--angle: has no meaning for the wheel gauge"),
    ],
)
def test_bad_options_are_one_message(tmp_path, capsys, words, message):
    assert main(["gauge", "wheel", ROD, "--no-picture", "-o", str(tmp_path / "new"), *words]) == 2
    told = [line for line in capsys.readouterr().err.splitlines() if not line.endswith(" …")]  # but for progress
    assert len(told) == 1
    assert message in told[0]
    assert not (tmp_path / "new").exists()


def test_a_kind_that_cannot_exist_names_the_recipe(tmp_path, capsys):
    assert main(["gauge", "spacer", "finial-round-10-plain-table", "-o", str(tmp_path / "new")]) == 2
    told = capsys.readouterr().err
    assert "finial-round-10-plain-table.toml: jig.kind: a table has no pocket or rod" in told
    assert "Use the angle gauge" in told
