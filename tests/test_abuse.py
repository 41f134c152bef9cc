"""Every reader of files, and every folder that is written, treated badly: success, or one message and exit code 2.

No outside source: what a person may do by mistake, and what a full disk or a second run does.
"""

from __future__ import annotations

import contextlib
import errno
import io
import os
import random
import resource
import subprocess
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from abuse import broken, wrong_tables
from conftest import tool_table
from gougeform.command import main
from gougeform.errors import InputError
from gougeform.mesh.files import write_vtu
from gougeform.mesh.solid import build_solid
from gougeform.read.library import OWN_LIBRARY, built_in
from gougeform.read.writing import toml_text
from gougeform.recipe.reading import from_table, load
from gougeform.recipe.write import to_toml
from gougeform.work import files as work_files
from gougeform.workbench import address
from gougeform.workbench.incoming import parsed_json, parsed_upload

FOOT = "finial-round-10-fingernail-foot"
RELIEF = "finial-round-10-relief-foot"
PAIRS = "projection_mm,wheel_diameter_mm,rim_distance_mm,nose_deg\n65,200,108,35.6\n75,200,124,40.1\n65,150,110,28.3\n"
STUDY = f"""
title = "Two tools"
recipe = "{FOOT}"
outputs = ["settings", "nose_angle_deg"]
sample = "grid"
[[vary]]
field = "jig.projection_mm"
from = 60.0
to = 65.0
steps = 2
[[vary]]
field = "grind.0.nose_angle_deg"
values = [35]
[[constraint]]
name = "jig.projection_mm"
least = 50.0
"""
MEASURED = {
    "shape": "points", "points_mm": [[0, 0], [1, 0.1], [2, 0.55], [3, 1.4], [4, 3.3]], "web_mm": 6.0, "length_mm": 60.0,
}  # fmt: skip
OTHER = {"outline": "points", "points_mm": [[3.1, 5.4], [-3.1, 5.4], [-6.2, 0.1], [-3.2, -5.3], [3.0, -5.4], [6.3, 0]],
         "length_mm": 120.0}  # fmt: skip


@pytest.fixture(autouse=True)
def in_a_folder_of_its_own(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv(OWN_LIBRARY, raising=False)


def said(words: list[str]) -> tuple[int, str]:
    """Exit code and standard error of a command; a refusal is one message of one line."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main(words)
    text = err.getvalue()
    assert "Traceback" not in text
    if code == 2:
        told = [line for line in text.splitlines() if not line.endswith(" …")]  # a line of progress may stand before
        assert len(told) == 1, text
        assert told[0].startswith("gougeform: "), text
        assert len(told[0]) < 3000
    return code, text


def refusal(read: Callable[[Any], object], value: Any) -> InputError | None:
    """What a reader says against a value; None where it takes it."""
    try:
        read(value)
    except InputError as error:
        return error
    return None


def assert_in_words(error: InputError | None, what: str) -> None:
    """A refusal says what is wrong, in one line that a terminal can show."""
    if error is not None:
        assert error.problem, what
        assert str(error).isprintable(), what
        assert len(str(error)) < 3000, what


def everything() -> dict[str, bytes]:
    return {str(path): path.read_bytes() for path in Path().rglob("*") if path.is_file()}


# ---- files


def stops_after_reading(monkeypatch):
    """The long work behind each command is left out: what is tried here is reading."""

    def stop(*_, **__):
        raise InputError("", "was read", "nothing to change")

    for name in (
        "gougeform.tool.grind.answer",
        "gougeform.reach.answer.reach",
        "gougeform.settings.answers.calibrate.calibrate",
        "gougeform.study.answer.run",
    ):
        monkeypatch.setattr(name, stop)


def recipe_file() -> bytes:
    return to_toml(load(RELIEF)).encode()


READERS = {
    "recipe": (recipe_file, "mine.toml", ["grind", "mine.toml"]),
    "measured flute and bar": (
        lambda: toml_text(tool_table("foot") | {"flute": MEASURED, "bar": OTHER}).encode(),
        "mine.toml",
        ["grind", "mine.toml"],
    ),
    "library file": (
        lambda: (built_in() / "jigs/foot-65.toml").read_bytes(),
        "own/jigs/foot-65.toml",
        ["grind", FOOT],
    ),
    "older": (
        lambda: recipe_file(),
        "old.toml",
        ["grind", "new.toml"],
    ),
    "work": (
        lambda: (built_in() / "work/baluster.toml").read_bytes(),
        "mine.toml",
        ["reach", FOOT, "--work", "mine.toml"],
    ),
    "work points": (
        lambda: b"x_mm,radius_mm\n0,20\n15.5,22\n30,18\n60,18\n",
        "mine.csv",
        ["reach", FOOT, "--work", "mine.csv"],
    ),
    "pairs": (lambda: PAIRS.encode(), "pairs.csv", ["calibrate", FOOT, "pairs.csv", "--unknown", "arm_length"]),
    "study": (lambda: STUDY.encode(), "mine.toml", ["study", "mine.toml"]),
}


@pytest.mark.parametrize("name", READERS)
def test_a_broken_file_is_refused_in_one_line(name, monkeypatch):
    stops_after_reading(monkeypatch)
    make, file, words = READERS[name]
    if name == "library file":
        Path("own/jigs").mkdir(parents=True)
        monkeypatch.setenv(OWN_LIBRARY, "own")
    if name == "older":
        Path("new.toml").write_text('older = "old.toml"\n' + recipe_file().decode(), encoding="utf-8")
    path = Path(file)
    before = {Path("new.toml")} if name == "older" else set()
    for what, data in broken(make(), 40, name):
        path.write_bytes(data)
        code, text = said(words)
        assert code == 2, what  # also where it can be read: then the long work says so
        assert what != "as it is" or "was read" in text, text
        assert {p for p in Path().iterdir() if p.is_file()} - {path} == before, what


def test_a_broken_bench_file_or_address_is_refused():
    def ground(recipe):
        return None

    good = {"bench": 1, "view": {"panel": "edge"}, "a": load(FOOT).table, "b": load(RELIEF).table}
    for what, data in broken(toml_text(good).encode(), 40, "bench"):
        assert_in_words(refusal(lambda data: address.from_bench_table(parsed_upload(data), ground), data), what)
    for what, table in wrong_tables(good | {"b": good["a"]}):
        assert_in_words(refusal(lambda table: address.from_bench_table(table, ground), table), what)
    for what, data in broken(b'{"a": {"wanted": {}}, "n": [1, 2.5e3, "\\u00e9", null, true]}', 60, "request"):
        assert_in_words(refusal(parsed_json, data), what)
    text = address.address(address.from_bench_table(good, ground))
    for what, data in broken(text.encode(), 60, "address"):
        cut = data[:100_000].decode("latin-1")
        assert_in_words(refusal(lambda text: address.from_address(text, ground), cut), what)


@pytest.fixture(scope="module")
def mesh(tmp_path_factory):
    from gougeform.grind.gouge import shape

    path = tmp_path_factory.mktemp("mesh") / "tool.vtu"
    write_vtu(build_solid(shape(from_table(tool_table("table-steady"))), 0.5), path)
    return path.read_bytes()


def test_a_broken_mesh_is_refused_by_the_picture(mesh):
    from gougeform.tool.picture import read_shape

    path = Path("tool.vtu")
    for what, data in broken(mesh, 60, "mesh"):
        if what == "10 MB":
            continue
        path.write_bytes(data)
        read = []
        with contextlib.redirect_stdout(io.StringIO()):
            error = refusal(lambda path, read=read: read.append(read_shape(path)), path)
        assert_in_words(error, what)
        assert error is None or error.file == str(path), what
        assert all(shape.faces.max() < len(shape.points) for shape in read), what


def test_a_broken_journal_is_refused_or_goes_on():
    """Whatever became of the rows of a study that was stopped: the table of a whole run or a message, no other."""
    Path("mine.toml").write_text(STUDY)
    words = ["study", "mine.toml", "-o", "here", "--workers", "1"]
    assert said(words)[0] == 0
    good = {path.name: path.read_bytes() for path in Path("here").iterdir()}
    rows = good["rows.jsonl"]
    first, one, *_ = rows.splitlines(keepends=True)
    lines = [b"5", b"null", b"{}", b"[]", b"[1]", b'["a", "ok", "", [1]]', b"[0, 1, 2, 3]", b'[99, "ok", "", []]',
             b'[-1, "ok", "", []]', b'[0.5, "ok", "", []]', b'[1e999, "ok", "", []]', b'[true, "ok", "", []]',
             b'[0, "ok", "", ["x"]]', b'[0, "ok", "", [1]]', b'[0, "ok", "", [[1]]]', b'[0, "no", "", []]',
             b'[0, "ok", 7, []]', b'[0, "ok", "", {}]', b"[" * 5000, b"\xff", b"\0", b'[0, null, null, null]',
             b'[0, "ok", "", [1e999]]', b'["0", "ok", "", []]', b"9" * 5000, b"NaN"]  # fmt: skip
    cases = [(str(line[:30]), first + line + b"\n" + one) for line in lines]
    # One bit, fifty times (test_many.py flips every one); the places are shares of the file, so that no case hangs on
    # the digits of a machine.
    for k in range(50):
        flipped, place = bytearray(rows), k * len(rows) // 50
        flipped[place] ^= 1 << k % 8
        cases.append((f"bit {k % 8} of byte {place}", bytes(flipped)))
    chance = random.Random("journal")
    for k in range(15):
        flipped = bytearray(rows)
        for _ in range(chance.randint(2, 60)):
            flipped[int(chance.random() * len(rows))] ^= 1 << chance.randrange(8)
        cases.append((f"many flips {k}", bytes(flipped)))
    went_on = 0
    for what, data in [*cases, *broken(rows, 25, "journal")]:
        if what == "10 MB":
            continue
        Path("here/rows.jsonl").write_bytes(data)
        code, text = said(words)
        assert code in (0, 2), what
        now = {path.name: path.read_bytes() for path in Path("here").iterdir()}
        assert now.keys() == good.keys(), what
        results = {name: content for name, content in now.items() if name != "rows.jsonl"}
        assert results == {name: content for name, content in good.items() if name != "rows.jsonl"}, what
        assert code == 0 or "rows.jsonl" in text
        went_on += code == 0
    assert went_on > 60


# ---- values of the wrong type


TABLES = {
    "foot": lambda: tool_table("foot-relief") | {"title": "x", "handle": {"tang_mm": 40.0}},
    "rod": lambda: tool_table("rod-relief") | {"bar": OTHER, "wheel": {"kind": "belt", "width_mm": 40.0}},
    "table": lambda: tool_table("table-steady") | {"flute": MEASURED},
    "older": lambda: tool_table("foot") | {"older": tool_table("foot")},
    "square": lambda: tool_table("foot") | {
        "bar": {"outline": "square", "side_mm": 10.0, "corner_radius_mm": 1.0, "length_mm": 150.0,
                "steel": {"young_gpa": 200.0, "density_g_cm3": 8.0, "poisson": 0.3, "name": "mine"}},
        "flute": {"shape": "vee", "floor_radius_mm": 1.0, "flank_angle_deg": 30.0, "web_mm": 5.0, "length_mm": 60.0,
                  "run_out_mm": 6.0},
    },
}  # fmt: skip


@pytest.mark.parametrize("name", TABLES)
def test_a_field_of_the_wrong_type_is_refused_in_words(name):
    for what, table in wrong_tables(TABLES[name]()):
        error = refusal(lambda table: from_table(table, source="shop/mine.toml"), table)
        assert_in_words(error, what)
        assert error is None or error.hint, what


def test_a_work_or_study_field_of_the_wrong_type_is_refused_in_words():
    from gougeform.study import plan

    baluster = tomllib.loads((built_in() / "work/baluster.toml").read_text())
    points = {"title": "x", "points_mm": [[0.0, 20.0], [15.0, 22.0], [30.0, 18.0], [60.0, 18.0]], "corner_deg": 30.0}
    study = tomllib.loads(STUDY) | {"seed": 3, "question": {"limit_deg": 10.0}}
    sample = {k: v for k, v in study.items() if k != "vary"} | {
        "sample": "latin", "points": 4, "vary": [{"field": "jig.projection_mm", "from": 60.0, "to": 65.0}],
    }  # fmt: skip
    for read, good in ((work_files.from_table, baluster), (work_files.from_table, points), (plan.from_table, study),
                       (plan.from_table, sample)):  # fmt: skip
        read(good)
        for what, table in wrong_tables(good):
            assert_in_words(refusal(read, table), what)


# ---- names


NAMES = [
    "é\u0301 \U0001f600.toml", "\u202eabc.toml", "a b;c&d.toml", "-x.toml", "..toml", "%s{0}.toml", "a\nb.toml",
    "\x1b[31m.toml", "x" * 250 + ".toml", "CON.toml", " .toml", os.fsdecode(b"\xff\xfe.toml"),
]  # fmt: skip


@pytest.mark.parametrize("name", NAMES, ids=range(len(NAMES)))
def test_any_name_of_a_recipe_does(name, monkeypatch):
    """The whole way, with a mesh as coarse as can be; what is written lies in out/ and nowhere else."""
    file = Path("in") / name
    file.parent.mkdir()
    file.write_bytes(toml_text(tool_table("table-steady") | {"title": "é\u0301\u202e\U0001f600\u0007"}).encode())
    code, text = said(["grind", str(file), "--no-picture", "--tolerance", "1"])
    assert code in (0, 2), text
    assert {path.name for path in Path().iterdir()} <= {"in", "out"}
    assert os.listdir("in") == [name]
    (made,) = Path("out").iterdir() if code == 0 else [None]
    assert made is None or len(list(made.iterdir())) == 6
    assert code == 0 or not Path("out").exists()


LOOPS = {
    "from itself": {"mine.toml": 'bar = "b.toml"', "b.toml": 'from = "b.toml"'},
    "older itself": {"mine.toml": 'older = "mine.toml"\n' + recipe_file().decode()},
    "older in turn": {
        "mine.toml": 'older = "b.toml"\n' + recipe_file().decode(),
        "b.toml": 'older = "./in/../mine.toml"\n' + recipe_file().decode(),
    },
    "a name in the own library": {"mine.toml": 'bar = "round-10"', "own/bars/round-10.toml": 'from = "round-10"'},
    "two names in the own library": {
        "mine.toml": 'jig = "a"', "own/jigs/a.toml": 'from = "b"', "own/jigs/b.toml": 'from = { from = "a" }',
    },
    "steel in bar in steel": {
        "mine.toml": 'bar = "b.toml"', "b.toml": 'from = "round-10"\nsteel = "s.toml"', "s.toml": 'from = "b.toml"',
    },
    "nested older": {"mine.toml": "older = {" * 300 + "}" * 300},
}  # fmt: skip


@pytest.mark.parametrize("name", LOOPS)
def test_references_in_a_loop_are_refused(name, monkeypatch):
    rest = {"bar": "round-10", "flute": "detail-round-10", "wheel": "wheel-200", "jig": "foot-65"}
    Path("in").mkdir()
    for file, text in LOOPS[name].items():
        Path(file).parent.mkdir(parents=True, exist_ok=True)
        if file == "mine.toml" and "[" not in text and "older" not in text:
            text += "".join(f'\n{k} = "{v}"' for k, v in rest.items() if not text.startswith(k)) + "\n[[grind]]\n"
        Path(file).write_text(text, encoding="utf-8")
    if Path("own").exists():
        monkeypatch.setenv(OWN_LIBRARY, "own")
    assert said(["grind", "mine.toml", "--no-picture"])[0] == 2
    assert not Path("out").exists()


@pytest.mark.parametrize("library", ["gone", "file", "/dev/null", "\udcff", "x" * 5000, "loop", "own"])
def test_any_library_folder_is_used_or_refused(library, monkeypatch):
    Path("file").write_text("")
    Path("loop").symlink_to("loop")
    for place in ("own/bars", "own/recipes/x.toml", "own/jigs"):
        Path(place).mkdir(parents=True)
    Path("own/wheels").write_text("a file where a folder is expected")
    Path("own/jigs/foot-65.toml").symlink_to("/dev/null")
    Path("own/bars/loop.toml").symlink_to("loop.toml")
    monkeypatch.setenv(OWN_LIBRARY, library)
    assert said(["grind", FOOT, "--no-picture"])[0] == 2
    code, _ = said(["profiles"])
    assert code == 2


def test_devices_and_folders_are_no_files():
    Path("folder.toml").mkdir()
    Path("folder.csv").mkdir()
    os.mkfifo("pipe.toml")
    os.mkfifo("pipe.csv")
    for place in ("folder", "pipe", "gone"):
        for words in (
            ["grind", f"{place}.toml"],
            ["reach", FOOT, "--work", f"{place}.toml"],
            ["reach", FOOT, "--work", f"{place}.csv"],
            ["calibrate", FOOT, f"{place}.csv", "--unknown", "cant"],
            ["study", f"{place}.toml"],
        ):
            assert said(words)[0] == 2, words
    for device in ("/dev/zero", "/dev/full", "/proc/self/mem"):
        assert said(["calibrate", FOOT, device, "--unknown", "cant"])[0] == 2


# ---- folders


QUICK = "quick.toml"
WRITERS = {
    "grind": ["grind", QUICK, "--no-picture", "--tolerance", "1"],
    "gauge": ["gauge", "projection", QUICK, "--no-picture"],
    "card": ["card", QUICK],
    "reach": ["reach", QUICK, "--work", "bore", "--places", "4", "--no-cove", "--no-picture"],
    "study": ["study", "mine.toml", "--workers", "1"],
    "settings": ["settings", FOOT, "--want", "nose=35"],
    "transfer": ["transfer", FOOT, "--to", "wheel=150", "--json"],
    "calibrate": ["calibrate", FOOT, "pairs.csv", "--unknown", "arm_length"],
}
"""Commands that write a folder, each as quick as it can be."""


@pytest.fixture
def inputs():
    Path(QUICK).write_text(toml_text(tool_table("rod-steady") | {"title": "Quick"}), encoding="utf-8")
    Path("mine.toml").write_text(STUDY, encoding="utf-8")
    Path("pairs.csv").write_text(PAIRS, encoding="utf-8")


def found(folder: str) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(Path(folder).iterdir())}


PLACES = ["file", "file/below", "dangling", "loop", "loop/below", "/dev/full", "/proc/gougeform", "a\0b", "x" * 300]


@pytest.mark.parametrize("name", WRITERS)
def test_no_folder_full_disk_or_failed_rename_costs_what_was_there(name, inputs, monkeypatch):
    """One run after another: into places that are no folder, onto a disk that is full, with a rename that fails."""
    words = WRITERS[name]
    Path("file").write_text("kept")
    Path("dangling").symlink_to("nowhere/at/all")
    Path("loop").symlink_to("loop")
    before = everything()
    for place in PLACES if name in ("grind", "study") else PLACES[2:3]:
        code, text = said([*words, "-o", place])
        assert code == 2, place
        assert "written" in text, text
        assert everything() == before, place

    # A link to a folder elsewhere is a folder.
    Path("elsewhere").mkdir()
    Path("here").symlink_to("elsewhere")
    assert said([*words, "-o", "here"])[0] == 0
    assert Path("here").is_symlink()
    good = found("elsewhere")
    assert good
    assert not [file for file in good if file.startswith(".")]
    again = [*words, "--restart"] if name == "study" else words

    # The system itself refuses to write a file beyond so many bytes.
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    largest = max(len(data) for data in good.values())
    try:
        for most in (0, largest // 2, largest - 1) if name in ("grind", "study") else (largest - 1,):
            resource.setrlimit(resource.RLIMIT_FSIZE, (most, hard))
            code, text = said([*again, "-o", "here"])
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
            assert code == 2, (most, text)
            now = found("elsewhere")
            now.pop("rows.jsonl", None)  # a study's journal is not a result: it is what there is so far
            assert now == {k: v for k, v in good.items() if k != "rows.jsonl"}, most
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))

    # A file cannot take the place of a folder: none of the batch does.
    victim = sorted(good)[-1]
    Path("elsewhere", victim).unlink()
    Path("elsewhere", victim).mkdir()
    if victim != "rows.jsonl":
        assert said([*words, "-o", "here"])[0] == 2
        assert {k: v for k, v in found_files("elsewhere").items() if k != "rows.jsonl"} == {
            k: v for k, v in good.items() if k not in (victim, "rows.jsonl")
        }
    Path("elsewhere", victim).rmdir()
    Path("elsewhere", victim).write_bytes(good[victim])

    # The second rename of a batch fails.
    real, count = os.replace, []

    def failing(source, target, **more):
        count.append(target)
        if len(count) == 2:
            raise OSError(errno.ENOSPC, "No space left on device")
        return real(source, target, **more)

    with monkeypatch.context() as patch:
        patch.setattr(os, "replace", failing)
        code, text = said([*again, "-o", "here"])
    if len(count) > 1:
        assert code == 2, text
        now = found("elsewhere")
        assert {k: v for k, v in now.items() if k != "rows.jsonl"} == {
            k: v for k, v in good.items() if k != "rows.jsonl"
        }


def found_files(folder: str) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(Path(folder).iterdir()) if path.is_file()}


def test_many_runs_into_one_folder_at_once(inputs):
    """Two processes of each command start together: whole files of one run, or a message, and nothing else."""
    code = "import sys; from gougeform.command import main; sys.exit(main(sys.argv[1:]))"
    for name in ("settings", "study"):
        runs = [
            subprocess.Popen(
                [sys.executable, "-W", "error", "-c", code, *WRITERS[name], "-o", f"many-{name}"],
                stdout=subprocess.DEVNULL,
                stderr=subprocess.PIPE,
                text=True,
            )
            for _ in range(2)
        ]
        errors = [run.communicate(timeout=120)[1] for run in runs]
        codes = [run.returncode for run in runs]
        assert 0 in codes, errors
        assert set(codes) <= {0, 2}, errors
        for number, text in zip(codes, errors, strict=True):
            assert "Traceback" not in text
            assert number == 0 or "another run is writing" in text, text
        assert said([*WRITERS[name], "-o", f"alone-{name}"])[0] == 0
        both, alone = found(f"many-{name}"), found(f"alone-{name}")
        assert both.keys() == alone.keys()
        steady = {file for file in alone if file.endswith((".stl", ".3mf", ".csv", ".toml"))}
        assert {file: both[file] for file in steady} == {file: alone[file] for file in steady}
