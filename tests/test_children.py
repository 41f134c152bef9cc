"""No process of any command imports from the working folder: here every library has a namesake there that tells."""

import os
import signal
import subprocess
import sys
from importlib.machinery import ModuleSpec
from pathlib import Path

import pytest

import gougeform
from gougeform.children import environment, starting
from workbench import A, job, listening

ROOT = str(Path(gougeform.__file__).parents[1])
# As pip writes it: the script's own folder comes first on the path, and not the working folder.
SCRIPT = "import sys\nfrom gougeform.command import main\nsys.exit(main())\n"
POISON = "open({marker!r}, 'a').write({name!r})\nraise ImportError({name!r})\n"
OTHERS = ("numpy", "scipy", "pandas", "pyarrow", "pydantic", "rich", "pyvista", "vtkmodules", "meshio", "PIL", "lxml")
STUDY = """
recipe = "finial-round-10-fingernail-foot"
outputs = ["nose_angle_deg"]
[[vary]]
field = "jig.projection_mm"
from = 60.0
to = 70.0
steps = 40
"""


@pytest.fixture
def poisoned(tmp_path):
    """The words of a command that runs in a poisoned folder, that folder, and what was imported from it."""
    (tmp_path / "bin").mkdir()
    (tmp_path / "bin" / "script").write_text(SCRIPT)
    folder, marker = tmp_path / "here", tmp_path / "imported"
    folder.mkdir()
    for name in {*sys.stdlib_module_names, *OTHERS} - {"__main__"}:
        (folder / f"{name}.py").write_text(POISON.format(marker=str(marker), name=f"{name} "))
    (folder / "many.toml").write_text(STUDY)
    return [sys.executable, str(tmp_path / "bin" / "script")], folder, marker


@pytest.mark.parametrize(
    "words",
    [
        ["grind", A, "--tolerance", "0.2"],
        ["compare", A, A, "--work", "cylinder", "--places", "4", "--no-picture", "--limit", "20"],
        ["study", "many.toml", "--workers", "2"],
    ],
    ids=["picture", "compare", "study"],
)
def test_nothing_is_imported_from_the_working_folder(words, poisoned):
    script, folder, marker = poisoned
    done = subprocess.run([*script, *words], cwd=folder, capture_output=True, text=True, env=here())
    assert not marker.exists(), marker.read_text()
    assert (done.returncode, "Error" in done.stderr) == (0, False), done.stderr
    if words[0] == "grind" and "could not be made" not in done.stderr:
        assert (folder / "out" / A / "head.png").is_file()


def test_a_long_job_of_the_workbench_imports_nothing_from_there(poisoned):
    script, folder, marker = poisoned
    words = [*script, "workbench", A, "--port", "0", "--no-browser"]
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    with subprocess.Popen(words, cwd=folder, env=here(), **pipes) as run:
        try:
            port = listening(run)
            from gougeform.recipe.reading import load

            answer = job(port, "relief", {"recipe": load(A).table, "land_mm": 2.5, "move": 6})
            assert not marker.exists(), marker.read_text()
            assert "answer" in answer
        finally:
            run.send_signal(signal.SIGINT)
            run.communicate(timeout=40)


def here():
    return os.environ | {"PYTHONPATH": ROOT}


def test_a_spawned_process_gets_no_path_to_the_working_folder_and_no_main_script(tmp_path, monkeypatch):
    """As where gougeform is used in a notebook or by `python -m`, whose own path begins in the working folder."""
    from multiprocessing import spawn

    monkeypatch.chdir(tmp_path)
    # As `python -m` leaves it, whatever runs these tests: a worker of pytest-xdist has no main script of its own.
    monkeypatch.setattr(sys.modules["__main__"], "__spec__", ModuleSpec("pytest.__main__", None), raising=False)
    monkeypatch.setattr(sys, "path", ["", str(tmp_path), *(place for place in sys.path if place != ROOT)])
    monkeypatch.setenv("PYTHONPATH", f"{os.pathsep}/somewhere")
    monkeypatch.delenv("PYTHONSAFEPATH", raising=False)
    before = dict(os.environ)
    with starting(OMP_NUM_THREADS="1"):
        told = spawn.get_preparation_data("child")
        assert os.environ["PYTHONSAFEPATH"] == "1"
        assert os.environ["OMP_NUM_THREADS"] == "1"
        assert "" not in os.environ["PYTHONPATH"].split(os.pathsep)
    assert not {"", str(tmp_path)} & set(told["sys_path"])
    assert ROOT in told["sys_path"]
    assert not any(name.startswith("init_main") for name in told)
    assert dict(os.environ) == before
    assert any(name.startswith("init_main") for name in spawn.get_preparation_data("child"))
    assert environment()["PYTHONPATH"].split(os.pathsep) == [ROOT, "/somewhere"]
