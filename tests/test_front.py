"""The front door: what `import gougeform as gf` gives, and every doctest of the package."""

import doctest
import importlib
import pkgutil
import re
import subprocess
import sys
from pathlib import Path

import pytest

import gougeform as gf

MODULES = sorted(
    one.name for one in pkgutil.walk_packages(gf.__path__, "gougeform.") if not one.name.endswith("__main__")
)


def test_every_doctest_runs():
    """One test, so that a module without any costs nothing; the door itself must have some."""
    tried = {}
    for name in MODULES:
        found = doctest.testmod(importlib.import_module(name), optionflags=doctest.ELLIPSIS)
        assert found.failed == 0, name
        tried[name] = found.attempted
    assert tried["gougeform.front"] >= 12
    assert sum(tried.values()) >= 40


def test_the_door_is_quick_and_complete():
    code = "import sys, time; t = time.process_time(); import gougeform; "
    code += "print(time.process_time() - t, 'numpy' in sys.modules)"
    best = min(
        float(out[0])
        for out in (
            subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split()
            for _ in range(5)
        )
        if out[1] == "False"
    )
    assert best < 0.05
    for name in gf.__all__:
        assert getattr(gf, name) is not None
    assert gf.ArcFlute.noun == "an arc flute"
    with pytest.raises(AttributeError, match="no attribute 'NoSuchFlute'"):
        _ = gf.NoSuchFlute


def test_a_tool_from_parts_is_the_tool_from_a_file(tmp_path):
    filed = gf.load("finial-round-10-relief-foot")
    recipe = filed.recipe
    built = gf.Tool(
        bar=recipe.bar, flute=recipe.flute, wheel=recipe.wheel, jig=recipe.jig, grind=recipe.grind, title=recipe.title
    )
    assert built == filed
    built.save(tmp_path / "mine.toml")
    assert gf.load(tmp_path / "mine.toml") == filed
    with pytest.raises(gf.InputError, match="beside a whole recipe"):
        gf.Tool(recipe, bar=recipe.bar)


def test_the_mesh_goes_to_each_library(tmp_path):
    mesh = gf.load("finial-round-10-fingernail-foot").grind().mesh(0.05)
    made, grid, cells = mesh.to_trimesh(), mesh.to_pyvista(), mesh.to_meshio()
    assert made.is_watertight
    assert made.volume == pytest.approx(mesh.volume_mm3, rel=1e-9)
    assert grid.volume == pytest.approx(mesh.volume_mm3, rel=1e-6)
    assert set(grid.cell_data["surface"]) == set(range(len(grid.field_data["surface_names"])))
    assert len(cells.cells[0].data) == len(made.faces)
    for ending in ("stl", "3mf", "vtu"):
        mesh.export(tmp_path / f"x.{ending}")
        assert (tmp_path / f"x.{ending}").stat().st_size > 1000
    with pytest.raises(gf.InputError, match="allowed are"):
        mesh.export(tmp_path / "x.obj")


def test_a_question_gives_back_a_tool():
    tool = gf.load("finial-round-10-fingernail-foot")
    found = gf.solution(tool.solve(nose=33.0))
    assert found.grind()["nose_angle_deg"] == pytest.approx(33.0, abs=0.3)  # to a ruler's step
    assert gf.measured(tool, {"jig.projection_mm": 70.0}).nose_angle == pytest.approx(35.0)


def test_what_the_readme_teaches_runs(tmp_path, monkeypatch):
    text = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")
    (code,) = re.findall(r"^```python\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)
    monkeypatch.chdir(tmp_path)
    space = {}
    exec(compile(code, "README.md", "exec"), space)
    assert {"gouge.3mf", "wings.png"} <= {one.name for one in tmp_path.iterdir()}
    assert list(space["table"]["status"]) == ["ok"] * 5
    assert space["reach"].length_mm > 0
