"""One answer, told to a terminal, a program and a page; errors name parameters, the command line adds its dashes."""

import ast
import doctest
import importlib
import io
import json
import re
from pathlib import Path

import pytest

from gougeform.command import COMMANDS, main
from gougeform.errors import InputError
from gougeform.present.answer import Answer, Block, Files, Next, Number, WrittenFile, across, down
from gougeform.present.apart import Outcome
from gougeform.present.files import Written, captured, raw, table, text, written
from gougeform.present.json import page, whole
from gougeform.present.terminal import tell
from gougeform.recipe.change import changed
from gougeform.recipe.reading import load
from test_imports import MODULES

FOOT = "finial-round-10-fingernail-foot"
NAN = float("nan")


@pytest.mark.parametrize("name", ["answer", "files", "json"])
def test_examples_in_docstrings(name):
    module = importlib.import_module(f"gougeform.present.{name}")
    found = doctest.testmod(module, extraglobs={"shlex": importlib.import_module("shlex")})
    assert found.attempted > 0
    assert found.failed == 0


def told(answer, done=None):
    out = io.StringIO()
    tell(answer, done or Written(), out)
    return out.getvalue()


RECORDS = [{"nose_deg": 35.0, "land_mm": None, "way": "tangent"}, {"nose_deg": 25.125, "land_mm": NAN, "way": "flat"}]


def test_tables_are_views_of_records():
    block = across("Edge", RECORDS, {"nose_deg": ("nose", 3), "land_mm": "land", "way": "way", "none_mm": "none"})
    assert [[str(cell) for cell in row] for row in block.rows] == [
        ["nose", "35.000°", "25.125°"],
        ["land", "–", "–"],  # not a number is a number that has no meaning here; None is none at all
        ["way", "tangent", "flat"],
    ]
    block = down("Ways", RECORDS, {"way": "", "nose_deg": "nose"}, "below")
    assert [[str(cell) for cell in row] for row in block.rows] == [["tangent", "35.00°"], ["flat", "25.12°"]]
    assert block.head == ["", "nose"]


ANSWER = Answer(
    "A [title]",
    [
        across("Edge", RECORDS, {"nose_deg": "nose"}),
        Block("Listed", points=["one", "two"]),
        Block(text="  as it stands,   wider than eighty columns, and it is not broken wherever the terminal would end"),
        Block(below="words"),
        Block("Nothing under this title"),
    ],
    verdict="It is so.",
    notes=["Take care."],
    result={"nose_deg": 35.0, "land_mm": NAN, "wings": {50: (1, 2)}},
    next=[Next("grind", [WrittenFile("a b.toml")], {"tolerance": 0.02}, "grind it")],
)


def test_a_terminal_is_told_all_of_it_in_order():
    out = told(ANSWER, Written(Path("out/x"), [Path("out/x/a b.toml")], [], [Path("out/x/old.stl")]))
    parts = ["A [title]", "It is so.", "Edge", "35.00°", "Listed", "- one", "wherever the terminal would end", "words"]
    parts += ["Notes", "- Take care.", "Written to out/x:", "  a b.toml", "from earlier runs", "  old.stl", "What next"]
    parts += ["Grind it:", "gougeform grind 'out/x/a b.toml' --tolerance 0.02"]
    at = [out.index(part) for part in parts]
    assert at == sorted(at)
    assert "Nothing under" not in out
    assert "Before you grind" not in out  # it gives no settings


def test_a_program_gets_plain_values():
    got = whole(ANSWER, Path("out"), ["a.csv"])
    assert got == {
        "title": "A [title]",
        "verdict": "It is so.",
        "nose_deg": 35.0,
        "land_mm": None,
        "wings": {"50": [1, 2]},
        "notes": ["Take care."],
        "next": ["gougeform grind 'out/a b.toml' --tolerance 0.02"],
        "files": ["a.csv"],
    }
    careful = Answer("x", result={"title": "own", "notes": []}, notes=["not this"], recipe=load(FOOT))
    got = whole(careful, Path(), [])
    assert (got["title"], got["notes"]) == ("own", [])  # the result's own keys stay
    assert any("competent instructor" in line for line in got["cautions"])


def test_a_page_gets_the_same_blocks():
    got = page(Answer(ANSWER.title, ANSWER.blocks, next=ANSWER.next, recipe=load(FOOT)))
    assert json.loads(json.dumps(got, allow_nan=False)) == got
    (row,) = got["blocks"][0]["rows"]
    numbers = {"35.00°": 35.0, "25.12°": 25.125}
    cells = [{"text": shown, "value": value, "key": "nose_deg", "unit": "°"} for shown, value in numbers.items()]
    assert row == [{"text": "nose"}, *cells]
    assert got["blocks"][1]["points"] == ["one", "two"]
    assert got["next"] == [
        {"command": "grind", "about": [{"name": "a b.toml"}], "given": {"tolerance": 0.02}, "why": "grind it"}
    ]
    assert not any(one["strong"] for one in got["cautions"])


# ---- cautions


def test_settings_end_with_one_short_block_and_a_strong_one_is_in_full():
    recipe = load(FOOT)
    end = told(Answer("x", recipe=recipe)).split("Before you grind\n")[1]
    assert len(end.strip().splitlines()) <= 5
    assert "14.9 m/s" in end  # v = pi D n: 200 mm at 1425 a minute
    assert "`gougeform cautions` has the full list" in " ".join(end.split())
    unknown = told(Answer("x", recipe=changed(recipe, {"wheel.rpm": None})))
    assert "is not checked: the recipe gives no wheel.rpm" in " ".join(unknown.split())
    fast = " ".join(told(Answer("x", recipe=changed(recipe, {"wheel.rpm": 5000}))).split())
    assert "! DO NOT GRIND LIKE THIS: at 5000 rpm the 200 mm wheel would run at 52.4 m/s" in fast
    assert "A wheel above its rating can burst" in fast


def test_the_full_list_has_a_command_of_its_own(capsys):
    assert main(["cautions"]) == 0
    every = " ".join(capsys.readouterr().out.split())
    for words in ("eye protection", "1/8 in (3.2 mm)", "side of a wheel", "600 °C", "competent instructor"):
        assert words in every
    assert "m/s" not in every  # no wheel, no speed
    assert main(["cautions", FOOT, "--json"]) == 0
    assert "14.9 m/s" in json.loads(capsys.readouterr().out)["cautions"][0]


# ---- parameters and options


def test_errors_name_parameters_and_the_command_line_adds_its_dashes(capsys):
    for words, said in (
        (["relief", FOOT, "--land", "99", "--move", "5"], "gougeform: --land: given 99: the bevel at the nose"),
        (["relief", FOOT, "--move", "5"], "--move: one number does not fix a relief. Add --land."),
        (["settings", FOOT, "--want", "nose=500"], "gougeform: --want nose: given 500, allowed is from 1 to 179"),
        (["reach", FOOT, "--work", "bore", "--limit", "95"], "gougeform: --limit: given 95, allowed is from 0 to"),
        (["profiles", "jogs"], 'gougeform: KIND: given "jogs". Did you mean jigs?'),
        (["gauge", "tag", FOOT, "--fit", "9"], "gougeform: --fit: given 9, allowed is"),
        (["hone", FOOT], "gougeform: the following arguments are required: --wheel."),
    ):
        assert main(words) == 2
        err = capsys.readouterr().err
        assert said in err
        assert err.count("\n") == 1
    from gougeform.settings.answers.relief import answer

    with pytest.raises(InputError) as caught:
        answer(load(FOOT), move=5.0)
    assert (caught.value.field, caught.value.hint) == ("move", "add `land`")


def test_a_files_own_field_is_no_option(tmp_path, capsys):
    """`wheel` is a table of the recipe here, and `--wheel` an option of the same command."""
    (tmp_path / "bad.toml").write_text(
        'bar = "round-10"\nflute = "detail-round-10"\njig = "foot-65"\nwheel = 3\n[[grind]]\n'
    )
    assert main(["hone", str(tmp_path / "bad.toml"), "--wheel", "200"]) == 2
    err = capsys.readouterr().err
    assert "bad.toml: wheel" in err
    assert "--wheel" not in err


_OPTION = re.compile(r"(?<![\w-])--[a-z][a-z-]+")


def test_no_option_stands_in_a_science():
    """What a page would have to parse out of prose again. A whole command in backquotes may have one."""
    apart = {"tool.picture", "reach.scene", "gauges.picture", "show.drawing"}  # their own processes
    apart |= {"present.answer"}  # the renderer
    wrong = []
    for module, path in MODULES.items():
        if module.split(".")[0] in ("commands", "command") or module in apart:
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        docs = {id(n.value) for n in ast.walk(tree) if isinstance(n, ast.Expr) and isinstance(n.value, ast.Constant)}
        for node in ast.walk(tree):
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs:
                rest = re.sub(r"`gougeform [^`]*`", "", node.value)
                wrong += [f"{path}:{node.lineno}: {found}" for found in _OPTION.findall(rest)]
    assert not wrong, "\n".join(wrong)


def test_every_command_takes_what_it_says_and_answers():
    for name in COMMANDS:
        module = importlib.import_module(f"gougeform.commands.{name}")
        assert hasattr(module, "arguments"), name
        assert hasattr(module, "answer") != hasattr(module, "run"), name
        assert module.__doc__, name


# ---- files


def listed(folder):
    return sorted(path.name for path in folder.iterdir())


def drawn(folder, path):
    path.write_bytes((folder / "a.csv").read_bytes())  # what it is drawn from is there by then
    return Outcome("")


def refused(folder, path):
    return Outcome("The picture could not be made.")


def test_files_come_together_and_pictures_after_them(tmp_path):
    make = {"a.csv": table({"x_mm": [1.5, NAN]}), "flat.png": raw(b"png")}
    files = Files(
        make, tmp_path / "own", record="all.json", draw={"p.png": drawn, "q.png": refused}, replaces=r"[pq]\.png"
    )
    answer = Answer("x", result={"n": 1}, files=files)
    (tmp_path / "own").mkdir()
    for old in ("p.png", "q.png", "mine.png"):
        (tmp_path / "own" / old).write_text("old")
    done = written(answer)
    assert listed(tmp_path / "own") == ["a.csv", "all.json", "flat.png", "mine.png", "p.png"]
    assert done.problems == ["The picture could not be made."]
    assert [path.name for path in done.paths] == ["a.csv", "flat.png", "all.json", "p.png"]
    record = json.loads((tmp_path / "own" / "all.json").read_text())
    assert record["files"] == ["a.csv", "flat.png", "all.json", "p.png"]
    assert (tmp_path / "own" / "a.csv").read_text() == "x_mm\n1.5\n\n"
    done = written(answer, tmp_path / "other", pictures=False)
    assert listed(tmp_path / "other") == ["a.csv", "all.json"]
    assert done.folder == tmp_path / "other"


def test_a_maker_that_fails_leaves_what_was_there(tmp_path):
    def broken(path):
        path.write_text("half")
        raise OSError(28, "No space left on device")

    (tmp_path / "a.txt").write_text("before")
    elsewhere = tmp_path / "library" / "jig.toml"
    files = Files({str(elsewhere): text("jig"), "a.txt": text("new"), "b.txt": broken}, tmp_path)
    with pytest.raises(InputError, match="No space left on device"):
        written(Answer("x", files=files))
    assert listed(tmp_path) == ["a.txt"]
    assert (tmp_path / "a.txt").read_text() == "before"
    done = written(Answer("x", files=Files({str(elsewhere): text("jig"), "a.txt": text("new")}, tmp_path)))
    assert [path.relative_to(tmp_path).as_posix() for path in done.paths] == ["library/jig.toml", "a.txt"]
    assert elsewhere.read_text() == "jig"


def test_a_fresh_file_never_takes_anothers_place(tmp_path):
    (tmp_path / "b.txt").write_text("theirs")
    files = Files({"a.txt": text("a"), "b.txt": text("b")}, tmp_path, fresh=True)
    with pytest.raises(InputError, match="is there already"):
        written(Answer("x", files=files))
    assert listed(tmp_path) == ["b.txt"]


def test_what_a_writer_leaves_is_captured_as_bytes():
    assert captured(lambda folder: (folder / "x").write_bytes(b"1")) == {"x": b"1"}


def test_numbers_in_cells_have_one_form():
    given = ((0.0, "x_mm"), (-0.001, "x_mm"), (None, "x_mm"), (12.0, "f_hz"), (2.5, ""))
    assert [str(Number(*one)) for one in given] == ["0.00 mm", "0.00 mm", "–", "12 Hz", "2.500"]
    assert str(Number(0.0, "x_deg", plus=True)) == "+0.00°"
    assert str(Number(-1.0, "x_deg", plus=True)) == "-1.00°"
