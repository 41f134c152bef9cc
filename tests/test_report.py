"""The printed tables: every number is the measured one, and they fit a plain 80 column terminal."""

import io
import os
import re
import subprocess
import sys

import numpy as np
import pytest

from gougeform.grind.gouge import shape
from gougeform.measure.measures import measure, result
from gougeform.present.answer import Answer
from gougeform.present.cautions import STRONG
from gougeform.present.files import Written
from gougeform.present.terminal import tell
from gougeform.quantity import NOTHING
from gougeform.recipe.change import changed
from gougeform.recipe.reading import load
from gougeform.tool.grind import blocks
from gougeform.tool.rows import _up, edge_block, exactness, extremes, settings_block, size_block


def measured(name, **changes):
    recipe = load(name)
    return measure(shape(changed(recipe, {k.replace("__", "."): v for k, v in changes.items()}) if changes else recipe))


@pytest.fixture(scope="module")
def relief():
    return measured("baluster-square-10-relief-foot")


def printed(measures, stream=None, mesh_mm=None):
    out, recipe = stream or io.StringIO(), measures.gouge.recipe
    tell(Answer(recipe.title, blocks(measures, mesh_mm), notes=measures.notes, recipe=recipe), Written(), out)
    return out.getvalue()


def texts(block):
    """A block's head and rows as words."""
    return [tuple(block.head), *(tuple(map(str, row)) for row in block.rows)]


def setting_rows(gouge):
    return texts(settings_block(gouge))


def edge_rows(measures):
    return texts(edge_block(measures))


def row(rows, name):
    found = [r[1:] for r in rows if r[0] == name]
    assert len(found) == 1, (name, rows)
    return found[0]


class Terminal(io.StringIO):
    def isatty(self):
        return True


@pytest.mark.parametrize(
    "name", ["baluster-square-10-relief-foot", "baluster-square-10-relief-rod", "finial-round-10-plain-table"]
)
def test_piped_report_is_plain_text_of_80_columns(name, monkeypatch):
    monkeypatch.setenv("COLUMNS", "200")  # a pipe has no width of its own
    text = printed(measured(name))
    assert "\x1b" not in text
    assert max(len(line) for line in text.splitlines()) <= 80
    assert "…" not in text  # nothing was cut off to fit


def test_terminal_gets_colour_unless_it_asks_not_to(relief, monkeypatch):
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.delenv("NO_COLOR", raising=False)
    assert "\x1b[1m" in printed(relief, Terminal())


def test_a_narrow_terminal_breaks_no_number(relief, monkeypatch):
    monkeypatch.setattr("shutil.get_terminal_size", lambda: os.terminal_size((45, 20)))
    monkeypatch.setenv("NO_COLOR", "1")
    narrow = re.sub(r"\x1b\[[0-9;]*m", "", printed(relief, Terminal()))
    # Only the ends of lines differ from what is piped: the terminal folds them where it must.
    assert narrow.split() == printed(relief).split()


def test_a_reader_that_goes_away_is_no_error_of_ours():
    words = [sys.executable, "-m", "gougeform.command", "offcentre", "--radius", "20", "--offset", "3"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as run:
        run.stdout.close()  # before anything is written
        told = run.stderr.read()
    assert (run.returncode, told) == (0, b"")


def test_settings_are_the_measured_ones(relief):
    first, second = relief.gouge.settings
    rows = setting_rows(relief.gouge)
    assert rows[0] == ("", "first grind", "relief")
    assert row(rows, "wheel's centre to pocket") == (
        f"{first.centre_distance:.2f} mm",
        f"{second.centre_distance:.2f} mm",
    )
    assert row(rows, "wheel's rim to pocket") == (f"{first.rim_distance:.2f} mm", f"{second.rim_distance:.2f} mm")
    # Common practice, no source: moving the pocket toward the wheel makes the second grind a relief.
    assert row(rows, "from the first grind's place") == (
        NOTHING,
        f"{first.rim_distance - second.rim_distance:.2f} mm nearer",
    )
    # Closed form: the recipe asks for these two nose angles.
    assert row(rows, "set for a nose angle of") == ("35.00°", "25.00°")
    assert row(rows, "land to leave at the nose") == (NOTHING, "2.50 mm")
    contact = row(rows, "contact above the horizontal")[0]
    assert float(contact[:-1]) == pytest.approx(first.contact * 57.29577951, abs=0.051)


def test_rod_is_also_measured_to_its_surface():
    gouge = shape(load("finial-round-10-fingernail-rod"))
    rows = setting_rows(gouge)
    centre = float(row(rows, "wheel's rim to rod centre")[0].split()[0])
    surface = float(row(rows, "wheel's rim to rod's surface")[0].split()[0])
    assert centre - surface == pytest.approx(gouge.recipe.jig.rod_diameter_mm / 2, abs=0.011)
    assert not any("pocket" in r[0] for r in rows)


def test_a_table_has_no_pivot():
    rows = setting_rows(shape(load("finial-round-10-plain-table")))
    assert [r[0] for r in rows[1:]] == [
        "jig",
        "wheel",
        "set for a nose angle of",
        "nose to where fingers hold the bar",
    ]


def test_a_belt_has_no_centre():
    name = "finial-round-10-fingernail-foot"
    rows = setting_rows(shape(changed(load(name), {"wheel": "belt-50"})))
    assert row(rows, "wheel") == ("belt",)
    assert not any("centre to" in r[0] for r in rows)
    assert row(rows, "wheel's rim to pocket")[0].endswith(" mm")


def test_edge_rows_are_the_measured_angles(relief):
    rows = edge_rows(relief)
    assert [r[0] for r in rows[1:]] == ["nose", "25 %", "50 %", "75 %", "95 %"]
    assert rows[1][1] == f"{relief.nose_angle:.2f}°"
    for per_cent, angle in relief.wing_angles.items():
        assert row(rows, f"{per_cent} %")[0] == f"{angle:.2f}°"
    assert rows[1][4] == "2.50 mm"


def test_places_are_also_given_along_the_bar(relief):
    """Half way along the edge is not half the wing length back: the edge bends."""
    edge = relief.edge
    rows = edge_rows(relief)
    assert rows[0][0] == "place (% along wing)"
    assert rows[0][-1] == "behind nose"
    for side in (-1, 1):
        wing = edge.wing(side)
        arc = np.abs(edge.arc[wing] - edge.arc[edge.nose])
        for per_cent, behind in relief.wing_behind.items():
            by_hand = np.interp(arc[-1] * per_cent / 100, arc, -edge.point[2, wing])
            assert behind == pytest.approx(by_hand, abs=1e-4)
            assert float(row(rows, f"{per_cent} %")[-1].split()[0]) == pytest.approx(by_hand, abs=0.006)
    assert relief.wing_behind[50] < edge.wing_length(1) / 2 - 0.3
    assert result(relief, [])["wing_behind_nose_mm"]["50"] == relief.wing_behind[50]


def test_sharpest_and_bluntest_place_are_named(relief):
    for place, extreme in ((relief.sharpest, relief.edge.wedge.min()), (relief.bluntest, relief.edge.wedge.max())):
        assert place.angle == extreme
    said = extremes(relief).splitlines()
    assert said[0].startswith(f"Sharpest: {relief.edge.wedge.min():.2f}°")
    assert all(line in " ".join(printed(relief).split()) for line in said)
    given = result(relief, [])
    assert given["sharpest"]["angle_deg"] == relief.edge.wedge.min()
    assert given["bluntest"]["behind_nose_mm"] == relief.bluntest.behind
    # A dent in the left wing alone, half way along it, and the lip as the bluntest place.
    lopsided = measured("baluster-square-10-relief-foot")
    edge = lopsided.edge
    wedge, k = edge.wedge.copy(), edge.nose // 2
    wedge[k], wedge[-1] = 11.0, 120.0
    object.__setattr__(edge, "wedge", wedge)
    away = edge.arc[edge.nose] - edge.arc[k]
    assert tuple(extremes(lopsided).splitlines()) == (
        f"Sharpest: 11.00° {away:.1f} mm from the nose along the edge ({-edge.point[2, k]:.1f} mm behind it)"
        " on the left wing.",
        f"Bluntest: 120.00° at the right lip, {edge.arc[-1] - edge.arc[edge.nose]:.1f} mm from the nose along the edge"
        f" ({-edge.point[2, -1]:.1f} mm behind it).",
    )


def test_wings_that_differ_are_both_shown(relief, monkeypatch):
    # A dent in the right wing alone, half a degree deep.
    edge = relief.edge
    wedge = edge.wedge.copy()
    wedge[edge.nose + 1 :] += 0.5
    lopsided = measured("baluster-square-10-relief-foot")
    object.__setattr__(lopsided.edge, "wedge", wedge)
    rows = edge_rows(lopsided)
    left, right = row(rows, "50 % left")[0], row(rows, "50 % right")[0]
    assert float(right[:-1]) - float(left[:-1]) == pytest.approx(0.5, abs=0.02)


def test_sizes_are_the_measured_ones(relief):
    rows = texts(size_block(relief))
    assert row(rows, "wing length") == (f"{relief.edge.wing_length(1):.2f} mm",)
    assert row(rows, "edge length, lip to lip") == (f"{relief.edge.length:.2f} mm",)
    widths = [relief[f"cheek_width_mm.{behind}"] for behind in (3, 5, 10)]
    shown = ", ".join(f"{width:.2f}" for width in widths)
    assert row(rows, "cheek width 3, 5, 10 mm behind nose") == (f"{shown} mm",)
    grams = relief.steel_removed * relief.gouge.recipe.bar.steel.density_g_cm3 / 1000
    steel = [r[1] for r in rows if r[0] == "steel removed"]
    assert steel == [f"{relief.steel_removed:.1f} mm³", f"{grams:.2f} g"]


def test_notes_and_cautions_are_printed_and_a_strong_one_stands_out():
    # 5000 rpm on 200 mm is 52.4 m/s: formula v = pi·D·n.
    text = printed(measured("baluster-square-10-relief-foot", wheel__rpm=5000))
    flat = re.sub(r"\s+", " ", text)
    assert f"! {STRONG}" in text
    assert "52.4 m/s" in flat
    assert "competent instructor" in flat
    assert "`gougeform cautions` has the full list" in flat
    assert len(text.split("Before you grind")[1].splitlines()) <= 9  # a strong one is in full, the rest is short


def test_it_says_how_exact_it_is(relief):
    assert exactness(relief) in re.sub(r"\s+", " ", printed(relief))
    words = re.sub(r"\s+", " ", printed(relief, mesh_mm=0.00512))
    assert "Exact to 0.001° and 0.001 mm, steel removed to 0.0" in words
    assert "mesh within 0.0052 mm" in words  # never rounded down
    assert [_up(x) for x in (0.001, 0.0010271, 0.35, 1.21, 20.0, 21.3)] == [
        "0.001",
        "0.0011",
        "0.35",
        "1.3",
        "20",
        "22",
    ]


def test_a_title_with_brackets_is_printed_as_it_is():
    text = printed(measured("finial-round-10-fingernail-foot", title="[bold]finials[/bold] [x"))
    assert text.startswith("[bold]finials[/bold] [x\n")
