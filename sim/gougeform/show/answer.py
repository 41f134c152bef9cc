"""What happens at the wheel, or in the wood? A scene of one tool, as picture, film, GLB and a page that turns."""

from __future__ import annotations

from gougeform.errors import InputError
from gougeform.grind.gouge import Gouge, shape
from gougeform.numerics.compiled import preparing
from gougeform.present.answer import Answer, Block
from gougeform.present.progress import step
from gougeform.reach.answer import verdict
from gougeform.reach.result import Terms, reach
from gougeform.recipe.model import Recipe
from gougeform.show.heads import heads
from gougeform.show.making import files
from gougeform.show.scene import Scene
from gougeform.show.wheel import at_wheel
from gougeform.show.wood import in_wood
from gougeform.work.meridian import Meridian

_KNOB = "The page turns when it is dragged; its knob steps along: {}."


def answer(
    recipe: Recipe,
    work: Meridian | None = None,
    terms: Terms | None = None,
    *,
    name: str = "work",
    wheel: bool = False,
    film: bool = False,
) -> Answer:
    """One scene: the head; with `wheel` the tool on its wheel; with `work` the tool in it, `name` being the files'.

    Raises InputError where the recipe cannot be ground, and for wheel and work together. A set-up that cannot stand is
    shown, in red.
    """
    if wheel and work is not None:
        raise InputError("work", "is given together with at: one scene shows one of them", "leave one of them out")
    if film and work is None and not wheel:
        raise InputError("film", "a head alone does not move", "ask for the wheel (at wheel), or give a work")
    gouge = shape(recipe)
    if work is not None:
        with step(preparing("searching the postures")):
            found = reach(gouge, work, terms)
        with step("setting the scene"):
            scene = in_wood(found)
        return _told(gouge, scene, f"in-{name}", verdict(found), film)
    with step("setting the scene"):
        scene = at_wheel(gouge) if wheel else heads(gouge)
    return _told(gouge, scene, "at-the-wheel" if wheel else "head-turning", scene.lines[-1] if wheel else "", film)


def _told(gouge: Gouge, scene: Scene, stem: str, said: str, film: bool) -> Answer:
    blocks = [Block(below=_KNOB.format(scene.knob))] if scene.knob else []
    result = {
        "views": [view.name for view in scene.views],
        "frames": len(scene.frames),
        "seconds": scene.seconds,
        "shows": [frame.words for frame in scene.frames],
        "touches": [[label.words for label in frame.labels if label.meaning == "touches"] for frame in scene.frames],
    }
    heading = "\n".join([scene.title, *(line for line in scene.lines if line != said)])
    return Answer(heading, blocks, said, result=result, files=files(scene, stem, film=film), recipe=gouge.recipe)
