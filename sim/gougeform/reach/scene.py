"""The tool standing in the wood, half of the wood cut away, drawn off-screen.

Run as `python -m gougeform.reach.scene SCENE.npz OUT.png`, in a process of its own (`gougeform.present.apart`): where a
machine has no graphics library, VTK kills the process that draws. SCENE.npz holds what `scene_arrays` gives.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gougeform.present.apart import GRAPHICS_HINT, Outcome, run_apart
from gougeform.reach.drawing import INK, PAPER, PART_TINTS, QUIET, TOUCH, WOOD
from gougeform.reach.posture import placed
from gougeform.reach.result import Reach, part_name
from gougeform.tool.picture import font

Floats = NDArray[np.float64]

_ROUND = 121  # steps of the wood's half turn
_CUT = "#f1e3c9"
_BALL_MM = 0.7
_SIZE = (1500, 1050)  # of the picture, pixels
_HALF_MM = 38.0  # half its height


def scene_arrays(reach: Reach, place: int, feed: int) -> dict[str, NDArray[Any]]:
    """What is drawn, (…, 3) mm along the lathe, toward the place, and square to both: patches, wood, marked spots."""
    k = reach.index(place, feed)
    turn, shift = placed(reach.body, reach.places, reach.best.postures.take(np.array([k])))
    to_lathe = np.array([1.0, 1.0, -1.0])
    corners = (reach.body.corners @ turn[0].T + shift[0]) * to_lathe
    edge = ((turn[0] @ reach.body.point).T + shift[0]) * to_lathe
    w = np.append(reach.places.point[place], 0.0)
    touch = np.full(3, np.nan)
    if reach.part[place, feed] >= 0:
        touch = (turn[0] @ reach.touch[place, feed] + shift[0]) * to_lathe
    return {
        "corners": corners,
        "part": reach.body.part,
        "edge": edge,
        "outline": reach.meridian.outline_points(24),
        "place": w,
        "touch": touch,
        "handle": (-turn[0][:, 2]) * to_lathe,
        "title": np.array([reach.gouge.recipe.title or reach.gouge.recipe.name]),
    }


def make_scene(reach: Reach, place: int, feed: int, out: Path, *, timeout_s: float = 120.0) -> Outcome:
    """Draw the scene in a process of its own; never raises for what happens inside it."""
    with tempfile.TemporaryDirectory() as folder:
        scene = Path(folder) / "scene.npz"
        np.savez(scene, **scene_arrays(reach, place, feed))  # type: ignore[arg-type]
        return run_apart(
            "gougeform.reach.scene",
            [str(scene), str(out)],
            what="the picture of the tool in the wood",
            timeout_s=timeout_s,
            hint=GRAPHICS_HINT,
        )


def _wood_faces(outline: Floats, back: float) -> tuple[Floats, NDArray[np.intp], Floats]:
    """Points and quads of half the wood, the half turned away from the handle, and the cut plane's outline (n, 3)."""
    phi = np.linspace(-np.pi / 2, np.pi / 2, _ROUND) + back
    x = np.repeat(outline[:, :1], _ROUND, 1)
    y, z = outline[:, 1:] * np.cos(phi), outline[:, 1:] * np.sin(phi)
    points = np.stack([x, y, z], -1).reshape(-1, 3)
    i, j = np.meshgrid(np.arange(len(outline) - 1), np.arange(_ROUND - 1), indexing="ij")
    a = (i * _ROUND + j).ravel()
    return points, np.stack([a, a + 1, a + _ROUND + 1, a + _ROUND], -1), phi


def draw(scene: dict[str, NDArray[Any]], out: Path) -> None:
    """Draw the arrays of `scene_arrays` ((…, 3) mm) and write a PNG."""
    os.environ.setdefault("MPLBACKEND", "agg")
    import pyvista as pv

    pv.OFF_SCREEN = True
    plotter: Any = pv.Plotter(off_screen=True, window_size=list(_SIZE))
    plotter.set_background(PAPER)
    corners, part = scene["corners"], scene["part"]
    for number, tint in PART_TINTS.items():
        mine = corners[part == number]
        if not len(mine):
            continue
        cells = np.column_stack([np.full(len(mine), 4), np.arange(4 * len(mine)).reshape(-1, 4)])
        mesh = pv.PolyData(mine.reshape(-1, 3), cells.ravel()).clean(tolerance=1e-7)
        plotter.add_mesh(mesh, color=tint, smooth_shading=False, specular=0.3)
    outline = scene["outline"]
    # The handle lies on the side the wood moves to; the far half of the wood stays.
    points, quads, phi = _wood_faces(outline, np.pi / 2)
    cells = np.column_stack([np.full(len(quads), 4), quads])
    plotter.add_mesh(pv.PolyData(points, cells.ravel()), color=WOOD, smooth_shading=True, split_sharp_edges=True)
    for angle in (phi[0], phi[-1]):
        ring = np.stack([outline[:, 0], outline[:, 1] * np.cos(angle), outline[:, 1] * np.sin(angle)], -1)
        if np.linalg.norm(ring[0] - ring[-1]) < 1e-9:
            ring = ring[:-1]
        face = pv.PolyData(ring, np.concatenate([[len(ring)], np.arange(len(ring))])).triangulate()
        plotter.add_mesh(face, color=_CUT, ambient=0.35)
        plotter.add_mesh(pv.MultipleLines(ring), color="#b08d57", line_width=2)
    plotter.add_mesh(pv.MultipleLines(scene["edge"]), color=INK, line_width=4)
    plotter.add_mesh(pv.Sphere(_BALL_MM * 0.7, scene["place"]), color="#ffffff")
    if np.isfinite(scene["touch"]).all():
        plotter.add_mesh(pv.Sphere(_BALL_MM, scene["touch"]), color=TOUCH)
    _look(plotter, scene)
    plotter.enable_anti_aliasing("ssaa")
    image = plotter.screenshot(None, return_img=True)
    plotter.close()
    _with_words(image, scene).save(out, format="PNG")


def _with_words(image: NDArray[np.uint8], scene: dict[str, NDArray[Any]]) -> Any:
    """The picture (h, w, 3) with title, colours, and what is marked where, also where a mark is behind the wood."""
    from PIL import Image, ImageDraw

    picture = Image.fromarray(np.ascontiguousarray(image[..., :3]))
    pen = ImageDraw.Draw(picture)
    pen.text((30, 24), str(scene["title"][0]), fill=INK, font=font(34, bold=True))
    marks = [(scene["place"], "the edge cuts here", INK)]
    if np.isfinite(scene["touch"]).all():
        marks.append((scene["touch"], "it touches here", TOUCH))
    focus, across, up = _view(scene)
    for number, (point, words, colour) in enumerate(marks):
        off = np.array([across @ (point - focus), -(up @ (point - focus))]) * (_SIZE[1] / 2 / _HALF_MM)
        x, y = np.array(_SIZE) / 2 + off
        left, top = x + 30, y + (24, -70)[number]
        pen.line((x, y, left, top + 16), fill=colour, width=2)
        pen.rectangle((left - 4, top - 2, left + font(28).getlength(words) + 4, top + 34), fill=PAPER)
        pen.text((left, top), words, fill=colour, font=font(28))
    tints: dict[str, list[str]] = {}
    for part, tint in PART_TINTS.items():
        if (scene["part"] == part).any():
            tints.setdefault(tint, []).append(part_name(part))
    for number, (tint, names) in enumerate(reversed(tints.items())):
        y = _SIZE[1] - 60 - 42 * number
        pen.rectangle((30, y, 64, y + 30), fill=tint, outline=QUIET)
        pen.text((78, y - 2), " and ".join(names), fill=INK, font=font(26))
    return picture


def _view(scene: dict[str, NDArray[Any]]) -> tuple[Floats, Floats, Floats]:
    """What is looked at, mm, and the directions (3,) to the right and up in the picture."""
    handle = scene["handle"]
    eye = _eye(scene)
    across = np.cross([0.0, 1.0, 0.0], eye)
    across /= np.linalg.norm(across)
    return scene["place"] + 14.0 * handle, across, np.cross(eye, across)


def _eye(scene: dict[str, NDArray[Any]]) -> Floats:
    """The direction (3,) from what is looked at to the eye: where the cut plane and the tool are both seen."""
    eye = np.array([0.55 if scene["handle"][0] <= 0 else -0.55, 0.55, -1.0])
    unit: Floats = eye / np.linalg.norm(eye)
    return unit


def _look(plotter: Any, scene: dict[str, NDArray[Any]]) -> None:
    focus, _, _ = _view(scene)
    plotter.camera_position = [tuple(focus + 200 * _eye(scene)), tuple(focus), (0.0, 1.0, 0.0)]
    plotter.enable_parallel_projection()
    plotter.camera.parallel_scale = _HALF_MM


def main(argv: Sequence[str] | None = None) -> int:
    """Draw one scene; used by `make_scene`."""
    parser = argparse.ArgumentParser(prog="gougeform.reach.scene")
    parser.add_argument("scene")
    parser.add_argument("out")
    given = parser.parse_args(argv)
    with np.load(given.scene) as held:
        scene = {name: held[name] for name in held.files}
    draw(scene, Path(given.out))
    return 0


if __name__ == "__main__":
    sys.exit(main())
