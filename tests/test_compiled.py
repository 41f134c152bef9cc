"""Compiled loops: kept on disk and loaded by the next process, wherever there is room for them; and only when asked."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from gougeform.numerics import compiled

_PROGRAM = """
import json, sys, time
from gougeform.work.files import load_work
from gougeform.work.distance import Wood
begin = time.process_time()
import numpy as np
wood = Wood(load_work("cylinder"))
d = wood.distance(np.array([50.0]), np.array([40.0]))[0]
from gougeform.numerics.compiled import kept_in
from gougeform.work import distance
stats = distance._distances.stats
folder = kept_in()
print(json.dumps([d, None if folder is None else str(folder), sum(stats.cache_hits.values()),
                  sum(stats.cache_misses.values())]))
"""


def run(package: Path, home: Path):
    """What the program prints in a process of its own, with the package's folder given."""
    env = os.environ | {"PYTHONPATH": str(package), "XDG_CACHE_HOME": str(home), "PYTHONDONTWRITEBYTECODE": "1"}
    done = subprocess.run(
        [sys.executable, "-c", _PROGRAM], env=env, capture_output=True, text=True, timeout=120, check=True
    )
    return json.loads(done.stdout)


@pytest.fixture(scope="module")
def package(tmp_path_factory):
    """The package by a link, so that its own folder for compiled code can be taken away."""
    import gougeform

    folder = tmp_path_factory.mktemp("package")
    inside = folder / "gougeform"
    inside.mkdir()
    for path in Path(gougeform.__file__).parent.iterdir():
        if path.name != "__pycache__":
            (inside / path.name).symlink_to(path)
    # Modules come through links; compiled.py alone is copied, for it looks for rooms beside itself.
    (inside / "numerics").unlink()
    (inside / "numerics").mkdir()
    for path in (Path(gougeform.__file__).parent / "numerics").glob("*.py"):
        (inside / "numerics" / path.name).write_bytes(path.read_bytes())
    profiles = Path(gougeform.__file__).parents[2] / "profiles"
    (inside / "profiles").symlink_to(profiles)
    return folder


def test_a_second_process_loads_what_the_first_compiled(package, tmp_path):
    first, second = run(package, tmp_path), run(package, tmp_path)
    assert first[0] == second[0] == pytest.approx(15.0, abs=1e-9)  # 40 from the axis, the cylinder's radius is 25
    assert first[1] == second[1]
    assert Path(first[1]).is_relative_to(package)
    assert first[2:] == [0, 1]
    assert second[2:] == [1, 0]
    name = Path(first[1]).name
    assert "numba" in name
    assert name.startswith("gougeform-")


def test_where_the_package_cannot_be_written_the_users_cache_holds_it(package, tmp_path):
    """A file stands where the folder would be, which stops the system's administrator too."""
    import shutil

    own = package / "gougeform" / "__pycache__"
    shutil.rmtree(own, ignore_errors=True)
    own.write_text("")
    try:
        found = run(package, tmp_path / "home")
        assert Path(found[1]).is_relative_to(tmp_path / "home")
        assert found[0] == pytest.approx(15.0, abs=1e-9)
        (tmp_path / "file").write_text("")
        nowhere = run(package, tmp_path / "file")
        assert nowhere[1] is None
        assert nowhere[0] == found[0]
    finally:
        own.unlink()


@pytest.mark.parametrize(
    "words", [["--help"], ["-c", "import gougeform"], ["grind", "finial-round-10-plain-table", "--no-picture"]]
)
def test_numba_loads_only_with_reach(words, tmp_path):
    """It takes half a second, which --help, the import and grind do not have."""
    program = "import gougeform" if words[0] == "-c" else f"from gougeform.command import main; main({words!r})"
    program += "\n"
    whole = (
        "import sys\ntry:\n    "
        + program.replace("; ", "\n    ")
        + "except SystemExit: pass\nprint('numba' in sys.modules, file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", whole], cwd=tmp_path, env=os.environ, capture_output=True, text=True, timeout=120
    )
    assert done.stderr.split()[-1] == "False", done.stderr


def test_the_first_use_says_that_it_prepares(tmp_path, monkeypatch):
    monkeypatch.setattr(compiled, "kept_in", lambda: tmp_path)
    assert compiled.preparing("searching") == "preparing, once, about 20 s, then searching"
    (tmp_path / "here").mkdir()
    (tmp_path / "here" / "one.nbi").write_text("")
    assert compiled.preparing("searching") == "searching"
