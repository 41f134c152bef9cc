"""Scenes of the tool at work: what they show is where it is, and other readers find what the files say they hold."""

import json
import re
import shutil
from dataclasses import replace
from pathlib import Path

import imageio_ffmpeg
import numpy as np
import pytest
import shapely
import trimesh
from PIL import Image, ImageColor

from gougeform.command import main
from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.present.palette import colour
from gougeform.reach.result import Terms, reach
from gougeform.recipe.reading import from_table, load
from gougeform.show.answer import answer
from gougeform.show.drawing import hundredths
from gougeform.show.heads import heads
from gougeform.show.making import draw
from gougeform.show.scene import moved, packed, unpacked
from gougeform.show.tool import TOOL
from gougeform.show.wheel import at_wheel
from gougeform.show.wood import in_wood
from gougeform.show.writers import page, write_glb
from gougeform.work.files import load_work

RELIEF, ROD, TABLE = "finial-round-10-relief-foot", "finial-round-10-fingernail-rod", "finial-round-10-plain-table"
TOO_NEAR = {
    "title": "A clamp too near the wheel", "bar": "round-10", "flute": "detail-round-10", "wheel": "wheel-200",
    "jig": {"from": "foot-65", "nose_angle_deg": 35, "projection_mm": 30}, "grind": [{"wing_length_mm": 10}],
}  # fmt: skip
RADIUS = 100.0
COARSE = 0.05  # mm between a facet of the tool and its surface: quick


@pytest.fixture(scope="module")
def wheel():
    return at_wheel(shape(load(RELIEF)), frames=8, tolerance=COARSE)


@pytest.fixture(scope="module")
def found():
    return reach(shape(load(RELIEF)), load_work("egg-cup"), Terms(places=10))


@pytest.fixture(scope="module")
def wood(found):
    return in_wood(found, tolerance=COARSE)


def from_axis(points):
    """(n,): distances from the wheel's axis, which is the machine's Y."""
    return np.hypot(points[:, 0], points[:, 2])


def points_of(scene, name):
    return np.concatenate([s.points for b in scene.bodies if b.name == name for s in b.surfaces])


@pytest.mark.parametrize("name", [RELIEF, ROD, TABLE])
def test_the_wheel_touches_along_the_line_and_is_nowhere_in_the_tool(name):
    """The wheel is a cylinder of known radius: lit lines lie on it, the finished steel outside."""
    scene = at_wheel(shape(load(name)), frames=8, tolerance=COARSE)
    lit = 0
    for frame in scene.frames:
        tool = next(one for one in frame.poses if one.startswith(TOOL))
        assert from_axis(moved(frame.poses[tool], points_of(scene, tool))).min() > RADIUS - COARSE
        for line in frame.lines:
            on = line.ends.reshape(-1, 3)
            lit += len(on)
            inner = np.abs(on[:, 1]) < 18.9  # on the face, not on its rounded corners
            np.testing.assert_allclose(
                from_axis(on)[inner], RADIUS, atol=1e-3
            )  # at its ends the line is that of 1e-4 of a path before
    assert lit > 100


def test_first_the_bevel_then_the_relief(wheel):
    half = len(wheel.frames) // 2
    assert all(f"{TOOL} after grind 1" in frame.poses for frame in wheel.frames[:half])
    assert all(TOOL in frame.poses for frame in wheel.frames[half:])
    assert wheel.frames[0].words.startswith("first bevel")
    assert wheel.frames[-1].words.startswith("relief")
    whole = next(body for body in wheel.bodies if body.name == TOOL)
    relief = next(s for s in whole.surfaces if s.meaning == "relief 1")
    assert relief.before == "first bevel"
    now = [np.mean(relief.when <= frame.now) for frame in wheel.frames[half:]]
    assert now == sorted(now)
    assert now[0] < 0.2
    assert now[-1] == 1


def test_bodies_move_rigidly_and_the_foot_stays_in_its_pocket(wheel):
    for frame in wheel.frames:
        for at in frame.poses.values():
            np.testing.assert_allclose(at[:3, :3] @ at[:3, :3].T, np.eye(3), atol=1e-12)
    arm = points_of(wheel, "the arm")
    foot = arm[arm[:, 2] < arm[:, 2].min() + 8.0].mean(0)
    half = wheel.frames[len(wheel.frames) // 2 :]
    there = np.array([moved(f.poses.get("the arm of grind 2", f.poses.get("the arm")), foot[None])[0] for f in half])
    assert np.ptp(there, axis=0).max() < 5.0  # the arm's end turns in the pocket


def test_a_set_up_that_cannot_stand_is_red_and_says_so():
    scene = at_wheel(shape(from_table(TOO_NEAR)), frames=8, tolerance=COARSE)
    shown = scene.frames[scene.first]
    assert shown.red == {"the clamp"}
    assert re.fullmatch(
        r"This set-up cannot stand: the clamp is \d+\.\d mm in the wheel \(bevel, at .*\)\.", scene.lines[1]
    )
    corners = moved(shown.poses["the clamp"], points_of(scene, "the clamp"))
    inside = RADIUS - from_axis(corners[np.abs(corners[:, 1]) < 19]).min()
    assert 0 < inside <= shown.deep + 1e-6  # a corner is no deeper than the whole clamp


def test_the_edge_cuts_where_it_is_said_and_nothing_is_deep_in_the_wood(found, wood):
    """The wood's section by shapely: every point of the steel, turned into the section's half plane."""
    section = shapely.Polygon(found.meridian.outline_points(200)).buffer(0)
    steel = points_of(wood, TOOL)
    edge = next(line for line in wood.bodies[0].lines if line.meaning == "edge").ends
    edge = shapely.MultiLineString(list(edge[:, :, [0, 1]]))  # seen along the bar
    for frame in wood.frames:
        cut = frame.poses["cut"][:3, 3]
        inward = np.linalg.inv(frame.poses[TOOL])
        assert edge.distance(shapely.Point(moved(inward, cut[None])[0, :2])) < COARSE
        if "not reached" in frame.words or "no posture" in frame.words:
            continue
        at = moved(frame.poses[TOOL], steel)
        flat = shapely.points(at[:, 0], np.hypot(at[:, 1], at[:, 2]))
        deep = shapely.distance(flat, section.exterior) * shapely.contains(section, flat)
        assert deep.max() < found.terms.tolerance_mm + COARSE + 0.01


def test_a_hollow_is_looked_into_and_the_rest_stands_under_the_bar(found, wood):
    hollow = [frame for frame in wood.frames if "wood below" in frame.poses]
    outside = [frame for frame in wood.frames if "wood" in frame.poses]
    assert hollow
    assert outside
    for frame in outside:
        if "rest" not in frame.poses:
            continue
        rest = frame.poses["rest"][:3, 3]
        bar = frame.poses[TOOL]
        off = rest - bar[:3, 3]
        gap = np.linalg.norm(off - (off @ bar[:3, 2]) * bar[:3, 2]) - 5.0 - 3.0  # bar of 10, rest of 6 mm
        assert abs(gap) < 0.2
        assert rest[1] < (bar[:3, 3] + (off @ bar[:3, 2]) * bar[:3, 2])[1]


def test_a_section_is_a_true_projection(wood):
    """A parallel projection keeps what is straight straight, and lengths in its plane: no bar is bent."""
    view = next(one for one in wood.views if "section" in one.name)
    for frame in wood.frames[::5]:
        true = view.at(frame)
        turn = frame.poses.get("wood", frame.poses.get("wood below"))[:3, :3]
        np.testing.assert_allclose(true.toward @ turn[:, :2], 0, atol=1e-9)  # square to axis and radius
        axis = frame.poses[TOOL][:3, 3] - np.outer([0.0, 40.0, 80.0], frame.poses[TOOL][:3, 2])
        a, b, c = true.place(axis)
        np.testing.assert_allclose((a + c) / 2, b, atol=1e-9)


def test_a_scene_survives_packing(wheel):
    back = unpacked(json.loads(json.dumps(packed(wheel))))
    assert back.frames[3].words == wheel.frames[3].words
    np.testing.assert_allclose(
        back.frames[3].poses[TOOL + " after grind 1"], wheel.frames[3].poses[TOOL + " after grind 1"], atol=1e-4
    )
    assert back.views[1].without == wheel.views[1].without


def test_films_have_the_frames_size_and_length_that_they_say(wheel, tmp_path):
    """MP4 decoded by ffmpeg, GIF by Pillow."""
    short = replace(wheel, seconds=0.8)
    mp4, gif = tmp_path / "a.mp4", tmp_path / "a.gif"
    outcome = draw(short, [mp4, gif])
    assert outcome, outcome.problem
    frames, seconds = imageio_ffmpeg.count_frames_and_secs(str(mp4))
    assert frames == 8
    assert seconds == pytest.approx(8 * hundredths(short) / 100, abs=0.011)
    reader = imageio_ffmpeg.read_frames(str(mp4))
    about = next(reader)
    assert about["size"] == (1280, 720)
    with Image.open(gif) as film:
        assert film.n_frames == 8
        assert film.size == (640, 360)
        assert film.info["duration"] == 10 * hundredths(short)


def test_glb_is_read_back_by_another_reader(wheel, tmp_path):
    """VTK's own GLTF reader, in metres with Y up."""
    pyvista = pytest.importorskip("pyvista")
    write_glb(wheel, tmp_path / "a.glb")
    block = pyvista.get_reader(str(tmp_path / "a.glb")).read()
    low, high = np.reshape(block.bounds, (3, 2)).T
    frame = wheel.frames[wheel.first]
    all_ = np.concatenate(
        [moved(frame.poses[b.name], s.points) for b in wheel.bodies if b.name in frame.poses for s in b.surfaces]
    )
    np.testing.assert_allclose(low[1], all_[:, 2].min() / 1000, atol=1e-4)  # the machine's Z is up
    np.testing.assert_allclose(high[1], all_[:, 2].max() / 1000, atol=1e-4)
    again = trimesh.load(tmp_path / "a.glb")
    assert {"wheel", "the clamp of grind 2"} & set(again.graph.nodes)


def test_the_picture_has_the_colours_of_its_meanings(tmp_path):
    """Seen on flat paper: the legend's colours are there, and not only there."""
    scene = heads(shape(load(RELIEF)), tolerance=COARSE)
    assert draw(scene, [tmp_path / "a.png"])
    pixels = np.asarray(Image.open(tmp_path / "a.png").convert("RGB")).astype(int)
    assert pixels.shape == (scene.size[1], scene.size[0], 3)
    for meaning in ("first bevel", "relief 1", "flute"):
        hue = np.array(ImageColor.getrgb(colour(meaning)))
        share = (pixels @ hue) / np.maximum(np.linalg.norm(pixels, axis=2) * np.linalg.norm(hue), 1)
        assert (share > 0.9995).sum() > 20000


def test_a_page_asks_for_nothing_from_elsewhere(wheel):
    text = page(wheel)
    assert not re.search(r"https?://|//[a-z]+\.|\bimport\(|src=|href=", text)
    assert "default-src 'none'" in text


CHROMIUM = next((p for p in ("/usr/bin/chromium", shutil.which("chromium")) if p and Path(p).exists()), None)


@pytest.mark.skipif(CHROMIUM is None, reason="there is no chromium (Debian: apt install chromium)")
def test_a_page_turns_and_steps_in_a_browser_without_a_word_of_complaint(wheel, tmp_path):
    playwright = pytest.importorskip("playwright.sync_api")
    (tmp_path / "a.html").write_text(page(wheel), encoding="utf-8")
    said, asked = [], []
    with playwright.sync_playwright() as tool:
        browser = tool.chromium.launch(
            executable_path=CHROMIUM,
            args=["--no-sandbox", "--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"],
        )
        tab = browser.new_page(viewport={"width": 1000, "height": 700})
        tab.on("console", lambda message: said.append(message.text) if message.type in ("error",) else None)
        tab.on("pageerror", lambda error: said.append(str(error)))
        tab.on("request", lambda request: asked.append(request.url))
        tab.goto((tmp_path / "a.html").as_uri())
        tab.wait_for_timeout(1500)
        assert tab.evaluate("Number(document.getElementById('scene').dataset.painted)") >= 1
        first = tab.locator("#scene").screenshot()
        tab.locator("#knob").fill("1")
        tab.wait_for_timeout(600)
        assert "first bevel" in tab.locator("#said").inner_text()
        stepped = tab.locator("#scene").screenshot()
        tab.mouse.move(400, 350)
        tab.mouse.down()
        tab.mouse.move(520, 380)
        tab.mouse.up()
        tab.wait_for_timeout(600)
        turned = tab.locator("#scene").screenshot()
        browser.close()
    assert said == []
    assert len(asked) == 1
    assert len({first, stepped, turned}) == 3


def test_what_cannot_be_shown_is_refused():
    recipe, work = load(RELIEF), load_work("cylinder")
    with pytest.raises(InputError, match="one scene shows one of them"):
        answer(recipe, work, wheel=True)
    with pytest.raises(InputError, match="a head alone does not move"):
        answer(recipe, film=True)


def test_the_command_writes_its_files_and_says_where(tmp_path, capsys):
    assert main(["show", TABLE, "--at", "wheel", "--json", "-o", str(tmp_path)]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["frames"] == 100
    names = {path.name for path in tmp_path.iterdir()}
    assert {f"at-the-wheel{end}" for end in (".png", ".glb", ".html", ".json")} <= names
    assert main(["show", TABLE, "--film"]) == 2
    assert "film" in capsys.readouterr().err
