"""One registry of measured quantities: every view says the same, and a new quantity is one new file."""

import json
import math
import os
import pickle
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import gougeform
from gougeform.grind.gouge import shape
from gougeform.measure.cheek import edge_places, edge_widths, past_edge
from gougeform.measure.measured import RESULTS, Column, Kept, Measured, columns
from gougeform.measure.measures import Measures, measure, result
from gougeform.measure.quantities import COLUMNS, QUANTITIES
from gougeform.quantity import PLAIN
from gougeform.reach.quantities import AT_WORK, EVERY, AtWork
from gougeform.recipe.reading import load
from gougeform.study.outputs import chunk_size, compute
from gougeform.tool.rows import size_block
from gougeform.workbench.numbers import ROWS, numbers

SOURCE = Path(gougeform.__file__).parent
RELIEF, PLAIN_TABLE = "finial-round-10-relief-foot", "finial-round-10-plain-table"


@pytest.fixture(scope="module", params=[RELIEF, PLAIN_TABLE])
def tool(request) -> Measures:
    return measure(shape(load(request.param)))


def flat(found: dict, before: str = "") -> dict:
    out = {}
    for key, value in found.items():
        out |= flat(value, f"{before}{key}.") if isinstance(value, dict) else {f"{before}{key}": value}
    return out


@pytest.mark.parametrize("one", [*QUANTITIES, *AT_WORK], ids=lambda one: one.key)
def test_every_quantity_says_what_it_is(one):
    assert one.unit is not PLAIN
    assert one.label
    assert one.what
    assert "," not in one.key
    assert " " not in one.key
    assert len({column.label for column in one.columns}) == len(one.columns)


def test_every_quantity_has_one_stated_error(tool):
    assert {one.error for one in QUANTITIES} == set(tool.stated_error)
    assert all(value > 0 for value in tool.stated_error.values())
    steel = tool.gouge.recipe.bar.steel.density_g_cm3 / 1000
    assert tool.stated_error["steel_removed_g"] == pytest.approx(steel * tool.stated_error["steel_removed_mm3"])


def test_json_page_and_study_hold_the_same_numbers(tool):
    """JSON leaves out what has no meaning for the tool; the others say that there is none."""
    given = flat(result(tool, []))
    page = numbers(tool, late=False) | numbers(tool, late=True)
    study = compute(tool.gouge.recipe, list(COLUMNS))
    for name, column in COLUMNS.items():
        value = given.get(name)
        assert (name in given) == (column.value(tool) is not None)
        assert page.get(name) == value or column.of.told == RESULTS, name
        assert (None if math.isnan(study[name]) else study[name]) == value, name
        assert tool[name] == value or not math.isfinite(tool[name] or math.nan), name
    assert {row.name for row in ROWS} == set(page)


def test_the_printed_table_holds_what_no_other_table_tells(tool):
    said = dict(size_block(tool).rows)
    assert said["steel removed"] == f"{tool.table('steel_removed_g')['steel_removed_g']:.2f} g"
    past = tool["cheek_past_edge_mm"]
    row = said["cheek past the edge 5, 10, 15 mm behind nose"]
    assert row == f"{past['5']:.2f}, {past['10']:.2f}, {past['15']:.2f} mm"
    assert said["wing length"] == f"{tool['wing_length_mm.left']:.2f} mm"
    assert not any("angle" in label or "land" in label for label in said)


def test_unlike_sides_are_both_printed():
    sides = Measured("wing_length_mm", "wing length", lambda _: (9.0, 9.1), "nose to lip", places=("left", "right"))
    assert sides.row(Kept()) == ("wing length left, right", "9.00, 9.10 mm")
    assert Measured("land_mm", "land", lambda _: None, "edge to crease").row(Kept()) is None


def test_names_that_are_not_measured():
    found = measure(shape(load(RELIEF)))
    assert found["wing_angle_deg"]["50"] == found["wing_angle_deg.50"] == found.wing_angles[50]
    for name in ("wing_angle_50_deg", "wing_angle_deg.51", "land_mm.3", ""):
        with pytest.raises(KeyError):
            found[name]


def test_two_of_one_name_are_refused():
    with pytest.raises(ValueError, match="two quantities are called land_mm"):
        columns([COLUMNS["land_mm"].of, COLUMNS["land_mm"].of])


def test_only_what_is_asked_for_is_computed():
    made = AtWork(load(RELIEF))
    made.value("nose_angle_deg")
    made.value("wing_length_mm.left")
    kept = set(made.measures.__dict__) | set(made.measures.__dict__["_kept"])
    assert not kept & {"steel_removed", "steel_removed_mm3", "widths", "cheek_width_mm", "nose_loss_mm"}
    made.value("cheek_width_mm.5")
    assert "steel_removed" not in made.measures.__dict__
    assert chunk_size(["nose_angle_deg"]) == 16
    assert chunk_size(["nose_angle_deg", "cheek_width_mm.5"]) < 4
    assert chunk_size(["nose_angle_deg", "tightest_cove_mm"]) == 1


def test_what_was_computed_travels_between_processes():
    made = measure(shape(load(RELIEF)))
    value = made["cheek_past_edge_mm.10"]
    again = pickle.loads(pickle.dumps(made))
    assert "widths" in again.__dict__["_kept"]  # and not computed once more
    assert again["cheek_past_edge_mm.10"] == value


def test_every_number_that_can_be_asked_for_has_one_name():
    assert set(EVERY) == set(COLUMNS) | set(columns(AT_WORK))
    assert all(name == one.name and isinstance(one, Column) for name, one in EVERY.items())


# ---- the edge behind the nose


def test_edge_places_lie_on_the_edge_and_behind_the_wings_at_the_lips():
    edge = measure(shape(load(RELIEF))).edge
    places = edge_places(edge, [2.0, 5.0, 9.99, 10.01, 40.0])
    z = edge.gouge.ground.heights(places.reshape(-1, 2)).z.reshape(2, -1)
    np.testing.assert_allclose(z[:, :3], [[-2.0, -5.0, -9.99]] * 2, rtol=0, atol=1e-7)
    lips = [edge.gouge.section.lip(side) for side in (-1, 1)]
    for d in (3, 4):
        np.testing.assert_allclose(places[:, d], lips, rtol=0, atol=1e-12)
    np.testing.assert_allclose(places[0] * [-1, 1], places[1], rtol=0, atol=1e-8)
    assert (np.diff(edge_widths(edge, [2.0, 5.0, 9.99, 10.01, 40.0])) >= -1e-9).all()


def test_far_behind_all_that_is_ground_the_bar_stands_past_its_lips():
    for name, wide in ((RELIEF, 10.0), ("baluster-square-10-relief-foot", 10.0)):
        edge = measure(shape(load(name))).edge
        lips = edge.gouge.section.lip(1)[0] - edge.gouge.section.lip(-1)[0]
        assert past_edge(edge, 60.0)[0] == pytest.approx(wide - lips, abs=1e-9)
        # The round bar's widest place lies 3.6 mm below its lips, the square one's sides run down from near them.
        assert past_edge(edge, 60.0, 2.0)[0] == pytest.approx(wide - lips, abs=1e-9)


def test_nothing_lies_far_below_the_edge():
    edge = measure(shape(load(RELIEF))).edge
    assert past_edge(edge, 60.0, 100.0)[0] == 0.0


# ---- a newcomer's measure


CROWN = '''"""How high the lips stand over the nose."""

from gougeform.measure.measured import Measured

MEASURED = (
    Measured(
        "lip_rise_mm", "lips over the nose", lambda m: m.edge.point[1, [0, -1]] - m.gouge.section.y_floor,
        "height of the lips over the flute's floor", places=("left", "right"), digits=4,
    ),
)
'''  # fmt: skip

ASKED = """
import gougeform, json, sys
from gougeform.workbench import answers
from gougeform.workbench.numbers import numbers
table = gougeform.sweep(sys.argv[1], {"grind.0.nose_angle_deg": [33.0, 35.0]}, ["edge"])
tool = gougeform.load(sys.argv[1]).grind().measures
row = next(row for row in answers.fixed()["rows"] if row["name"] == "lip_rise_mm.right")
print(json.dumps([table["lip_rise_mm.left"].tolist(), numbers(tool, late=False)["lip_rise_mm.right"], row]))
"""


def test_a_measure_is_one_file(tmp_path):
    """Added to a copy of the program it is in the JSON, the printed table, the studies and on the page."""
    shutil.copytree(SOURCE, tmp_path / "sim" / "gougeform", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copytree(SOURCE.parent.parent / "profiles", tmp_path / "profiles")
    (tmp_path / "sim" / "gougeform" / "measure" / "quantities" / "crown.py").write_text(CROWN, encoding="utf-8")

    def run(*words):
        environment = os.environ | {"PYTHONPATH": str(tmp_path / "sim")}
        done = subprocess.run(
            [sys.executable, "-W", "error", *words], cwd=tmp_path, env=environment, capture_output=True, text=True
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    ours = measure(shape(load(RELIEF)))
    rise = ours.edge.point[1, -1] - ours.gouge.section.y_floor
    grind = ["-m", "gougeform.command", "grind", RELIEF, "--no-picture", "--tolerance", "0.1", "-o", "here"]
    assert json.loads(run(*grind, "--json"))["lip_rise_mm"] == pytest.approx({"left": rise, "right": rise}, abs=1e-12)
    said = run(*grind)
    assert "lips over the nose " in said
    assert f"{rise:.4f} mm" in said
    assert "lip_rise_mm.left" in run("-m", "gougeform.command", "study", "--outputs")
    column, page, row = json.loads(run("-c", ASKED, RELIEF))
    assert column == pytest.approx([rise, rise], abs=1e-12)
    assert page == rise
    assert (row["label"], row["unit"], row["digits"]) == ("lips over the nose right", "mm", 4)
