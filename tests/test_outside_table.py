"""The table in tests/outside/README.md names every outside check that exists and no other; and what compares, bites."""

import ast
import re

import pytest

from agree import HEAD, OUTSIDE, Agree, named, table

PAGE = (OUTSIDE / "README.md").read_text(encoding="utf-8")
TAGS = ("seen", "from memory", "derived", "common practice", "no source", "not found")
LIBRARIES = ("Open CASCADE", "python-fcl", "trimesh", "meshio", "sectionproperties", "manifold3d", "shapely")


def rows():
    """(file, source, quantity, cases, unit, tolerance, achieved) of every row."""
    lines = [line for line in PAGE.splitlines() if line.startswith("|")]
    cells = [[cell.strip() for cell in line.strip("|").split(" | ")] for line in lines]
    assert cells[0] == list(HEAD)
    return [[row[0].strip("`"), *row[1:]] for row in cells[2:]]


def test_lists_exactly_the_checks_that_exist():
    assert [(row[0], row[2]) for row in rows()] == named(), (
        "run `pytest tests/outside --achieved` and put its table into tests/outside/README.md"
    )


def test_there_are_many_and_none_is_over_its_tolerance():
    found = rows()
    assert len(found) >= 60
    for *_, cases, _, tolerance, achieved in found:
        assert int(cases) > 0
        assert (float(achieved) > 0) if tolerance == "> 0" else (float(achieved) <= float(tolerance) * 1.05)


def test_every_module_says_where_its_values_come_from():
    for path in OUTSIDE.glob("test_*.py"):
        module = ast.parse(path.read_text(encoding="utf-8"))
        assert ast.get_docstring(module), path.name
        assert re.search(r'^SOURCE = ".+"$', path.read_text(encoding="utf-8"), re.MULTILINE), path.name
    for _, source, *_ in rows():
        assert source.endswith(TAGS) or source.startswith(LIBRARIES), source


@pytest.fixture
def kept():
    return {}


def test_agree_fails_where_it_should(kept):
    agree = Agree("test_x", "a book · seen", kept)
    agree("length", [1.0, 2.0], [1.0, 2.0005], 1e-3, "mm")
    agree("length", 100.0, 100.0, 1e-3, "mm")
    assert kept["test_x", "length"].cases == 3
    assert kept["test_x", "length"].achieved == pytest.approx(5e-4)
    agree("ratio", 101.0, 100.0, 0.011, "1", relative=True)
    for ours, outside in ((1.002, 1.0), (float("nan"), 1.0), (1.0, float("nan")), (float("inf"), float("inf"))):
        with pytest.raises(AssertionError, match="length: ours"):
            agree("length", ours, outside, 1e-3, "mm")
    with pytest.raises(AssertionError):
        agree("length", [1.0, 2.0], [1.0], 1e-3, "mm")
    with pytest.raises(AssertionError, match="nothing to compare"):
        agree("length", [], [], 1e-3, "mm")
    with pytest.raises(AssertionError, match="is compared in mm and in deg"):
        agree("length", 1.0, 1.0, 1e-3, "deg")
    agree.falls("fall", [3.0, 2.0, 1.5], "mm")
    assert kept["test_x", "fall"].achieved == pytest.approx(0.5)
    for values in ([1.0, 1.0], [1.0, 2.0], [1.0, float("nan")]):
        with pytest.raises(AssertionError, match="do not fall"):
            agree.falls("fall", values, "mm")
    agree.at_most("top", [44.0, 45.0], 45.1, "deg")
    for value in (46.0, float("nan")):
        with pytest.raises(AssertionError, match="is above"):
            agree.at_most("top", [value], 45.1, "deg")


def test_prints_rows_in_the_order_of_the_sources(kept):
    file, quantity = named()[0]
    Agree(file, "a book · seen", kept)(quantity, 1.0, 1.25, 0.5, "mm")
    assert list(table(kept))[2:] == [f"| `{file}` | a book · seen | {quantity} | 1 | mm | 0.5 | 0.25 |"]
