"""Recipes that several test files share, as plain tables, and a way to grind them with a few fields changed."""

from __future__ import annotations

import os
from copy import deepcopy
from functools import cache

import pytest

from gougeform.grind.gouge import Gouge, shape
from gougeform.recipe.change import changed
from gougeform.recipe.reading import from_table

pytest_plugins = ["agree"]


def _no_skips(report: pytest.TestReport | pytest.CollectReport) -> None:
    """A user may lack a browser or a graphics library; `.ci/run` installs both, so there a skip is a fault."""
    if os.environ.get("GOUGEFORM_NO_SKIPS") and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome, report.longrepr = "failed", f"skipped where nothing may be: {report.longrepr}"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    report = yield
    _no_skips(report)
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(collector):
    report = yield
    _no_skips(report)
    return report


SLOW = {
    *("abuse", "benchmarks", "budgets", "children", "choose", "commands_grind", "commands_reach", "convergence"),
    *("dense_minimisation", "docstrings", "edge", "exact_boundary_kernel", "fcl", "files"),
    *("finite_element_sections", "gauge_command", "gauge_kinds", "gauge_printing", "grind_errors", "guide"),
    *("hold", "hollow_and_chord", "imports", "kernel", "many", "mesh_booleans", "mutants", "notebooks"),
    *("one_file_kinds", "outside_table", "picture", "polygon_areas", "quantities", "random_recipes", "reach", "readme"),
    *("recipe_model", "regrind_and_gaps", "settings_calibrate", "settings_commands", "settings_match"),
    *("settings_solve", "solid", "start", "study_answers", "study_cluster", "study_run", "take_scan"),
    *("workbench_browser", "workbench_fuzz", "workbench_jobs", "workbench_server"),
}  # fmt: skip
"""Files of tests, without their `test_`, that take more than some seconds: what `pytest -m quick` leaves out."""


def pytest_collection_modifyitems(items):
    for item in items:
        if item.path.stem.removeprefix("test_") not in SLOW:
            item.add_marker(pytest.mark.quick)


_BAR = {"outline": "round", "diameter_mm": 10.0, "length_mm": 150.0}
_FLUTE = {"shape": "arc", "radius_mm": 4.0, "web_mm": 6.5, "length_mm": 60.0}
_LOW = _FLUTE | {"web_mm": 3.5}  # its floor lies below the roll axis, so that rolling keeps the nose
_WHEEL = {"diameter_mm": 200.0, "width_mm": 40.0}
_FOOT = {
    "kind": "foot",
    "projection_mm": 65.0,
    "hinge_back_mm": 15.0,
    "hinge_drop_mm": 8.0,
    "arm_length_mm": 90.0,
    "arm_cant_deg": 40.0,
    "height_mm": -130.0,
    "nose_angle_deg": 35.0,
}
_ROD = {
    "kind": "rod",
    "projection_mm": 65.0,
    "hinge_back_mm": 15.0,
    "hinge_drop_mm": 8.0,
    "hinge_cant_deg": 35.0,
    "shoe_mm": 40.0,
    "rod_diameter_mm": 4.0,
    "height_mm": -20.0,
    "nose_angle_deg": 35.0,
}
_TABLE = {"kind": "table", "projection_mm": 65.0, "nose_angle_deg": 40.0}
_TRACED = {"path": "traced", "wing_length_mm": 10.0}
_SHORT = {"path": "traced", "wing_length_mm": 3.0, "shoulder": 0.3}

TOOLS = {
    "foot": {"jig": _FOOT, "grind": [_TRACED]},
    "foot-relief": {"jig": _FOOT, "grind": [_TRACED, {"nose_angle_deg": 25.0, "land_mm": 2.5}]},
    "rod": {"jig": _ROD, "grind": [_TRACED]},
    "rod-relief": {"jig": _ROD, "grind": [_TRACED, {"nose_angle_deg": 27.0, "land_mm": 2.0}]},
    "rod-steady": {
        "flute": _LOW,
        "jig": _ROD | {"hinge_cant_deg": 0.0, "hinge_drop_mm": 0.0},
        "grind": [{"path": "steady", "roll_max_deg": 100.0}],
    },
    "table": {"jig": _TABLE, "grind": [_SHORT]},
    "table-steady": {"flute": _LOW, "jig": _TABLE, "grind": [{"path": "steady", "roll_max_deg": 100.0}]},
}


def tool_table(base: str) -> dict:
    """A fresh recipe table: a round 10 mm bar with an arc flute on one of the jigs."""
    return deepcopy({"bar": _BAR, "flute": _FLUTE, "wheel": _WHEEL, **TOOLS[base]})


@cache
def _ground(base: str, edits: str) -> Gouge:
    return shape(changed(from_table(tool_table(base)), eval(edits)))  # the repr of a plain dict of numbers and texts


def grind_tool(base: str, edits: dict | None = None) -> Gouge:
    """The ground tool of a base recipe with fields changed by dotted name; ground once a session."""
    return _ground(base, repr(edits or {}))


@pytest.fixture(scope="session")
def tool():
    """grind_tool, as a fixture."""
    return grind_tool


@pytest.fixture(scope="session")
def table():
    """tool_table, as a fixture."""
    return tool_table
