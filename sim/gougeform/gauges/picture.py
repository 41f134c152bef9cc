"""Previews of printed parts: from above, and at an angle, drawn off-screen from the file that was written.

Run as `python -m gougeform.gauges.picture FILE.3mf OUT.png` in a process of its own (`gougeform.present.apart`).
"""

from __future__ import annotations

import argparse
import sys
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from gougeform.gauges.gauge import TEXT_DEPTH_MM
from gougeform.present.apart import GRAPHICS_HINT, Outcome, run_apart
from gougeform.present.palette import INK, PAPER, QUIET
from gougeform.tool.picture import fitted, font

WIDTH = 1800
_MARGIN, _GAP, _TALL, _LETTERS = 60, 40, 1010, 104
_BED = "#e6dfd2"
_TINTS = ("#e3c069", "#8fc4bb", "#d3b1c6", "#b5c98a", "#e0b196", "#adc0da", "#cfc8bb")


def make_picture(
    mesh: Path, out: Path, title: str, lines: Sequence[str] = (), *, bed: tuple[float, float] | None = None
) -> Outcome:
    """Draw a written file in a process of its own; says what to install where that process dies."""
    words = [str(mesh), str(out), f"--title={title}", *(f"--line={line}" for line in lines)]
    if bed is not None:
        words.append(f"--bed={bed[0]:g}x{bed[1]:g}")
    return run_apart("gougeform.gauges.picture", words, what="The picture", hint=GRAPHICS_HINT)


def draw(mesh: Path, out: Path, title: str, lines: Sequence[str], bed: tuple[float, float] | None) -> None:
    """Draw the picture as PNG."""
    from PIL import Image, ImageDraw

    from gougeform.gauges.checks import read
    from gougeform.mesh.formats import replaced

    parts = list(read(mesh).values())
    words = [row for line in lines for row in textwrap.wrap(line, _LETTERS)]
    top = 120 + 40 * len(words)
    low, high = (np.array([part.bounds[k] for part in parts]) for k in (0, 1))
    wide, deep, _ = high.max(0) - low.min(0)
    room = WIDTH - 2 * _MARGIN
    if bed is not None:
        boxes = [(room * 6 // 10, _TALL), (room * 4 // 10 - _GAP, _TALL)]
    elif wide > 1.6 * deep:  # a long part: one view below the other
        boxes = [(room, round(min(_TALL, 0.78 * room * deep / wide + 40))), (room, round(min(_TALL, 0.5 * room)))]
    else:
        boxes = [(room // 2 - _GAP // 2, _TALL), (room // 2 - _GAP // 2, _TALL)]
    stacked = boxes[0][0] == room
    height = top + (sum(h + 70 for _, h in boxes) if stacked else _TALL + 70)
    canvas = Image.new("RGB", (WIDTH, height), PAPER)
    pen = ImageDraw.Draw(canvas)
    pen.text((_MARGIN, 36), title, fill=INK, font=fitted(title, 44, True, room))
    for number, row in enumerate(words):
        pen.text((_MARGIN, 100 + 40 * number), row, fill=QUIET, font=font(28))
    names = ["from above" if bed is None else f"from above, bed {bed[0]:g} x {bed[1]:g} mm", "at an angle"]
    x, y = _MARGIN, top
    for name, box, above in zip(names, boxes, (True, False), strict=True):
        canvas.paste(_view(parts, bed, box, above), (x, y))
        pen.text((x, y + box[1] + 12), name, fill=QUIET, font=font(28))
        x, y = (x, y + box[1] + 70) if stacked else (x + box[0] + _GAP, y)
    with replaced(out) as beside:
        canvas.save(beside, format="PNG")


def _view(parts: list[Any], bed: tuple[float, float] | None, size: tuple[int, int], above: bool) -> Any:
    import pyvista
    from PIL import Image

    finer = 2
    plotter: Any = pyvista.Plotter(off_screen=True, window_size=[size[0] * finer, size[1] * finer], lighting="none")
    try:
        plotter.set_background(PAPER)
        for position, strength in (((-0.6, 0.8, 1.0), 0.62), ((0.9, -0.2, 0.7), 0.25)):
            plotter.add_light(pyvista.Light(position=position, light_type="camera light", intensity=strength))
        for number, part in enumerate(parts):
            surface = pyvista.PolyData.from_regular_faces(np.asarray(part.vertices), np.asarray(part.faces))
            text = _text_faces(part)
            for faces, colour in ((~text, _TINTS[number % len(_TINTS)]), (text, INK)):
                if faces.any():
                    piece = surface.extract_cells(np.flatnonzero(faces))
                    plotter.add_mesh(piece, color=colour, ambient=0.38, diffuse=0.75, specular=0.05)
            lines = surface.extract_feature_edges(
                feature_angle=25, boundary_edges=False, non_manifold_edges=False, manifold_edges=False
            )
            if lines.n_cells:
                plotter.add_mesh(lines, color=INK, line_width=1.2 * finer, lighting=False)
        low = np.min([part.bounds[0] for part in parts], axis=0)
        high = np.max([part.bounds[1] for part in parts], axis=0)
        if bed is not None:
            low, high = np.minimum(low, 0.0), np.maximum(high, [*bed, 0.0])
            plotter.add_mesh(pyvista.Box((0.0, bed[0], 0.0, bed[1], -1.0, -0.05)), color=_BED, lighting=False)
        _aim(plotter, low, high, size, above)
        pixels = plotter.screenshot(return_img=True)
    finally:
        plotter.close()
    return Image.fromarray(pixels).convert("RGB").resize(size, Image.Resampling.BOX)


def _text_faces(part: Any) -> Any:
    """(m,) true for the level faces of text: those that lie a text's depth from a larger level face."""
    v, f = np.asarray(part.vertices), np.asarray(part.faces)
    normal = np.cross(v[f[:, 1]] - v[f[:, 0]], v[f[:, 2]] - v[f[:, 0]])
    up = normal[:, 2] > 0.999 * np.maximum(np.linalg.norm(normal, axis=1), 1e-300)
    level = np.round(v[f[:, 0], 2], 3)
    heights = np.unique(level[up])
    area = {z: normal[up & (level == z), 2].sum() for z in heights}
    text = np.zeros(len(f), bool)
    for a in heights:
        for b in heights:
            if abs(abs(a - b) - TEXT_DEPTH_MM) < 0.07 and area[a] < area[b]:
                text |= up & (level == a)
    return text


def _aim(plotter: Any, low: Any, high: Any, size: tuple[int, int], above: bool) -> None:
    """Point the camera at the box so that all of it shows."""
    toward = np.array([0.0, 0.0, 1.0]) if above else np.array([-0.55, -1.1, 0.95])
    toward = toward / np.linalg.norm(toward)
    up = np.array([0.0, 1.0, 0.0]) if above else np.array([0.0, 0.0, 1.0])
    right = np.cross(up, toward)
    right /= np.linalg.norm(right)
    up = np.cross(toward, right)
    box = np.stack(np.meshgrid(*zip(low, high, strict=True)), -1).reshape(-1, 3)
    wide, tall = np.ptp(box @ right), np.ptp(box @ up)
    camera = plotter.camera
    camera.focal_point = (low + high) / 2
    camera.position = camera.focal_point + 1000 * toward
    camera.up = up
    camera.parallel_projection = True
    camera.parallel_scale = 1.06 * max(tall, wide * size[1] / size[0]) / 2
    camera.clipping_range = (1.0, 5000.0)


def main(argv: list[str]) -> int:
    """Draw one file; what goes wrong ends the process with its reason."""
    parser = argparse.ArgumentParser(prog="python -m gougeform.gauges.picture")
    parser.add_argument("mesh", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--title", default="")
    parser.add_argument("--line", action="append", default=[])
    parser.add_argument("--bed", default="")
    given = parser.parse_args(argv)
    bed = tuple(float(part) for part in given.bed.split("x")) if given.bed else None
    draw(given.mesh, given.out, given.title, given.line, bed)  # type: ignore[arg-type]
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
