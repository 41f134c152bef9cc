"""Scenes as files that other programs open: GLB (one frame), and one page that turns in a browser with no network."""

from __future__ import annotations

import json
from importlib import resources
from pathlib import Path
from string import Template

import numpy as np
from numpy.typing import NDArray

from gougeform.present.palette import COLOURS, INK, PAPER, QUIET, colour, words
from gougeform.show.drawing import AMBIENT, DIFFUSE, LIGHTS
from gougeform.show.scene import Moment, Scene, Surface, packed, present

Floats = NDArray[np.float64]

_NOT_IN_GLB = ("quiet", "ink")


def standing_up(scene: Scene) -> Floats:
    """(4, 4): from the scene's frame in mm to GLB's, which has Y up and is in metres."""
    y = scene.up / np.linalg.norm(scene.up)
    x = np.eye(3)[0] if abs(y[0]) < 0.9 else np.eye(3)[1]
    z = np.cross(x, y)
    out = np.eye(4)
    out[:3, :3] = 0.001 * np.stack([x, y, z])
    return out


def write_glb(scene: Scene, out: Path) -> None:
    """The frame of the scene's own choice: a node for each body by its name, its surfaces and lines in it."""
    import trimesh

    frame = scene.frames[scene.first]
    whole = trimesh.Scene(base_frame="world")
    whole.graph.update(frame_from="world", frame_to="scene", matrix=standing_up(scene))
    for body, at in present(scene, frame):
        whole.graph.update(frame_from="scene", frame_to=body.name, matrix=at)
        for surface in body.surfaces:
            for meaning, faces in _by_meaning(surface, frame, body.name):
                mesh = trimesh.Trimesh(surface.points, faces, vertex_normals=surface.normals, process=False)
                mesh.visual = trimesh.visual.TextureVisuals(material=_paint(meaning))
                _hang(whole, mesh, f"{body.name}: {meaning}", body.name)
        for line in body.lines:
            if line.meaning not in _NOT_IN_GLB:
                _hang(whole, _path(line.ends, line.meaning), f"{body.name}: {line.meaning}", body.name)
    for line in frame.lines:
        if len(line.ends):
            _hang(whole, _path(line.ends, line.meaning), line.meaning, "scene")
    out.write_bytes(whole.export(file_type="glb", include_normals=True))


def _by_meaning(surface: Surface, frame: Moment, body: str) -> list[tuple[str, NDArray[np.intp]]]:
    if body in frame.red:
        return [("touches", surface.faces)]
    if surface.when is None:
        return [(surface.meaning, surface.faces)]
    late = surface.when[surface.faces].mean(1) > frame.now
    both = [(surface.meaning, surface.faces[~late]), (surface.before, surface.faces[late])]
    return [(meaning, faces) for meaning, faces in both if len(faces)]


def _paint(meaning: str) -> object:
    from trimesh.visual.material import PBRMaterial

    # glTF's factors are linear light.
    part = np.array([int(colour(meaning)[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    linear = np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)
    return PBRMaterial(
        meaning, baseColorFactor=[*linear, 1.0], metallicFactor=0.0, roughnessFactor=0.8, doubleSided=True
    )


def _path(ends: Floats, meaning: str) -> object:
    import trimesh

    path = trimesh.load_path(ends, process=False)
    tint = [int(colour(meaning)[i : i + 2], 16) for i in (1, 3, 5)]
    path.colors = np.tile([*tint, 255], (len(path.entities), 1))
    return path


def _hang(whole: object, thing: object, name: str, under: str) -> None:
    taken, number = whole.geometry, 1  # type: ignore[attr-defined]
    while (own := name if number == 1 else f"{name} {number}") in taken:
        number += 1
    whole.add_geometry(thing, node_name=own, geom_name=own, parent_node_name=under)  # type: ignore[attr-defined]


def page(scene: Scene) -> str:
    """One self-contained HTML text: the scene, and what turns it and steps its frames."""
    folder = resources.files("gougeform.show").joinpath("page")
    script = "".join(folder.joinpath(name).read_text(encoding="utf-8") for name in ("viewer.js", "film.js"))
    found = scene.meanings()
    given = {
        "scene": packed(scene),
        "colours": COLOURS | {"paper": PAPER, "ink": INK, "quiet": QUIET},
        "light": {"lights": LIGHTS, "share": [AMBIENT, DIFFUSE]},
        "legend": list(zip(found, words(found), strict=True)),
    }
    text = json.dumps(given, ensure_ascii=False, allow_nan=False).replace("</", "<\\/")
    frame = Template(folder.joinpath("film.html").read_text(encoding="utf-8"))
    return frame.substitute(given=text, script=script, paper=PAPER, ink=INK, quiet=QUIET)


def write_page(scene: Scene, out: Path) -> None:
    """The page of `page` as a file."""
    out.write_text(page(scene), encoding="utf-8")
