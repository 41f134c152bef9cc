"""The picture of the head: drawn in a process of its own, and looked at pixel by pixel."""

import colorsys
import ctypes.util
import json

import numpy as np
import pytest
from PIL import Image, ImageColor

from gougeform.command import main
from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.mesh.files import write_stl, write_vtu
from gougeform.mesh.solid import build_solid
from gougeform.present.apart import GRAPHICS_HINT, run_apart
from gougeform.recipe.reading import load
from gougeform.tool.picture import (
    BAR,
    EDGE,
    FIRST_GRIND,
    FLUTE,
    HEIGHT,
    INK,
    PAPER,
    WIDTH,
    Shape,
    layout,
    make_picture,
    parts_of,
    read_shape,
    tint,
)

RECIPE = "baluster-square-10-relief-foot"


@pytest.fixture(scope="module")
def solid():
    return build_solid(shape(load(RECIPE)), 0.02)


@pytest.fixture(scope="module")
def mesh(solid, tmp_path_factory):
    path = tmp_path_factory.mktemp("mesh") / "tool.vtu"
    write_vtu(solid, path)
    return path


@pytest.fixture(scope="module")
def pixels(mesh):
    """(HEIGHT, WIDTH, 3) of the drawn picture; skipped only where the machine has nothing to draw with."""
    out = mesh.with_name("head.png")
    outcome = make_picture(mesh, out, "A title", ["one line", "another line"])
    if not outcome and not any(ctypes.util.find_library(name) for name in ("EGL", "GL", "OSMesa")):
        pytest.skip(f"no EGL, GL or OSMesa library on this machine: {GRAPHICS_HINT}")
    assert outcome, outcome.problem
    with Image.open(out) as image:
        return np.asarray(image.convert("RGB")).astype(int)


def close(pixels, colour, within=40):
    return np.abs(pixels - np.array(ImageColor.getrgb(colour))).max(-1) <= within


def part(pixels, view):
    x, y, w, h = view.box
    return pixels[y : y + h, x : x + w]


def share_of_hue(pixels, colour):
    """Share of pixels with the hue of a colour, however light or dark the shading makes it."""
    wanted = colorsys.rgb_to_hsv(*(c / 255 for c in ImageColor.getrgb(colour)))[0]
    flat = pixels.reshape(-1, 3)[::7] / 255
    high, low = flat.max(1), flat.min(1)
    vivid = flat[(high - low) > 0.25 * high]
    hue = np.array([colorsys.rgb_to_hsv(*one)[0] for one in vivid])
    return float((np.abs((hue - wanted + 0.5) % 1 - 0.5) < 0.03).sum()) / len(flat)


def views(solid_shape):
    return {view.name: view for view in layout(solid_shape).views}


def test_size_and_paper(pixels):
    assert pixels.shape == (HEIGHT, WIDTH, 3)
    assert close(pixels, PAPER, 0)[[0, 0, -1, -1], [0, -1, 0, -1]].all()
    # A light picture with something on it.
    assert 0.3 < close(pixels, PAPER, 0).mean() < 0.85


def test_every_grind_has_its_tint(pixels, mesh):
    side = part(pixels, views(read_shape(mesh))["from the left side"])
    assert share_of_hue(side, tint(FIRST_GRIND)) > 0.02
    assert share_of_hue(side, tint(FIRST_GRIND + 1)) > 0.10
    assert share_of_hue(side, tint(FIRST_GRIND + 2)) == 0  # there is no third grind


@pytest.mark.parametrize(
    "name", ["from above", "from the left side", "looking at the tip", "at an angle, not to scale"]
)
def test_edge_is_drawn_where_it_is(pixels, mesh, solid, name):
    view = views(read_shape(mesh))[name]
    drawn = close(pixels, EDGE, 8)
    at = np.round(view.place(solid.vertices[solid.edge])).astype(int)
    # From the left side the right wing lies behind the left one, which covers it in the same pixels.
    near = [drawn[y - 5 : y + 6, x - 5 : x + 6].any() for x, y in at]
    assert np.mean(near) > 0.97
    # And nowhere else: away from the projected edge there is none of its colour.
    x, y, w, h = view.box
    ys, xs = np.nonzero(drawn[y : y + h, x : x + w])
    assert len(xs) > 500
    found = np.stack([xs + x, ys + y], -1)
    gap = np.array([np.hypot(*(at - one).T).min() for one in found[::11]])
    assert gap.max() < 12


def test_views_share_one_scale_and_the_bar_has_it(pixels, mesh):
    plan = layout(read_shape(mesh))
    assert [view.scale for view in plan.views[:3]] == [plan.scale] * 3
    dark = close(pixels[HEIGHT - 140 : HEIGHT - 60], INK, 30)
    runs = [np.flatnonzero(row) for row in dark[:, WIDTH // 2 :]]
    longest = max(np.ptp(run) + 1 for run in runs if len(run) and len(run) == np.ptp(run) + 1)
    assert longest == pytest.approx(10 * plan.scale, abs=5)
    # The side of the bar, 10 mm, as seen at the tip.
    view = plan.views[2]
    drawn = ~close(part(pixels, view), PAPER, 3)
    assert np.ptp(np.flatnonzero(drawn.any(0))) == pytest.approx(10 * plan.scale, abs=4)


def test_bevel_of_one_grind_is_one_tint(tmp_path, pixels):
    recipe = load("finial-round-10-plain-table")
    solid = build_solid(shape(recipe), 0.05)
    write_vtu(solid, tmp_path / "one.vtu")
    assert make_picture(tmp_path / "one.vtu", tmp_path / "one.png", "One")
    with Image.open(tmp_path / "one.png") as image:
        drawn = np.asarray(image.convert("RGB")).astype(int)
    assert share_of_hue(drawn, tint(FIRST_GRIND)) > 0.02
    assert share_of_hue(drawn, tint(FIRST_GRIND + 1)) == 0


def test_lines_are_those_of_the_mesh(mesh, solid):
    lines = read_shape(mesh).lines()
    for name, chain in (("edge", solid.edge), ("heel", solid.heel), ("crease", solid.creases[0])):
        drawn = {frozenset(ends) for ends in lines[name][0].tolist()}
        asked = {frozenset(ends) for ends in zip(chain[:-1].tolist(), chain[1:].tolist(), strict=True)}
        assert asked <= drawn
        if name != "crease":
            assert drawn == asked


def test_parts_are_read_from_the_names(mesh, solid):
    part = read_shape(mesh).part
    for code, name in enumerate(solid.names):
        expected = {"flute": FLUTE, "run-out": FLUTE, "outline": BAR, "end": BAR}.get(name, FIRST_GRIND + code)
        assert (part[solid.surface == code] == expected).all()
    with pytest.raises(KeyError):
        parts_of({"is_flute": np.ones(3)})


def test_only_the_picture_is_left_and_a_grind_lists_it(pixels, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["grind", RECIPE, "--json", "--tolerance", "0.05", "-o", "here"]) == 0
    given = json.loads(capsys.readouterr().out)
    assert given["files"][-1] == "here/head.png"
    with Image.open("here/head.png") as image:
        assert image.size == (WIDTH, HEIGHT)
    stored = json.loads((tmp_path / "here" / "result.json").read_text())
    assert "head.png" in stored["files"]
    assert not [path for path in (tmp_path / "here").iterdir() if path.name.startswith(".")]


@pytest.mark.parametrize("what", ["missing", "garbage", "another mesh"])
def test_what_is_not_our_mesh_is_refused_in_words(what, tmp_path, solid):
    mesh = tmp_path / "tool.vtu"
    if what == "garbage":
        mesh.write_text("<VTKFile/>")
    if what == "another mesh":
        write_stl(solid, mesh)
    with pytest.raises(InputError, match="is not a mesh with named surfaces"):
        read_shape(mesh)
    outcome = run_apart("gougeform.tool.picture", [str(mesh), str(tmp_path / "x.png")], what="The picture")
    assert "is not a mesh with named surfaces" in outcome.problem
    assert not (tmp_path / "x.png").exists()


def test_borders_of_a_known_mesh():
    # Two triangles side by side, and a third one that shares a side with the second only.
    points = np.zeros((5, 3))
    made = Shape(points, np.array([[0, 1, 2], [2, 1, 3], [3, 1, 4]]), np.array([FLUTE, FIRST_GRIND, BAR]))
    assert made.borders({FLUTE}, {FIRST_GRIND}).tolist() == [[1, 2]]
    assert made.borders({FIRST_GRIND}, {BAR}).tolist() == [[1, 3]]
    assert made.borders({FLUTE}, {BAR}).tolist() == []
