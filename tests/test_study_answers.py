"""What is read out of a study: Sobol indices, Pareto fronts, figures, and gougeform as a library.

Sources: the test function of Ishigami and Homma (1990) with the closed form of its indices as in Saltelli et al.,
Global Sensitivity Analysis (2008), from memory, the variances recomputed here; the definition of a Pareto front.
"""

from __future__ import annotations

import json
import subprocess
import sys

import matplotlib.image
import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from pyarrow.parquet import read_table as table_of

import gougeform
from gougeform.command import main
from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.reach.result import Terms, reach
from gougeform.recipe.reading import load
from gougeform.stiffness.beam import beam_of
from gougeform.study import plot
from gougeform.study.figures import draw
from gougeform.study.plan import Plan, from_table
from gougeform.study.points import Points
from gougeform.study.run import run
from gougeform.study.sobol import as_table, of_table
from gougeform.study.vary import Vary
from gougeform.work.files import load_work

BASE = "finial-round-10-fingernail-foot"
A, B = 7.0, 0.1


def ishigami_study(points=2048):
    """A sensitivity study whose output is the function, as if a tool had that angle."""
    vary = tuple(Vary((f"x{k}",), -np.pi, np.pi) for k in (1, 2, 3))
    plan = Plan(load(BASE), vary, ("nose_angle_deg",), "sensitivity", points, seed=1, name="ishigami")
    x = np.array(Points(plan).places(np.arange(plan.size))).T
    value = np.sin(x[0]) + A * np.sin(x[1]) ** 2 + B * x[2] ** 4 * np.sin(x[0])
    return plan, pa.table({"point": np.arange(plan.size), "nose_angle_deg": value})


def test_sobol_indices_of_the_ishigami_function():
    plan, table = ishigami_study()
    (found,) = of_table(plan, table)
    one = 0.5 * (1 + B * np.pi**4 / 5) ** 2
    two, both = A**2 / 8, 8 * B**2 * np.pi**8 / 225
    whole = A**2 / 8 + B * np.pi**4 / 5 + B**2 * np.pi**8 / 18 + 0.5
    assert whole == pytest.approx(one + two + both, rel=1e-12)
    first, total = np.array([one, two, 0]) / whole, np.array([one + both, two, both]) / whole
    np.testing.assert_allclose(first, [0.3139, 0.4424, 0.0], atol=5e-5)  # the values as they are printed
    np.testing.assert_allclose(total, [0.5576, 0.4424, 0.2437], atol=5e-5)
    np.testing.assert_allclose(found.first, first, atol=0.02)
    np.testing.assert_allclose(found.total, total, atol=0.02)
    for value, bounds in ((first, found.first_bounds), (total, found.total_bounds)):
        assert (bounds[0] - 0.01 <= value).all()
        assert (value <= bounds[1] + 0.01).all()
    assert found.spread == pytest.approx(np.sqrt(whole), rel=0.02)
    assert as_table([found]).column_names[:3] == ["output", "field", "first_order"]


def test_sobol_indices_say_what_they_lack():
    plan, table = ishigami_study(64)
    values = table["nose_angle_deg"].to_numpy().copy()
    values[3] = np.nan
    (found,) = of_table(plan, pa.table({"point": table["point"], "nose_angle_deg": values}))
    assert (found.samples, found.of) == (32, 64)
    values[:10] = np.nan
    with pytest.raises(InputError, match="10 of 64 samples have a tool without a value"):
        of_table(plan, pa.table({"point": table["point"], "nose_angle_deg": values}))
    with pytest.raises(InputError, match="has 100 of 320 rows"):
        of_table(plan, table.slice(0, 100))
    with pytest.raises(InputError, match='need sample = "sensitivity"'):
        of_table(Plan(plan.recipe, plan.vary, plan.outputs, "latin", 64), table)
    shuffled = table.take(np.random.default_rng(1).permutation(table.num_rows))
    np.testing.assert_array_equal(of_table(plan, shuffled)[0].first, of_table(plan, table)[0].first)


def test_stiffness_and_reach_are_those_of_the_tool_alone():
    table = gougeform.sweep(BASE, {"question.overhang_mm": [40.0, 80.0]}, ["stiffness"])
    gouge = shape(load(BASE))
    beam = beam_of(gouge.recipe, gouge.section)
    for _, row in table.iterrows():
        assert row.stiffness_n_mm == 1 / np.linalg.eigvalsh(beam.give(row["question.overhang_mm"]))[-1]
        assert row.frequency_hz == beam.frequency(row["question.overhang_mm"])
        assert row.hand_force_n == beam.hand_force(row["question.overhang_mm"], 100.0)
        assert row.deflection_mm == pytest.approx(100 / row.stiffness_n_mm, rel=1e-12)
    row = gougeform.sweep(BASE, {"question.work": "cylinder", "question.places": 4}, ["reach"]).iloc[0]
    alone = reach(gouge, load_work("cylinder"), Terms(places=4))
    assert row["question.work"] == "cylinder"
    assert (row.reached_mm, row.depth_reached_mm) == (alone.length_mm, alone.deepest["depth_mm"])
    assert row.reached_percent == 100 * alone.length_mm / alone.whole_mm
    better = np.arange(len(alone.either)), alone.either
    assert row.clearance_mm == np.nanmin(alone.clearance[better][alone.reached])
    assert row.overhang_needed_mm == np.nanmax(alone.overhang[better][alone.reached])


def test_a_pareto_front_is_what_nothing_beats():
    rng = np.random.default_rng(3)
    for more in ((True, True), (True, False), (False, False)):
        values = np.round(rng.random((300, 2)), 2)
        values[7] = np.nan
        sign = np.where(more, 1, -1)
        better = [((sign * values >= sign * one).all(1) & (sign * values > sign * one).any(1)).any() for one in values]
        np.testing.assert_array_equal(plot.front(values, more), ~np.array(better) & ~np.isnan(values[:, 0]))


def test_the_study_command_draws_what_a_study_has(tmp_path, capsys):
    study = tmp_path / "few.toml"
    fields = [("grind.0.nose_angle_deg", 34, 36), ("jig.projection_mm", 64, 66)]
    text = "\n".join(f'[[vary]]\nfield = "{name}"\nfrom = {low}\nto = {high}' for name, low, high in fields)
    study.write_text(
        f'recipe = "{BASE}"\nsample = "sensitivity"\npoints = 8\n'
        f'outputs = ["nose_angle_deg", "wing_angle_deg.50"]\n{text}'
    )
    assert main(["study", str(study), "-o", str(tmp_path / "out"), "--plot", "--json", "--workers", "1"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["complete"]
    assert said["notes"] == []
    names = {path.name for path in (tmp_path / "out").iterdir()}
    figures = {"few-curves.png", "few-map.png", "few-sensitivity.png"}
    assert figures | {"few-sensitivity.csv", "few.csv", "few.parquet"} <= names
    assert {path.rsplit("/")[-1] for path in said["files"]} <= names
    for name in figures:
        picture = matplotlib.image.imread(tmp_path / "out" / name)[..., :3]
        assert min(picture.shape[:2]) > 200
        assert 0.02 < (picture.min(-1) < 0.8).mean() < 0.9  # neither blank nor black
    rows = pd.read_csv(tmp_path / "out" / "few-sensitivity.csv").set_index(["output", "field"])
    # A jig that is set for a nose angle gives that angle whatever the projection is: the closed form of the set-up.
    assert rows.loc["nose_angle_deg", "grind.0.nose_angle_deg"].total_order > 0.1
    assert rows.loc["nose_angle_deg", "jig.projection_mm"].total_order == pytest.approx(0, abs=1e-12)


def test_curves_have_a_line_for_every_combination():
    x, y = np.meshgrid(np.arange(4.0), np.arange(3.0))
    frame = pd.DataFrame(
        {"jig.projection_mm": x.ravel(), "wheel.diameter_mm": y.ravel(), "nose_angle_deg": (x + 10 * y).ravel()}
    )
    inputs = ["jig.projection_mm", "wheel.diameter_mm"]
    first, second = plot.response_curves(frame, inputs, ["nose_angle_deg"]).axes
    assert [len(axis.lines) for axis in (first, second)] == [3, 4]
    np.testing.assert_array_equal(first.lines[1].get_ydata(), [10, 11, 12, 13])
    assert (first.get_xlabel(), first.get_ylabel()) == ("projection, mm", "nose angle, °")
    mesh = plot.heat_maps(frame, inputs, ["nose_angle_deg"]).axes[0].collections[0]
    np.testing.assert_array_equal(np.asarray(mesh.get_array()), x + 10 * y)
    with pytest.raises(InputError, match="A heat map needs two"):
        plot.heat_maps(frame, inputs[:1], ["nose_angle_deg"])
    with pytest.raises(InputError, match="nothing varies"):
        plot.response_curves(frame[:1], inputs, ["nose_angle_deg"])


def test_figures_say_what_they_show_and_fit_a_screen(tmp_path):
    """Faults of earlier figures: 3,965 pixels high, a legend without a name, an axis "1e-7+9.28", twins, no titles."""
    x, y = np.meshgrid(np.arange(4.0), np.arange(3.0))
    rows = [(a, b, bar) for a, b in zip(x.ravel(), y.ravel(), strict=True) for bar in ("round-10", "square-10")]
    frame = pd.DataFrame(rows, columns=["jig.projection_mm", "grind.1.land_mm", "bar"])
    frame["edge_length_mm"] = 9.28 + 1e-7 * frame["jig.projection_mm"]
    for name in ("wing_length_left_mm", "wing_length_right_mm"):
        frame[name] = 1e4 + frame["jig.projection_mm"] * (1 + frame["grind.1.land_mm"])
    inputs = ["jig.projection_mm", "grind.1.land_mm", "bar"]
    assert plot.alike(frame, list(frame)[3:]) == {"wing_length_left_mm": ["wing_length_right_mm"]}
    curves = plot.response_curves(frame, inputs, list(frame)[3:], "Balusters\nwhat each field does")
    maps = plot.heat_maps(frame, inputs, list(frame)[3:], "Balusters\nmaps")
    for figure in (curves, maps):
        figure.draw_without_rendering()
        assert figure.get_suptitle().startswith("Balusters")
        offsets = [axis.get_offset_text().get_text() for one in figure.axes for axis in (one.xaxis, one.yaxis)]
        assert not any(offsets)
    assert maps.get_suptitle().endswith("for bar round-10")
    first, second = curves.axes
    assert first.get_ylabel() == "wing length left, mm\n= wing length right, mm"
    for axis, other in ((first, "land of grind 2"), (second, "projection")):
        legend = axis.get_legend()
        assert legend.get_title().get_text() == f"colour: bar\na line for each {other}"
        assert [text.get_text() for text in legend.get_texts()] == ["round-10", "square-10"]
        assert {line.get_color() for line in axis.lines[::2]} != {line.get_color() for line in axis.lines}
    plan = from_table(
        {
            "recipe": BASE,
            "title": "All of it",
            "outputs": ["settings", "edge", "cheeks"],
            "vary": [
                {"field": "grind.0.nose_angle_deg", "from": 32.0, "to": 40.0, "steps": 2},
                {"field": "jig.projection_mm", "values": [62, 66]},
                {"field": "grind.0.wing_length_mm", "values": [8, 9]},
            ],
        },
        name="all",
    )
    files, notes = draw(plan, run(plan, tmp_path, workers=1, quiet=True).table, tmp_path)
    assert {path.name for path in files} >= {"all-curves.png", "all-curves-2.png", "all-curves-3.png", "all-map.png"}
    assert all(max(matplotlib.image.imread(path).shape) <= 1500 for path in files)
    (note,) = notes
    said, _, names = note.partition(": ")
    assert said == "not drawn, the same for all tools or blank"
    left_out = names.split(", ")
    assert {"land_mm", "overcut_mm", "nose_loss_mm"} <= set(left_out)
    assert all(table_of(tmp_path / "all.parquet").to_pandas()[left_out].round(9).nunique() <= 1)
    (tmp_path / "all-curves-99.png").write_text("of an earlier run")
    draw(plan, table_of(tmp_path / "all.parquet"), tmp_path)
    assert not (tmp_path / "all-curves-99.png").exists()


def test_a_sweep_is_single_runs_and_takes_arrays():
    angles = np.array([[32.0, 35.0], [38.0, 41.0]])
    table = gougeform.sweep(BASE, {"grind.0.nose_angle_deg": angles, "jig.projection_mm": 65}, "edge")
    assert table["grind.0.nose_angle_deg"].tolist() == angles.ravel().tolist()
    for _, row in table.iterrows():
        single = gougeform.measured(
            BASE, {"grind.0.nose_angle_deg": row["grind.0.nose_angle_deg"], "jig.projection_mm": 65.0}
        )
        assert row["wing_angle_deg.25"] == single.wing_angles[25]
        assert row["edge_length_mm"] == single.edge.length
    pairs = gougeform.sweep(
        gougeform.load(BASE),
        {("bar", "flute"): [["round-10", "detail-round-10"], ["square-10", "detail-square-10"]], "wheel": "wheel-150"},
        ["nose_angle_deg"],
        together=True,
    )
    assert pairs["bar"].tolist() == ["round-10", "square-10"]
    assert pairs["wheel"].tolist() == ["wheel-150"] * 2
    with pytest.raises(InputError, match="Give numbers, or names in a list"):
        gougeform.sweep(BASE, {"jig.projection_mm": [None]})


def test_the_edge_is_a_table_for_pandas():
    measures = gougeform.measured(BASE)
    frame = gougeform.edge_frame(measures)
    assert len(frame) == len(measures.edge.u)
    np.testing.assert_array_equal(frame["wedge_deg"], measures.edge.wedge)
    assert {"s_mm", "x_mm", "roll_deg", "contact_mm"} <= set(frame)


def test_five_lines_without_a_main_guard_run_on_two_processes(tmp_path):
    script = tmp_path / "five.py"
    script.write_text(
        "import numpy as np\nimport gougeform\nprint('started')\n"
        "projections = {'jig.projection_mm': np.linspace(60, 70, 40)}\n"
        f"table = gougeform.sweep('{BASE}', projections, 'nose_angle_deg', workers=2)\n"
        "print(len(table), table.status.unique().tolist(), round(table.nose_angle_deg.max(), 6))\n"
    )
    done = subprocess.run([sys.executable, str(script)], capture_output=True, text=True, timeout=60, check=False)
    assert done.stdout.splitlines() == ["started", "40 ['ok'] 35.0"], done.stderr


def test_the_library_front_is_loaded_only_when_used():
    heavy = {"numpy", "pandas", "pyarrow", "vtkmodules"}
    code = f"import sys, gougeform; print(sorted({heavy} & set(sys.modules)), dir(gougeform))"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert said.startswith("[] ")
    assert all(f"'{name}'" in said for name in ("sweep", "measured", "edge_frame", "run_study", "load", "changed"))
    with pytest.raises(AttributeError, match="no attribute 'swep'"):
        gougeform.swep  # noqa: B018
    for name in gougeform.__all__:
        assert getattr(gougeform, name) is not None
