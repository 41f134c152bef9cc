"""What README and DEVELOPERS say can be done as it stands there."""

import re
from pathlib import Path

import pytest

from gougeform.command import COMMANDS, main

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def blocks(text, language):
    return re.findall(rf"^```{language}\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)


def test_opens_with_the_job_and_two_whole_commands():
    assert README.startswith("# gougeform\n\n")
    demo, tests = blocks(README, "sh")
    for command in (demo, tests):
        assert len(command.splitlines()) == 1
        assert command.startswith("python3 -m venv .venv && .venv/bin/pip install ")
    assert demo.rstrip().endswith(".venv/bin/gougeform demo")
    assert "'.[test]'" in tests
    assert tests.rstrip().endswith(".venv/bin/pytest")


def test_ci_runs_that_very_command():
    ci = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert "README.md" in ci
    for words in ("ruff check", "ruff format --check", "mypy"):
        assert words in ci


def test_the_recipe_in_it_grinds(tmp_path, monkeypatch, capsys):
    (recipe,) = blocks(README, "toml")
    monkeypatch.chdir(tmp_path)
    Path("mine.toml").write_text(recipe, encoding="utf-8")
    assert main(["grind", "mine.toml", "--no-picture"]) == 0
    assert "My detail gouge" in capsys.readouterr().out
    files = {path.name for path in Path("out/mine").iterdir()} | {"head.png"}
    for file in files:
        assert f"`{file.replace('mine.', 'NAME.')}`" in README


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_commands_and_links_in_it_exist(text):
    code = "\n".join([*blocks(text, "text"), *blocks(text, "sh"), *re.findall(r"`([^`\n]+)`", text)])
    named = set(re.findall(r"\bgougeform ([a-z]+)\b", code))
    assert named >= {"grind"}
    assert named - set(COMMANDS) == set()
    for link in re.findall(r"\]\(([^)#]+)\)", text):
        assert (ROOT / link).exists(), link


def test_the_python_in_it_runs():
    (code,) = blocks(DEVELOPERS, "python")
    space = {}
    exec(compile(code, "DEVELOPERS.md", "exec"), space)
    assert 20 < space["measures"].nose_angle < 60


def test_the_map_names_every_room():
    source = ROOT / "sim" / "gougeform"
    table = DEVELOPERS[DEVELOPERS.index("| package |") : DEVELOPERS.index("At the end stand")]
    named = [re.findall(r"`([a-z]+)`", line.split("|")[1]) for line in table.strip().splitlines()[2:]]
    rooms = {path.parent.name for path in source.glob("*/__init__.py")}
    assert {name for row in named[1:] for name in row} == rooms
    assert all((source / f"{name}.py").exists() for name in named[0])
