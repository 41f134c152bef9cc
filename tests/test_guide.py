"""The guide in profiles/ can be followed as it stands: its commands run in order and say what it says they say.

No outside source: the worked example's readings are invented.
"""

import contextlib
import io
import re
import shlex
from pathlib import Path

import pytest

from gougeform.command import COMMANDS, main
from gougeform.read.library import KINDS, catalogue
from gougeform.starter.lengths import at_the_wheel, from_above, from_the_end
from gougeform.starter.sketch import legend
from gougeform.starter.text import starter
from gougeform.starter.values import BARS, CLAMPS, FLUTES, JIGS, PATHS, WHEELS, Choices

FOLDER = Path(__file__).resolve().parents[1] / "profiles"
GUIDE = (FOLDER / "README.md").read_text(encoding="utf-8")
PICTURES = {
    "measure-bar.png": Choices(),
    "measure-foot.png": Choices(),
    "measure-rod.png": Choices(jig="rod"),
    "measure-table.png": Choices(jig="table"),
}


def said_by(command):
    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(io.StringIO()):
        assert main(shlex.split(command)[1:]) == 0, command
    return " ".join(out.getvalue().split())


def test_it_can_be_followed_from_top_to_bottom(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("gougeform.present.progress.PATIENCE_S", 3600.0)
    said, run = "", 0
    for language, body in re.findall(r"^```(\w+)\n(.*?)^```$", GUIDE, re.MULTILINE | re.DOTALL):
        if language == "csv":
            Path("pairs.csv").write_text(body, encoding="utf-8")
        elif language == "toml":
            Path("baluster-2.toml").write_text(body, encoding="utf-8")
            monkeypatch.setenv("GOUGEFORM_LIBRARY", str(tmp_path / "workshop"))
        elif language == "sh":
            commands = body.replace("\\\n", " ").splitlines()
            words = [
                f"{line} --no-picture" if re.match(r"gougeform (grind|gauge)", line) else line for line in commands
            ]
            said = " ".join(said_by(line) for line in words)
            run += len(words)
        else:
            assert language == "text"
            for line in body.splitlines():
                assert line in said, line
    assert run >= 7
    assert (tmp_path / "workshop" / "jigs" / "our-foot-jig.toml").is_file()


def test_what_it_says_of_slips_in_both_unknowns_is_so(tmp_path, monkeypatch):
    """Cant and arm together are not told within 20°, and the advice is there."""
    monkeypatch.chdir(tmp_path)
    (start,) = re.findall(r"^gougeform start baluster.*?(?=^```)", GUIDE, re.MULTILINE | re.DOTALL)
    said_by(start.replace("\\\n", " ") + " --no-drawing")
    (pairs,) = re.findall(r"^```csv\n(.*?)^```", GUIDE, re.MULTILINE | re.DOTALL)
    Path("pairs.csv").write_text(pairs, encoding="utf-8")
    said = said_by("gougeform calibrate baluster.toml pairs.csv --unknown cant --unknown arm_length")
    assert float(re.search(r"cant 39\.25° \S+ ± ([\d.]+)°", said)[1]) > 20
    assert "One more pair that tells most" in said or "No further pair" in said
    radius = re.search(r"^radius_mm = (\S+)$", Path("baluster.toml").read_text(encoding="utf-8"), re.MULTILINE)[1]
    assert f"radius_mm = {radius}," in GUIDE


def test_the_hollow_under_a_protractor():
    # Angle between chord and tangent of a circle: asin(c / D), in degrees about c / D · 57.3 (elementary geometry).
    assert "9.3 / 187 × 57.3° = 2.9°" in GUIDE
    assert round(9.3 / 187 * 57.3, 1) == 2.8 or round(9.32 / 187 * 57.3, 1) == 2.9


def test_commands_options_kinds_and_links_in_it_exist():
    code = "\n".join([*re.findall(r"`([^`\n]+)`", GUIDE), *re.findall(r"^gougeform .*$", GUIDE, re.MULTILINE)])
    assert set(re.findall(r"\bgougeform ([a-z]+)\b", code)) <= set(COMMANDS)
    rows = dict(re.findall(r"^\| `--(\w+)` \| (.*) \|$", GUIDE, re.MULTILINE))
    kinds = {"bar": BARS, "flute": FLUTES, "wheel": WHEELS, "jig": JIGS, "clamp": CLAMPS, "path": PATHS}
    assert {name: set(re.findall(r"`(\w+)`", words)) for name, words in rows.items()} == {
        name: set(words) for name, words in kinds.items()
    }
    for link in re.findall(r"\]\(([^)#]+)\)", GUIDE):
        assert (FOLDER / link).exists(), link
    for word in ("Eye protection", "competent instructor", "Follow local codes"):
        assert word in GUIDE


def test_what_it_says_the_program_says_is_said():
    rows = re.findall(r"^\| (`.*`) \| .* \|$", GUIDE[GUIDE.index("## When it says no") :], re.MULTILINE)
    sources = "".join(
        (FOLDER.parent / "sim" / "gougeform" / place).read_text(encoding="utf-8")
        for place in ("read/slips.py", "read/toml.py", "read/inches.py", "bar/section.py", "tool/doubts.py")
    )
    quoted = [words for row in rows for words in re.findall(r"`([^`]+)`", row)]
    assert len(quoted) >= 12
    for words in quoted:
        wanted = re.escape(words.replace("bench.toml.txt", "{other}"))
        assert re.search(wanted, re.sub(r'"\n\s*f?"', "", sources)), words


def test_the_library_takes_no_notice_of_it():
    assert not any(entry.path.name == "README.md" for entries in catalogue().values() for entry in entries)
    assert {path.name for path in FOLDER.iterdir()} == {*KINDS, "README.md"}


@pytest.mark.parametrize("name", PICTURES)
def test_its_pictures_are_those_the_program_draws_today(name):
    """To draw them again: `gougeform start new.toml --jig foot` (or rod, table), and rename the PNG files it makes."""
    from PIL import Image

    measures = starter(PICTURES[name], {}, "new.toml").measures
    bar = [*from_the_end(measures.gouge), *from_above(measures)]
    with Image.open(FOLDER.parent / "notebooks" / "pictures" / name) as image:
        assert image.text["Description"] == legend(bar if name == "measure-bar.png" else at_the_wheel(measures.gouge))
        assert 900 <= image.width <= 1400
    assert (FOLDER.parent / "notebooks" / "pictures" / name).stat().st_size < 120_000
    assert f"pictures/{name}" in GUIDE
