"""Draws frames of a scene off-screen: light, surfaces, lines; one window for each view, kept from frame to frame.

Run as `python -m gougeform.show.drawing SCENE.json OUT…`, in a process of its own: where a machine has no graphics
library, VTK kills the process that draws. OUT ends in .png (the scene's first frame), .mp4 or .gif (all frames).
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from gougeform.present.palette import PAPER, colour
from gougeform.show.scene import Camera, Moment, Scene, Segments, Surface, Thing, present, unpacked
from gougeform.show.writing import Board

if TYPE_CHECKING:
    from PIL.Image import Image

Floats = NDArray[np.float64]

LIGHTS = (((-0.5, 0.9, 1.0), 0.55), ((0.9, -0.3, 0.8), 0.35), ((-0.2, -1.0, 0.5), 0.3))
"""Position as seen from the eye (right, up, toward it) and strength of each."""
AMBIENT, DIFFUSE = 0.50, 0.62
STILL, FILM = 1.0, 2 / 3
"""Pixels for a px of the scene, in a still picture and in a film."""
_FINER = 2  # drawn this much larger and averaged down: smooth outlines without a graphics card
_LIFT_MM = 0.06  # lines stand this much toward the eye, so that they are not swallowed by the surfaces they end
_THROUGH_MM = 2000.0  # and these in front of everything
_GIF_PART = 0.5  # of a film's width: GIF holds every frame whole


class Window:
    """One view of a scene, ready to draw any of its frames."""

    def __init__(self, scene: Scene, view: Camera, width: int, height: int):
        import pyvista

        self.scene, self.view, self.width, self.height = scene, view, width, height
        self.grain = _FINER * width / view.box[2]
        size = [width * _FINER, height * _FINER]
        plotter: Any = pyvista.Plotter(off_screen=True, window_size=size, lighting="none")
        self.plotter = plotter
        plotter.render_window.SetMultiSamples(0)
        plotter.set_background(PAPER)
        for position, strength in LIGHTS:
            self.plotter.add_light(pyvista.Light(position=position, light_type="camera light", intensity=strength))
        there = {name for frame in scene.frames for name in frame.poses} - view.without
        self.parts = {
            body.name: ([(s, self._surface(s)) for s in body.surfaces], [(n, self._line(n)) for n in body.lines])
            for body in scene.bodies
            if body.name in there
        }
        self.passing: list[Any] = []

    def _surface(self, surface: Surface) -> Any:
        import pyvista

        mesh = pyvista.PolyData.from_regular_faces(surface.points, surface.faces.astype(int))
        mesh.point_data["Normals"] = surface.normals
        mesh.point_data.active_normals_name = "Normals"
        look: dict[str, Any] = {"color": colour(surface.meaning)}
        if surface.when is not None:
            mesh.point_data["when"] = surface.when
            tints = [colour(surface.meaning), colour(surface.before)]
            look = {"scalars": "when", "cmap": tints, "n_colors": 2, "clim": [0.0, 1.0], "show_scalar_bar": False}
        light = {"smooth_shading": True, "ambient": AMBIENT, "diffuse": DIFFUSE, "specular": 0.0}
        return self.plotter.add_mesh(mesh, **look, **light, reset_camera=False, render=False)

    def _line(self, line: Segments) -> Any:
        import pyvista

        count = len(line.ends)
        cells = np.column_stack([np.full(count, 2), np.arange(2 * count).reshape(-1, 2)])
        mesh = pyvista.PolyData(line.ends.reshape(-1, 3), lines=cells.ravel())
        look = {"color": colour(line.meaning), "line_width": line.width * self.grain, "lighting": False}
        return self.plotter.add_mesh(mesh, **look, reset_camera=False, render=False)

    def draw(self, frame: Moment) -> Image:
        """The view of one frame, without words."""
        from PIL import Image

        view = self.view.at(frame)
        placed: dict[str, tuple[Thing, Floats]] = {
            body.name: (body, at) for body, at in present(self.scene, frame, view)
        }
        for name, (surfaces, lines) in self.parts.items():
            for thing, actor in [*surfaces, *lines]:
                actor.visibility = name in placed
                if name not in placed:
                    continue
                at = placed[name][1].copy()
                if isinstance(thing, Segments):
                    at[:3, 3] += (_THROUGH_MM if thing.through else _LIFT_MM) * view.toward
                elif isinstance(thing, Surface) and thing.when is not None:
                    actor.mapper.scalar_range = (frame.now - 1.0, frame.now + 1.0)
                    actor.mapper.scalar_visibility = name not in frame.red
                if isinstance(thing, Surface):
                    actor.prop.color = colour("touches" if name in frame.red else thing.meaning)
                actor.user_matrix = at
        for actor in self.passing:
            self.plotter.remove_actor(actor, reset_camera=False, render=False)
        self.passing = [self._line(line) for line in frame.lines if len(line.ends)]
        for actor, line in zip(self.passing, (n for n in frame.lines if len(n.ends)), strict=True):
            actor.position = (_THROUGH_MM if line.through else _LIFT_MM) * view.toward
        camera = self.plotter.camera
        camera.focal_point = view.middle
        camera.position = view.middle + 5000.0 * view.toward
        camera.up = view.up
        camera.parallel_projection = True
        camera.parallel_scale = view.box[3] / view.scale / 2
        camera.clipping_range = (1.0, 10000.0)
        self.plotter.render()
        pixels = Image.fromarray(self.plotter.screenshot(return_img=True)).convert("RGB")
        return pixels.resize((self.width, self.height), Image.Resampling.BOX)

    def close(self) -> None:
        """Give the window back."""
        self.plotter.close()


def drawn(scene: Scene, frames: Sequence[Moment], grain: float) -> Iterator[Image]:
    """The pictures of some frames, one after the other."""
    sheet = Board(scene, grain)
    windows = [Window(scene, view, *sheet.box(view)[2:]) for view in scene.views]
    try:
        for frame in frames:
            yield sheet.filled(frame, [window.draw(frame) for window in windows])
    finally:
        for window in windows:
            window.close()


def write_still(scene: Scene, out: Path) -> None:
    """The frame of the scene's own choice as PNG."""
    for picture in drawn(scene, [scene.frames[scene.first]], STILL):
        picture.save(out, format="PNG")


def hundredths(scene: Scene) -> int:
    """How long a frame lasts, in 1/100 s: GIF knows no finer time, and MP4 is given the same."""
    return max(round(100 * scene.seconds / len(scene.frames)), 2)


def write_films(scene: Scene, outs: Sequence[Path], told: Callable[[int, int], None] = lambda done, of: None) -> None:
    """All frames, drawn once, as MP4 and GIF, whichever the names of `outs` end in. told: frames done, of how many."""
    from imageio import v2 as imageio
    from PIL import Image

    each = hundredths(scene)
    films = [
        imageio.get_writer(
            out,
            format="FFMPEG",
            fps=100 / each,
            codec="libx264",
            quality=8,
            macro_block_size=2,
            ffmpeg_log_level="error",
        )
        for out in outs
        if out.suffix == ".mp4"
    ]
    small: list[Image.Image] = []
    try:
        for done, picture in enumerate(drawn(scene, scene.frames, FILM), start=1):
            for film in films:
                film.append_data(np.asarray(picture))
            small.append(picture.reduce(round(1 / _GIF_PART)))
            told(done, len(scene.frames))
    finally:
        for film in films:
            film.close()
    # One palette for the whole film, taken from its beginning, middle and end: still parts do not flicker.
    some = np.concatenate([np.asarray(small[k]) for k in (0, len(small) // 2, -1)])
    shared = Image.fromarray(some).quantize(256, dither=Image.Dither.NONE)
    flat = [picture.quantize(palette=shared, dither=Image.Dither.NONE) for picture in small]
    for out in outs:
        if out.suffix == ".gif":
            flat[0].save(out, save_all=True, append_images=flat[1:], duration=10 * each, loop=0, optimize=False)


def main(argv: Sequence[str] | None = None) -> int:
    """Draw a scene; one line for every frame on standard output, for who waits."""
    parser = argparse.ArgumentParser(prog="python -m gougeform.show.drawing", description="Draws a packed scene.")
    parser.add_argument("scene", type=Path)
    parser.add_argument("out", type=Path, nargs="+")
    given = parser.parse_args(argv)
    scene = unpacked(json.loads(given.scene.read_text(encoding="utf-8")))
    for out in given.out:
        if out.suffix == ".png":
            write_still(scene, out)
    films = [out for out in given.out if out.suffix in (".mp4", ".gif")]
    if films:
        write_films(scene, films, lambda done, of: print(done, of, flush=True))  # noqa: T201
    return 0


if __name__ == "__main__":
    sys.exit(main())
