"""The slips of a person who has never written TOML, made in the starter's own file: each message says what to do.

No outside source: what people do with text editors, and the words of the program.
"""

import os
from pathlib import Path

import pytest

from gougeform.command import main
from gougeform.errors import InputError
from gougeform.read.library import catalogue
from gougeform.read.slips import in_line
from gougeform.recipe.change import changed
from gougeform.recipe.reading import load
from gougeform.starter.text import starter
from gougeform.starter.values import Choices
from gougeform.tool.doubts import doubts

TEXT = starter(Choices(), {}, "bench.toml").text


@pytest.fixture(autouse=True)
def in_a_folder_of_its_own(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("gougeform.present.progress.PATIENCE_S", 3600.0)


def with_line(old, new):
    assert TEXT.count(old) == 1
    return TEXT.replace(old, new).encode()


def ground(data, capsys):
    """What `gougeform grind` says about a file with these bytes: exit code, tables, message."""
    Path("bench.toml").write_bytes(data)
    code = main(["grind", "bench.toml", "--no-picture"])
    said = capsys.readouterr()
    assert said.err.count("\n") == (1 if code else 0)
    return code, said.out, said.err


WRONG = [
    # a decimal comma, and the same in quotation marks
    ("\ndiameter_mm = 10.0", "\ndiameter_mm = 9,5", ["says diameter_mm = 9,5 – a number has a point", "write 9.5"]),
    ("\ndiameter_mm = 10.0", '\ndiameter_mm = "9,5"', ["bar.diameter_mm", "without quotation marks"]),
    ("\ndiameter_mm = 200.0", "\ndiameter_mm = 1.200,5", ["nothing between thousands"]),
    # units and inches
    ("\ndiameter_mm = 10.0", "\ndiameter_mm = 10 mm", ["the unit stands in the name", "write 10"]),
    ("\ndiameter_mm = 10.0", "\ndiameter_mm = 1 cm", ["cm times 10"]),
    ("\narm_cant_deg = 40.0", "\narm_cant_deg = 40°", ["the unit stands in the name", "write 40"]),
    ("\ndiameter_mm = 10.0", '\ndiameter_mm = 0.375"', ["inches times 25.4"]),
    ("\ndiameter_mm = 10.0", "\ndiameter_mm = 3/8", ["no fraction line", "25.4"]),
    ("\ndiameter_mm = 10.0", "\ndiameter_mm = 0.375", ["bar.diameter_mm is 0.375 mm", "inches write 9.525"]),
    ("\nprojection_mm = 65.0", "\nprojection_mm = 0", ["jig.projection_mm", "above 0"]),
    # half for whole
    ("\ndiameter_mm = 10.0", "\ndiameter_mm = 5.0", ["so no flute is left", "half of it was given"]),
    # the flute deeper than the bar; its depth for its web
    ("\nweb_mm = 6.5", "\nweb_mm = 11", ["the bar is 10 mm thick, so no flute is left"]),
    ("\nweb_mm = 6.5", "\nweb_mm = 2.1", ["it is the steel under the flute, not the flute's depth"]),
    # distances and angles the wrong way round
    ("\nnose_angle_deg = 35.0", "\nnose_angle_deg = 145", ["the angle of the steel at the nose", "other side 35"]),
    ("\nnose_angle_deg = 35.0", "\nnose_angle_deg = -35", ["jig.nose_angle_deg", "at least 1"]),
    ("\nnose_angle_deg = 35.0", "\nrim_distance_mm = 206", ["as centre_distance_mm it would make one of 34°"]),
    ("\nnose_angle_deg = 35.0", "\ncentre_distance_mm = 106", ["as rim_distance_mm it would make one of 34°"]),
    ("\n# rim_distance_mm", "\nrim_distance_mm", ["nose_angle_deg and rim_distance_mm are given"]),
    # quotation marks, signs, names
    ('\nkind = "foot"', "\nkind = foot", ['a word stands in quotation marks: write "foot"']),
    ('\nsteel = "hss"', "\nsteel = “hss”", ["curled", "straight ones"]),
    ('\nsteel = "hss"', '\nsteel = "hss', ["opened and not closed"]),
    ("\ndiameter_mm = 10.0", "\ndiameter_mm: 10.0", ["= where the colon is: diameter_mm = 10.0"]),
    ("\ndiameter_mm = 10.0", "\ndiameter_mm 10.0", ["has no ="]),
    ("\ndiameter_mm = 10.0", "\ndiameter mm = 10.0", ["a name has no space in it"]),
    ("\ndiameter_mm = 10.0", "\ndiameter = 10.0", ["Did you mean diameter_mm?"]),
    ("\ndiameter_mm = 10.0", "\ndiameter_mm = 09.5", ["no 0 in front"]),
    ("\ndiameter_mm = 10.0", "\ndiameter_mm = 10.0\ndiameter_mm = 9.5", ["stands there twice"]),
    ("\ndiameter_mm = 10.0", "\ndiameter_mm = .5", ["both sides of the point"]),
    ("\n# rpm =", "\nrpm =", ["nothing after the ="]),
    ("\n[[grind]]\n# How", "\n[grind]\n# How", ["[[grind]] with two brackets"]),
]


@pytest.mark.parametrize(("old", "new", "fragments"), WRONG, ids=[new.strip() for _, new, _ in WRONG])
def test_a_slip_in_a_line_is_told_in_plain_words(old, new, fragments, capsys):
    code, _, message = ground(with_line(old, new), capsys)
    assert code == 2
    assert message.startswith("gougeform: bench.toml: ")
    for fragment in fragments:
        assert fragment in message


ODD = [
    ("\nprojection_mm = 65.0", "\nprojection_mm = 2.5", 2, "2.5 looks like inches: in mm that would be 63.5"),
    ("\nprojection_mm = 65.0", "\nprojection_mm = 12", 2, "the edge alone reaches 10 mm behind the nose"),
    ("\ndiameter_mm = 200.0", "\ndiameter_mm = 100", 0, "the whole diameter is meant, not the radius"),
]
"""The exit code: with such projections the clamp would stand in the wheel."""


@pytest.mark.parametrize(("old", "new", "code", "words"), ODD, ids=[new.strip() for _, new, *_ in ODD])
def test_what_is_hardly_meant_is_said(old, new, code, words, capsys):
    got, out, err = ground(with_line(old, new), capsys)
    assert got == code
    assert words in " ".join((err if code else out).split())
    assert ("the clamp would stand" in err) == (code == 2)


def test_what_is_hardly_meant_is_said_beside_json_too(capsys):
    old, new, _, words = ODD[2]
    Path("bench.toml").write_bytes(with_line(old, new))
    assert main(["grind", "bench.toml", "--no-picture", "--json"]) == 0
    assert words in " ".join(capsys.readouterr().err.split())


SAVED = [
    ("tabs", TEXT.replace(" = ", "\t=\t").replace("\n", "\n\t").encode()),
    ("Windows line ends", TEXT.replace("\n", "\r\n").encode()),
    ("UTF-8 with a mark in front", TEXT.encode("utf-8-sig")),
]


@pytest.mark.parametrize("data", [data for _, data in SAVED], ids=[name for name, _ in SAVED])
def test_what_editors_do_without_harm_is_taken(data):
    Path("bench.toml").write_bytes(data)
    assert load("bench.toml").jig.arm_length_mm == 90.0


FOREIGN = [
    (TEXT.encode("utf-16"), "is UTF-16 text"),
    (TEXT.encode("utf-16-le"), "is UTF-16 text"),
    (TEXT.encode("utf-16-be"), "is UTF-16 text"),
    (b"{\\rtf1 " + TEXT.encode(), "is a word processor's rich text"),
    (b"PK\x03\x04" + bytes(100), "is a word processor's document"),
    (TEXT.replace("°", "°").replace("…", "...").replace("×", "x").encode("latin-1"), "is not UTF-8 text"),
]


@pytest.mark.parametrize(("data", "words"), FOREIGN, ids=[words for _, words in FOREIGN])
def test_files_that_are_no_plain_text_are_called_what_they_are(data, words, capsys):
    code, _, message = ground(data, capsys)
    assert code == 2
    assert words in message
    assert "UTF-8" in message


@pytest.mark.parametrize(
    ("there", "asked", "words"),
    [
        ("bench.toml.txt", "bench.toml", "There is bench.toml.txt beside it"),
        ("bench.txt", "bench.toml", "There is bench.txt beside it"),
        ("bench.toml.txt", "bench.toml.txt", "must end in .toml: rename it to bench.toml"),
        ("bench.toml", "bench", "Did you mean bench.toml?"),
    ],
)
def test_a_name_with_another_ending_is_found(there, asked, words, capsys):
    Path(there).write_text(TEXT, encoding="utf-8")
    assert main(["grind", asked, "--no-picture"]) == 2
    assert words in capsys.readouterr().err
    assert os.listdir() == [there]


@pytest.mark.parametrize("line", ["[bar]", "a = 1", "", "#", "x = [1,", "x" * 500, "=" * 500, "a = 1" + " #" * 5000])
def test_lines_without_a_known_slip_get_no_hint_of_one(line):
    assert in_line(line) in ("", "a line is NAME = VALUE, a [table], or begins with #; this one has no =")


def test_control_signs_of_a_file_do_not_reach_the_terminal():
    Path("bad.toml").write_bytes(b"a: \x1b[31m1\n")
    with pytest.raises(InputError) as caught:
        load("bad.toml")
    assert "where the colon is: a = " in str(caught.value)
    assert "\x1b" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("rim_distance_mm,nose_deg\n104,5,32,5\n", "a number has a point and no comma: 104.5"),
        ("rim_distance_mm;nose_deg\n104,5;32,5\n", "has semicolons between its names"),
    ],
)
def test_pairs_from_a_spreadsheet_with_decimal_commas(text, words, capsys):
    Path("bench.toml").write_text(TEXT, encoding="utf-8")
    Path("pairs.csv").write_text(text)
    assert main(["calibrate", "bench.toml", "pairs.csv", "--unknown", "cant"]) == 2
    assert words in capsys.readouterr().err


def test_the_library_raises_no_doubts():
    for entry in catalogue()["recipes"]:
        assert doubts(load(entry.name)) == [], entry.name


def test_doubts_know_belts_tables_and_relief():
    tool = load("finial-round-10-relief-foot")
    assert doubts(changed(tool, {"wheel": "belt-50"})) == []
    blunt = changed(tool, {"grind.0.nose_angle_deg": 120, "grind.1.nose_angle_deg": 100})
    assert [line for line in doubts(blunt) if "nose_angle_deg = 120" in line]
