"""The notebooks run from top to bottom, and what a reader sees without running them is there.

No outside source: each notebook asserts what its own text relies on.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

import nbformat
import pytest
from nbmake.nb_run import NotebookRun

FOLDER = Path(__file__).parent.parent / "notebooks"
BOOKS = sorted(FOLDER.glob("*.ipynb"))


def test_all_six_questions_are_there():
    assert [path.stem for path in BOOKS] == [
        "1-round-or-square",
        "2-what-a-second-bevel-buys",
        "3-one-edge-on-three-wheels",
        "4-how-exact-must-the-setting-be",
        "5-how-far-over-the-rest",
        "6-how-exact-it-is",
    ]


@pytest.mark.filterwarnings("ignore::DeprecationWarning:(jupyter_client|nbclient|zmq).*")
@pytest.mark.parametrize("path", BOOKS, ids=lambda path: path.stem)
def test_it_runs(path):
    found = NotebookRun(path, default_timeout=120).execute()
    assert found.error is None, found.error.summary


@pytest.mark.parametrize("path", BOOKS, ids=lambda path: path.stem)
def test_the_page_shows_what_was_computed(path):
    book = nbformat.read(path, as_version=4)
    nbformat.validate(book)
    code = [cell for cell in book.cells if cell.cell_type == "code"]
    outputs = [output for cell in code for output in cell.outputs]
    assert [cell.execution_count for cell in code] == list(range(1, len(code) + 1)), "run it once from the top"
    assert sum("image/png" in output.get("data", {}) for output in outputs) >= 1
    assert not [output for output in outputs if output.output_type == "error" or output.get("name") == "stderr"]
    assert "assert " in code[-1].source, "the last cell checks what the text relies on"
    assert path.stat().st_size < 300_000


@pytest.mark.parametrize("path", BOOKS, ids=lambda path: path.stem)
def test_it_is_written_for_a_turner(path):
    book = json.loads(path.read_text(encoding="utf-8"))
    text = "\n".join("".join(cell["source"]) for cell in book["cells"] if cell["cell_type"] == "markdown")
    assert text.startswith("# ")
    assert "**" in text.split("##")[0], "the question stands out in the opening"
    assert "Before you grind" in text
    assert "competent instructor" in text
    assert 150 < len(re.findall(r"\w+", text)) < 900
