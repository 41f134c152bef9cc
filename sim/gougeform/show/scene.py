"""What a picture shows, whoever draws it: named bodies that move rigidly from frame to frame, lines, words, views.

Lengths in mm. A body's points are in its own frame; a frame's pose brings them into the scene's, which is right-handed.
All views are parallel projections, so that a scale bar holds everywhere in them.
"""

from __future__ import annotations

import base64
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields, is_dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

WHOLE = np.eye(4)
"""The pose of what stands still."""


@dataclass(frozen=True, eq=False)
class Surface:
    """Triangles of one meaning. points and normals: (n, 3), faces: (m, 3), facing out.

    when: (n,) the moment at which each point gets its meaning; what is not yet so at a frame's `now` shows as `before`.
    """

    meaning: str
    points: Floats
    faces: Ints
    normals: Floats
    when: Floats | None = None
    before: str = ""


@dataclass(frozen=True, eq=False)
class Segments:
    """Straight pieces, ends (k, 2, 3) mm; width in px of the scene's own size. through: seen through what hides it."""

    meaning: str
    ends: Floats
    width: float = 3.0
    through: bool = False


@dataclass(frozen=True, eq=False)
class Thing:
    """Something that moves as one: its surfaces, and the lines on it."""

    name: str
    surfaces: tuple[Surface, ...]
    lines: tuple[Segments, ...] = ()


@dataclass(frozen=True, eq=False)
class Label:
    """Words beside a place (3,) mm of the scene."""

    words: str
    at: Floats
    meaning: str = "ink"


@dataclass(frozen=True, eq=False)
class Moment:
    """One moment. poses: 4 × 4 for every body that is there; red: names of those that touch what they must not.

    deep: how far they do, mm; then the first label says it.
    now: what surfaces' `when` is held against. lines and labels are in the scene's frame. words: what it shows.
    """

    poses: Mapping[str, Floats]
    now: float = 0.0
    lines: tuple[Segments, ...] = ()
    labels: tuple[Label, ...] = ()
    red: frozenset[str] = frozenset()
    deep: float = 0.0
    words: str = ""


@dataclass(frozen=True, eq=False)
class Camera:
    """A parallel projection: right and up (3,) unit vectors, middle (3,) mm at its middle, scale in px per mm.

    box: x, y, width, height in px of the picture. without: bodies left out. rides: a body whose pose the view goes with
    ("": none); then right, up and middle are in that body's frame. labels: whether labels are written.
    """

    name: str
    right: Floats
    up: Floats
    middle: Floats
    scale: float
    box: tuple[int, int, int, int]
    without: frozenset[str] = frozenset()
    rides: str = ""
    labels: bool = False

    @property
    def toward(self) -> Floats:
        """(3,): to the eye."""
        return np.cross(self.right, self.up)

    def at(self, frame: Moment) -> Camera:
        """The same view in the scene's own frame."""
        if not self.rides:
            return self
        pose = frame.poses[self.rides]
        turn = pose[:3, :3]
        middle = turn @ self.middle + pose[:3, 3]
        return replace(self, right=turn @ self.right, up=turn @ self.up, middle=middle, rides="")

    def place(self, points: Floats) -> Floats:
        """(n, 2) px from the picture's top left corner: where points (n, 3) mm of the scene are drawn."""
        x, y, w, h = self.box
        off = points - self.middle
        return np.stack([x + w / 2 + self.scale * (off @ self.right), y + h / 2 - self.scale * (off @ self.up)], -1)


@dataclass(frozen=True, eq=False)
class Scene:
    """Everything that a picture, a film, a GLB or a page shows. lines: at most two, under the title.

    up: (3,) what points up in life. knob: what the frames step along ("" where there is one). size: px.
    """

    title: str
    lines: tuple[str, ...]
    bodies: tuple[Thing, ...]
    views: tuple[Camera, ...]
    frames: tuple[Moment, ...]
    up: Floats
    knob: str = ""
    size: tuple[int, int] = (1920, 1080)
    seconds: float = 5.0
    first: int = field(default=0)  # the frame that a still picture shows

    def meanings(self) -> list[str]:
        """Every meaning that is drawn in some frame, in the order of the bodies; then the lines'."""
        there = {name for frame in self.frames for name in frame.poses}
        shown = [body for body in self.bodies if body.name in there]
        found = [one for body in shown for s in body.surfaces for one in (s.before, s.meaning) if one]
        found += [line.meaning for body in shown for line in body.lines]
        found += [line.meaning for frame in self.frames for line in frame.lines]
        found += ["touches" for frame in self.frames if frame.red]
        return [one for one in dict.fromkeys(found) if one not in ("ink", "quiet", "paper")]


def pose(turn: Floats, shift: Floats) -> Floats:
    """(4, 4): x ↦ turn · x + shift; or (n, 4, 4) for (n, 3, 3) and (n, 3)."""
    out = np.zeros((*np.shape(shift)[:-1], 4, 4))
    out[..., :3, :3], out[..., :3, 3], out[..., 3, 3] = turn, shift, 1.0
    return out


def moved(at: Floats, points: Floats) -> Floats:
    """(…, 3): points brought by a pose (4, 4)."""
    return points @ at[:3, :3].T + at[:3, 3]


def present(scene: Scene, frame: Moment, view: Camera | None = None) -> Iterator[tuple[Thing, Floats]]:
    """The bodies of a frame with their poses (4, 4), without those a view leaves out."""
    for body in scene.bodies:
        if body.name in frame.poses and not (view and body.name in view.without):
            yield body, frame.poses[body.name]


def packed(value: Any) -> Any:
    """A scene as plain values for JSON: arrays as base64 of little-endian 32 bit numbers, and their shape."""
    if is_dataclass(value) and not isinstance(value, type):
        return {"is": type(value).__name__} | {f.name: packed(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, np.ndarray):
        kind = "<u4" if value.dtype.kind in "iu" else "<f4"
        data = base64.b64encode(np.ascontiguousarray(value, kind).tobytes()).decode()
        return {"data": data, "kind": kind[1:], "shape": list(value.shape)}
    if isinstance(value, Mapping):
        return {key: packed(one) for key, one in value.items()}
    if isinstance(value, frozenset):
        return {"set": sorted(value)}
    return [packed(one) for one in value] if isinstance(value, tuple | list) else value


def unpacked(plain: Any) -> Any:
    """What `packed` was given, arrays in single precision's digits."""
    if isinstance(plain, list):
        return tuple(unpacked(one) for one in plain)
    if not isinstance(plain, dict):
        return plain
    if "data" in plain:
        flat = np.frombuffer(base64.b64decode(plain["data"]), "<" + plain["kind"])
        return flat.reshape(plain["shape"]).astype(float if plain["kind"] == "f4" else np.intp)
    if "set" in plain:
        return frozenset(plain["set"])
    inner = {key: unpacked(one) for key, one in plain.items() if key != "is"}
    return _NOUNS[plain["is"]](**inner) if "is" in plain else inner


_NOUNS: dict[str, Any] = {one.__name__: one for one in (Surface, Segments, Thing, Label, Moment, Camera, Scene)}
