"""Scenes made into files. What draws runs in a process of its own, where its death costs nothing but the picture."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Sequence
from pathlib import Path

from gougeform.present.answer import Files
from gougeform.present.apart import GRAPHICS_HINT, Outcome, run_apart
from gougeform.present.progress import so_far
from gougeform.show.scene import Scene, packed
from gougeform.show.writers import write_glb, write_page

MODULE = "gougeform.show.drawing"
"""What is run in a process of its own to draw."""
PATIENCE_S = 600.0
"""After so long a film is given up; it takes about a third of a second of processor time a frame."""


def draw(scene: Scene, outs: Sequence[Path]) -> Outcome:
    """Draw it as .png (one frame), .mp4, .gif (all), in a process of its own; never raises for what happens in it."""

    def heard(line: str) -> None:
        done, of = line.split()
        so_far(int(done), int(of))

    with tempfile.TemporaryDirectory() as folder:
        given = Path(folder) / "scene.json"
        given.write_text(json.dumps(packed(scene), allow_nan=False), encoding="utf-8")
        what = "The film" if any(out.suffix != ".png" for out in outs) else "The picture"
        words = [str(given), *map(str, outs)]
        return run_apart(MODULE, words, what=what, timeout_s=PATIENCE_S, hint=GRAPHICS_HINT, heard=heard)


def files(scene: Scene, stem: str, *, film: bool) -> Files:
    """A scene's files: PNG, GLB, the page that turns, its numbers; with `film` MP4 and GIF, drawn both at once."""
    films: list[Outcome] = []

    def both(_: Path, path: Path) -> Outcome:
        films.append(draw(scene, [path, path.with_suffix(".gif")]))
        return films[-1]

    drawn = {f"{stem}.png": lambda _, path: draw(scene, [path])}
    if film:
        drawn |= {f"{stem}.mp4": both, f"{stem}.gif": lambda _, path: films[-1]}
    return Files(
        {f"{stem}.glb": lambda path: write_glb(scene, path), f"{stem}.html": lambda path: write_page(scene, path)},
        record=f"{stem}.json",
        draw=drawn,
        replaces=rf"{stem}\.(png|mp4|gif)",
        uses={
            ".html": "turns in any browser, with no network",
            ".glb": "the same moment for 3D programs (metres, as that format has it)",
        },
    )
