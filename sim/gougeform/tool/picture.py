"""The head of a gouge from three sides, and once at an angle, drawn off-screen from the mesh that was written.

Run as `python -m gougeform.tool.picture MESH.vtu OUT.png`, in a process of its own (`gougeform.present.apart`): where a
machine has no graphics library, VTK kills the process that draws. Views are parallel projections at one scale, laid out
as on a drawing: from above, below it from the left side, beside that looking at the tip.
"""

from __future__ import annotations

import argparse
import struct
import sys
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.mesh.formats import replaced
from gougeform.present.apart import GRAPHICS_HINT, Outcome, run_apart
from gougeform.present.palette import INK, PAPER, QUIET, colour, of_grind

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageDraw import ImageDraw
    from PIL.ImageFont import FreeTypeFont

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

MODULE = "gougeform.tool.picture"
"""What is run in a process of its own to draw."""

BAR, FLUTE, FIRST_GRIND = 0, 1, 2
"""Parts of the surface; later grinds follow the first one."""

EDGE, CREASE, HEEL = colour("edge"), colour("crease"), colour("heel line")

WIDTH, HEIGHT = 2000, 1500
_MARGIN, _TOP, _BETWEEN = 70, 240, 95
_PAD = 14  # px round every view
LIGHTS = (((-0.5, 0.9, 1.0), 0.55), ((0.9, -0.3, 0.8), 0.35), ((-0.2, -1.0, 0.5), 0.3))
"""Position as seen from the eye (right, up, toward it) and strength of each."""
_FINER = 2  # views are drawn this much larger and averaged down: smooth outlines without a graphics card
_LIFT = 0.05  # mm: lines stand this much toward the eye, so that they are not swallowed by the surfaces they end


def tint(part: int) -> str:
    """The colour of a part of the surface, as "#rrggbb"."""
    return colour({BAR: "steel", FLUTE: "flute"}.get(part) or of_grind(part - FIRST_GRIND))


@dataclass(frozen=True, eq=False)
class Shape:
    """What is drawn: points (n, 3) mm in the tool frame, faces (m, 3), and the part (m,) each face belongs to."""

    points: Floats
    faces: Ints
    part: Ints

    def borders(self, one: set[int], other: set[int]) -> Ints:
        """(k, 2) vertices of the triangle sides between a part in `one` and a different part in `other`."""
        side = np.sort(self.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
        part = np.repeat(self.part, 3)
        order = np.lexsort(side.T)
        side, part = side[order], part[order]
        twin = np.flatnonzero((side[1:] == side[:-1]).all(1))
        a, b = part[twin], part[twin + 1]
        is_one, is_other = ([np.isin(x, list(group)) for x in (a, b)] for group in (one, other))
        between = (a != b) & ((is_one[0] & is_other[1]) | (is_one[1] & is_other[0]))
        return side[twin[between]]

    @property
    def grinds(self) -> list[int]:
        """The parts that some grind made, in order."""
        return [int(p) for p in np.unique(self.part) if p >= FIRST_GRIND]

    def lines(self) -> dict[str, tuple[Ints, str, float]]:
        """Edge, crease, heel and lip: their segments (k, 2), colour, and width in pixels of the picture."""
        ground = set(self.grinds)
        return {
            "lip": (self.borders({FLUTE}, {BAR}), HEEL, 2.0),
            "heel": (self.borders(ground, {BAR}), HEEL, 3.0),
            "crease": (self.borders(ground, ground), CREASE, 4.0),
            "edge": (self.borders({FLUTE}, ground), EDGE, 6.0),
        }


@dataclass(frozen=True)
class View:
    """A parallel projection.

    right, up: (3,) directions of the picture in the tool frame. middle: (3,) mm, the tool point at its middle.
    scale: px per mm. box: (x, y, w, h) px that it fills.
    """

    name: str
    right: Floats
    up: Floats
    middle: Floats
    scale: float
    box: tuple[int, int, int, int]

    @property
    def toward(self) -> Floats:
        """(3,): from the tool to the eye."""
        return np.cross(self.right, self.up)

    def place(self, points: Floats) -> Floats:
        """(n, 2) px from the picture's top left corner: where tool points (n, 3) mm are drawn."""
        x, y, w, h = self.box
        off = points - self.middle
        return np.stack([x + w / 2 + self.scale * (off @ self.right), y + h / 2 - self.scale * (off @ self.up)], -1)


@dataclass(frozen=True)
class Layout:
    """Where everything stands: the scale (px per mm) of the three views that share one, and all four views."""

    scale: float
    views: tuple[View, ...]


def layout(shape: Shape) -> Layout:
    """Fit the head, and as much of the fluted bar behind it as shows what it is, into the picture."""
    ground = shape.points[np.unique(shape.faces[shape.part >= FIRST_GRIND])]
    views = head_views(shape.points, ground, gap=60, foot=205)
    *straight, angle = views
    return Layout(views[0].scale, (*straight, replace(angle, name=f"{angle.name}, not to scale")))


def head_views(points: Floats, ground: Floats, *, gap: int, foot: int) -> tuple[View, ...]:
    """Laid out as on a drawing: from above, below it from the left side, beside that at the tip; and one at an angle.

    points, ground: (n, 3) mm of the whole solid and of its ground head. gap, foot: px between columns, and kept free
    below.
    """
    low, high = points.min(0), points.max(0)
    wide, tall, whole = (float(v) for v in high - low)
    tip = float(ground[:, 2].max())
    bevel = tip - float(ground[:, 2].min())
    length = min(max(1.35 * bevel, 2.0 * max(wide, tall)), whole)
    room_wide, room_tall = WIDTH - 2 * _MARGIN - gap, HEIGHT - _TOP - _BETWEEN - foot
    scale = min(room_wide / (length + 1.9 * wide), room_tall / (wide + tall))
    long_px, wide_px, tall_px = (round(scale * v) + 2 * _PAD for v in (length, wide, tall))
    below, beside = _TOP + wide_px + _BETWEEN, _MARGIN + long_px + gap
    middle = (low + high) / 2
    side_on = np.array([middle[0], middle[1], tip - length / 2 + _PAD / scale / 2])
    x, y, z = np.eye(3)
    return (
        View("from above", z, x, side_on, scale, (_MARGIN, _TOP, long_px, wide_px)),
        View("from the left side", z, y, side_on, scale, (_MARGIN, below, long_px, tall_px)),
        View("looking at the tip", x, y, middle, scale, (beside, below, wide_px, tall_px)),
        _at_an_angle(ground, (beside, _TOP, WIDTH - _MARGIN - beside, wide_px), scale),
    )


def _at_an_angle(ground: Floats, box: tuple[int, int, int, int], most: float) -> View:
    """From ahead, to the left and a little above, as large as shows the whole ground head but not over `most` px/mm."""
    turn, rise = np.radians(50.0), np.radians(20.0)
    right = np.array([np.cos(turn), 0.0, np.sin(turn)])
    up = np.array([np.sin(turn) * np.sin(rise), np.cos(rise), -np.cos(turn) * np.sin(rise)])
    seen = np.stack([ground @ right, ground @ up], -1)
    low, high = seen.min(0), seen.max(0)
    size = np.array(box[2:]) - 2 * _PAD
    scale = min(most, float((size / (high - low)).min()))
    # Keep the head at the right end of its box: the bar runs out of it on the left.
    middle = (low + high) / 2
    middle[0] = high[0] + _PAD / scale - box[2] / scale / 2
    at = middle[0] * right + middle[1] * up
    return View("at an angle", right, up, at, scale, box)


def draw(shape: Shape, out: Path, title: str, lines: Sequence[str]) -> None:
    """Draw the picture as PNG; `lines` (at most two short ones) stand under the title."""
    from PIL import Image, ImageDraw

    plan = layout(shape)
    canvas = Image.new("RGB", (WIDTH, HEIGHT), PAPER)
    scene = _scene(shape)
    for view in plan.views:
        canvas.paste(_rendered(scene, view), view.box[:2])
    pen = ImageDraw.Draw(canvas)
    _words(pen, plan, title, lines)
    _legend(pen, shape)
    _scale_bar(pen, plan.scale)
    with replaced(out) as beside:
        canvas.save(beside, format="PNG")


@dataclass(frozen=True)
class _Painted:
    """A pyvista mesh with the way it is shown."""

    mesh: Any
    look: dict[str, Any]


def _scene(shape: Shape) -> list[_Painted]:
    """Surfaces, then lines."""
    import pyvista

    scene = []
    for part in np.unique(shape.part):
        surface = pyvista.PolyData.from_regular_faces(shape.points, shape.faces[shape.part == part]).clean()
        # Round surfaces are shaded smooth, real corners of the bar stay sharp.
        surface = surface.compute_normals(cell_normals=False, split_vertices=True, feature_angle=30.0)
        look = {"color": tint(int(part)), "smooth_shading": True, "ambient": 0.52, "diffuse": 0.62, "specular": 0.0}
        scene.append(_Painted(surface, look))
    for ends, tinted, width in shape.lines().values():
        if len(ends):
            cells = np.column_stack([np.full(len(ends), 2), ends])
            line = pyvista.PolyData(shape.points, lines=cells.ravel()).clean(point_merging=False)
            scene.append(_Painted(line, {"color": tinted, "line_width": width * _FINER, "lighting": False}))
    return scene


def _rendered(scene: list[_Painted], view: View) -> Image:
    """One view, without words, in the size of its box."""
    import pyvista
    from PIL import Image

    _, _, w, h = view.box
    plotter: Any = pyvista.Plotter(off_screen=True, window_size=[w * _FINER, h * _FINER], lighting="none")
    try:
        plotter.set_background(PAPER)
        for position, strength in LIGHTS:
            plotter.add_light(pyvista.Light(position=position, light_type="camera light", intensity=strength))
        for one in scene:
            line = not one.look.get("lighting", True)
            actor = plotter.add_mesh(one.mesh, **one.look)
            if line:
                actor.position = _LIFT * view.toward
        camera = plotter.camera
        camera.focal_point = view.middle
        camera.position = view.middle + 500 * view.toward
        camera.up = view.up
        camera.parallel_projection = True
        camera.parallel_scale = h / view.scale / 2
        camera.clipping_range = (1.0, 5000.0)
        pixels = plotter.screenshot(return_img=True)
    finally:
        plotter.close()
    return Image.fromarray(pixels).convert("RGB").resize((w, h), Image.Resampling.BOX)


def font(size: int, bold: bool = False) -> FreeTypeFont:
    """The lettering of all pictures, at a size in pixels."""
    import matplotlib
    from PIL import ImageFont

    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return ImageFont.truetype(str(Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name), size)


def fitted(text: str, size: int, bold: bool, room: float) -> FreeTypeFont:
    """The font at that size, or as much smaller as the text needs; a very long text is left to run out."""
    while size > 22 and font(size, bold).getlength(text) > room:
        size -= 2
    return font(size, bold)


def _words(pen: ImageDraw, plan: Layout, title: str, lines: Sequence[str]) -> None:
    room = WIDTH - 2 * _MARGIN
    pen.text((_MARGIN, 50), title, fill=INK, font=fitted(title, 44, True, room))
    for number, line in enumerate(lines[:2]):
        pen.text((_MARGIN, 114 + 42 * number), line, fill=QUIET, font=fitted(line, 30, False, room))
    for view in plan.views:
        x, y, _, h = view.box
        pen.text((x, y + h + 8), view.name, fill=QUIET, font=font(30))


def _legend(pen: ImageDraw, shape: Shape) -> None:
    letters, y, x = font(30), HEIGHT - 78, _MARGIN
    names = {BAR: "bar", FLUTE: "flute"}
    grinds = shape.grinds
    for part in [*grinds, FLUTE, BAR]:
        default = "bevel" if len(grinds) == 1 else "first bevel" if part == FIRST_GRIND else "relief"
        if part > FIRST_GRIND + 1 or (part > FIRST_GRIND and len(grinds) > 2):
            default = f"relief {part - FIRST_GRIND}"
        pen.rounded_rectangle((x, y + 2, x + 38, y + 34), 6, fill=tint(part), outline=QUIET)
        name = names.get(part, default)
        pen.text((x + 50, y), name, fill=INK, font=letters)
        x += 50 + round(letters.getlength(name)) + 38
    for name, (ends, tinted, width) in reversed(shape.lines().items()):
        if name in ("edge", "crease") and len(ends):
            pen.line((x, y + 18, x + 44, y + 18), fill=tinted, width=round(width) + 1)
            pen.text((x + 56, y), name, fill=INK, font=letters)
            x += 56 + round(letters.getlength(name)) + 38


def _scale_bar(pen: ImageDraw, scale: float) -> None:
    """A bar of a round number of mm, every mm marked."""
    length = next((mm for mm in (10, 5, 2, 1, 20, 50) if 200 <= mm * scale <= 560), 10)
    right, y = WIDTH - _MARGIN, HEIGHT - 92
    left = right - length * scale
    every = 1 if length <= 10 else 5
    pen.line((left, y, right, y), fill=INK, width=4)
    for mm in range(0, length + 1, every):
        x, tall = left + mm * scale, 22 if mm in (0, length) else 12
        pen.line((x, y - tall, x, y), fill=INK, width=3)
    text = f"{length} mm"
    pen.text(((left + right) / 2 - font(30).getlength(text) / 2, y + 10), text, fill=INK, font=font(30))


def make_picture(mesh: Path, out: Path, title: str, lines: Sequence[str] = (), *, timeout_s: float = 120.0) -> Outcome:
    """Draw a written mesh in a process of its own; says what to install where that process dies."""
    words = [str(mesh), str(out), "--title", title, *(f"--line={line}" for line in lines)]
    return run_apart(MODULE, words, what="The picture", timeout_s=timeout_s, hint=GRAPHICS_HINT)


def read_shape(mesh: Path) -> Shape:
    """The triangles of a written VTU file, their cell data "surface" made into parts.

    Raises InputError where the file cannot be read or is not one of ours; a ValueError inside becomes one.
    """
    import meshio

    try:
        # Not meshio.read, which ends the whole process where it cannot read.
        found = meshio.vtu.read(str(mesh))
        faces = found.cells_dict["triangle"]
        flags = {name: data["triangle"] for name, data in found.cell_data_dict.items() if name.startswith("is_")}
        part = parts_of(flags)
        points = np.asarray(found.points, float)
        if not (np.isfinite(points).all() and faces.min() >= 0 and faces.max() < len(points)):
            raise ValueError("faces and points do not fit together")
    except (ArithmeticError, AssertionError, AttributeError, LookupError, MemoryError, OSError, SyntaxError, TypeError,
            ValueError, meshio.ReadError, struct.error, zlib.error) as error:  # fmt: skip
        raise InputError(
            "",
            f"is not a mesh with named surfaces: {' '.join(str(error).split())[:120] or type(error).__name__}",
            "give the .vtu file that `gougeform grind` writes",
            str(mesh),
        ) from error
    return Shape(points, faces.astype(np.intp), part)


def parts_of(flags: Mapping[str, NDArray[Any]]) -> Ints:
    """Parts (m,) from a mesh's cell data `is_grind_1`, `is_flute`, … of 1 and 0 (m,), as `gougeform.mesh.files` writes
    it.

    Raises KeyError where no face belongs to a grind or to the flute.
    """
    part = np.full(len(flags["is_grind_1"]), BAR)
    part[(flags["is_flute"] > 0) | (flags["is_run-out"] > 0)] = FLUTE
    for name, mine in flags.items():
        if name.startswith("is_grind_"):
            part[mine > 0] = FIRST_GRIND + int(name.removeprefix("is_grind_")) - 1
    return part


def main(argv: list[str] | None = None) -> int:
    """Draw one picture; returns 0, or 2 with one message on standard error."""
    parser = argparse.ArgumentParser(
        prog="python -m gougeform.tool.picture", description=(__doc__ or "").split("\n")[0]
    )
    parser.add_argument("mesh", type=Path, metavar="MESH.vtu")
    parser.add_argument("out", type=Path, metavar="OUT.png")
    parser.add_argument("--title", default="")
    parser.add_argument("--line", action="append", default=[], help="a line under the title; at most two")
    given = parser.parse_args(argv)
    try:
        draw(read_shape(given.mesh), given.out, given.title, given.line)
    except InputError as error:
        sys.stderr.write(f"{error}\n")
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
