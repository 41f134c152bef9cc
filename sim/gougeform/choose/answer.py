"""Which bar, which flute, which grind for this work? A short list with its reasons, and the recipes to grind by."""

from __future__ import annotations

import pickle
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any, TextIO

import numpy as np

from gougeform.card.byhand import hand_set
from gougeform.choose.front import ALL_MM, Pick, front, picks, smallest_set, union, wishes
from gougeform.choose.question import Choice
from gougeform.choose.robust import OFF, set_off
from gougeform.choose.search import Searched, Tell, search, unpickled
from gougeform.choose.trial import Asked, Tried, asked_of, reached_at_all
from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.many.crew import Crew, crew
from gougeform.measure.measures import Measures, measure
from gougeform.measure.quantities.standing import standing
from gougeform.part import Table
from gougeform.present.answer import Answer, Block, Cell, Files, Number
from gougeform.present.files import text
from gougeform.present.progress import counting, step
from gougeform.reach.answer import MODEL_NOTES
from gougeform.reach.body import build_body
from gougeform.reach.result import part_name, reach
from gougeform.recipe.model import Recipe
from gougeform.recipe.reading import from_table
from gougeform.recipe.write import to_toml
from gougeform.settings.words import setting_words

SHORT = 5
"""Tools that are named, at most, where nobody says how many."""


@dataclass(frozen=True)
class Told:
    """A tool of the short list as it is written: set by the ruler, ground and asked again at all usual places.

    nose: deg. reached, whole: mm of profile by work. stopped: by work the places that it does not reach, each x and
    distance from the axis in mm, and what stops it there. set_words: what a person sets, a line a grind.
    """

    recipe: Recipe
    nose: float
    reached: dict[str, float]
    whole: dict[str, float]
    stopped: dict[str, list[tuple[float, float, str]]]
    set_words: list[str]
    note: str

    @property
    def missed(self) -> float:
        """Profile of all works that it does not reach, mm."""
        return sum(self.whole.values()) - sum(self.reached.values())


def answer(
    question: Choice,
    *,
    limit: int = SHORT,
    folder: Path | None = None,
    workers: int = 1,
    every: bool = False,
    restart: bool = False,
    quiet: bool = False,
    keep: bool = True,
    tell: Tell | None = None,
) -> Answer:
    """Search, and name the few tools worth having.

    limit: tools to name at most. folder: for the recipes and the journal; one named after the works if None. every: the
    whole grid instead of a search. restart: forget what was tried. quiet: no progress.
    keep: a journal in the folder, so that the question goes on later. tell: is told how many are done, and what is
    known. Raises InputError where no tool
    can be had, with the reason most met.
    """
    folder = folder or Path("out") / f"choose-{'-'.join(question.works)}"[:80]
    total = len(question.every()) if every else question.tries
    stream: TextIO | None = None if quiet else sys.stderr
    with counting(total, "tools", stream) as count:
        searched = search(
            question,
            folder if keep else None,
            workers=workers,
            every=every,
            restart=restart,
            tell=tell or partial(_progress, count, stream),
        )
    if not searched.tools:
        raise _none(searched)
    asked = asked_of(question)
    together = smallest_set(searched.tools, asked)
    with step("grinding the chosen ones again"), crew(workers) as hands:
        named = _verified(searched, limit, hands)
        short = [pick.tool for pick in named]
        called = {one.recipe: chr(65 + i) for i, one in enumerate(short)}
        more = [one for one in together if one.recipe not in called]
        tasks = [(one.recipe.table, one.missed, one.recipe.title) for one in (*short, *more)]
        made = hands.results(partial(_told, pickle.dumps(question)), tasks)
    told = made[: len(short)]
    called |= {one.recipe: f"set-{i + 1}" for i, one in enumerate(more)}
    return Answer(
        f"For: {', '.join(work.title or name for name, work in question.works.items())}",
        [
            _short_list(question, named, told),
            _why(named, told),
            _settings(told),
            Block("What each wish costs", points=wishes(searched)),
            _together(searched, asked, together, called),
            _unreached(question, searched, asked, told),
            Block("How it was searched", points=_how(searched)),
            Block("What these numbers are", points=MODEL_NOTES),
        ],
        verdict=_verdict(question, told),
        result=_result(question, searched, asked, named, told, together),
        files=Files(
            {f"{name}.toml": text(to_toml(one.recipe)) for name, one in zip(called.values(), made, strict=True)},
            folder,
            record="choose.json",
            replaces=r"([A-Z]|set-\d+)\.toml",
        ),
        recipe=told[0].recipe,
        stopped=searched.stopped,
    )


def _verified(searched: Searched, limit: int, hands: Crew) -> list[Pick]:
    """The short list with what each tool misses at all usual places; chosen anew until that is so of every one."""
    question, sure = searched.question, set[Tried]()
    work = partial(_missed, pickle.dumps(question))
    while True:
        named = picks(searched, limit)
        fresh = [pick.tool for pick in named if pick.tool not in sure]
        if not fresh:
            return named
        for tool, missed in zip(fresh, hands.results(work, [one.recipe.table for one in fresh]), strict=True):
            settled = replace(tool, missed=missed)
            searched.tools[searched.tools.index(tool)] = settled
            sure.add(settled)


def _missed(question: bytes, table: Table) -> float:
    """Profile that a recipe's tool does not reach at the question's usual places, mm; robust: nor set a little off."""
    asked, recipe = unpickled(question), from_table(table)
    places = Asked.of(asked, asked.terms.places)
    reached = reached_at_all(asked, places, shape(recipe))
    for other in set_off(recipe) if asked.robust else ():
        reached &= reached_at_all(asked, places, other)
    return float(places.length[~reached].sum())


def _progress(count: Any, stream: TextIO | None, done: int, searched: Searched) -> None:
    """The count; and where there is no terminal to draw a bar on, nothing more."""
    count(done)
    if stream is not None and stream.isatty() and searched.tools and done % 40 == 0:
        best = min(searched.tools, key=lambda one: (one.missed, one.nose))
        print(f"best so far: {best.recipe.title}, misses {best.missed:.1f} mm", file=stream)


def _none(searched: Searched) -> InputError:
    """No tool can be had: the reason that most of them met."""
    if not searched.refused:
        return InputError("tries", "the search was stopped before the first tool", "let it go on")
    count, why = searched.most_refused()
    problem = (
        f"none of {searched.count} tools can be ground and stands at this wheel; {count} alike, as this one: {why}"
    )
    return InputError("jig", problem, "another jig, other bars, or another range of wings")


def _told(question: bytes, task: tuple[Table, float, str]) -> Told:
    """The tool as a hand can set it, asked again at the usual places; the exact one where the hand's reaches less.

    task: its recipe's table, what it misses in mm, its title.
    """
    table, missed, title = task
    asked, exact = unpickled(question), standing(measure(shape(from_table(table))))
    found, note = hand_set(exact)
    if not note:
        try:
            told = _searched_again(asked, standing(found), title, "")
            if told.missed <= missed + ALL_MM:
                return told
            note = f"The exact values stand in its recipe: by the ruler it misses {told.missed:.1f} mm."
        except InputError:
            note = "The exact values stand in its recipe: by the ruler it would not stand."
    return _searched_again(asked, exact, title, f" {note}")


def _searched_again(question: Choice, measures: Measures, title: str, note: str) -> Told:
    gouge, edge = measures.gouge, measures.edge
    body = build_body(gouge)
    found = {name: reach(gouge, work, question.terms, body=body) for name, work in question.works.items()}
    stopped = {}
    for name, one in found.items():
        rows = np.flatnonzero(~one.reached)
        x, rho = one.places.point[rows].T
        parts = [part_name(int(one.part[i, one.either[i]])) for i in rows]
        stopped[name] = list(zip(x.tolist(), rho.tolist(), parts, strict=True))
    return Told(
        gouge.recipe.with_(title=title),
        float(edge.wedge[edge.nose]),
        {name: one.length_mm for name, one in found.items()},
        {name: one.whole_mm for name, one in found.items()},
        stopped,
        setting_words(gouge),
        note,
    )


def _verdict(question: Choice, told: Sequence[Told]) -> str:
    first = told[0]
    missed = first.missed
    reaches = "reaches all of it" if missed <= 0.05 else f"reaches all but {missed:.1f} mm of profile"
    return f"{first.recipe.title}: {reaches}, and is the stiffest that does."


def _short_list(question: Choice, named: Sequence[Pick], told: Sequence[Told]) -> Block:
    tools = [pick.tool for pick in named]
    letters = [chr(65 + i) for i in range(len(told))]
    rows: list[tuple[Cell, ...]] = [
        ("bar and flute", *(question.stock[one.number].name for one in tools)),
        ("nose angle", *(Number(one.nose, "nose_deg", 1) for one in told)),
        ("wing length", *(Number(one.values["wing_mm"], "wing_mm", 0) for one in tools)),
        ("fullness", *(Number(one.values["fullness"], "", 1) for one in tools)),
        ("relief and land", *map(_relief, tools)),
    ]
    for name in question.works:
        cells = (f"{one.reached[name]:.1f} of {one.whole[name]:.1f} mm" for one in told)
        rows.append((f"reached of {name}", *cells))
    rows += [
        ("stiffness over the rest", *(f"{one.stiffness:.0f} N/mm at {one.overhang:.0f} mm" for one in tools)),
        ("steel of the bar", *(f"{one.steel:.0f} g" for one in tools)),
        ("set-ups at the wheel", *(f"{one.set_ups}" for one in tools)),
    ]
    if question.prices:
        rows.append(("price", *(Number(one.price, "", 2) for one in tools)))
    limit = question.terms.limit_deg
    below = f"Reached: a clearance angle of up to {limit:g}°. Stiffness: at the least overhang its work needs."
    return Block("The short list", rows, ("", *letters), below=below)


def _relief(tool: Tried) -> str:
    if tool.set_ups == 1:
        return "none"
    return f"{tool.nose - tool.values['finer_deg']:g}° behind {tool.values['land_mm']:g} mm"


def _why(named: Sequence[Pick], told: Sequence[Told]) -> Block:
    points = [f"{chr(65 + i)}: {pick.why}{one.note}" for i, (pick, one) in enumerate(zip(named, told, strict=True))]
    return Block("Why these", points=points)


def _settings(told: Sequence[Told]) -> Block:
    points = [f"{chr(65 + i)}: {'; then '.join(one.set_words)}" for i, one in enumerate(told)]
    return Block("Set, by the ruler", points=points)


def _together(searched: Searched, asked: Asked, together: Sequence[Tried], called: dict[Recipe, str]) -> Block:
    """The smallest set, each tool by the name under which it is told or written, with what it adds to those before."""
    if len(together) < 2:
        words = ["One tool reaches all that any of those tried reaches."] if together else []
        return Block("The smallest set" if together else "", points=words)
    points: list[str] = []
    done = np.zeros(len(asked.length), bool)
    for one in together:
        adds = float(asked.length[one.reached & ~done].sum())
        points.append(f"{called[one.recipe]}: {one.recipe.title}: {adds:.1f} mm{' more' if done.any() else ''}")
        done |= one.reached
    whole = float(asked.length[union(searched.tools)].sum())
    below = f"Together they reach the {whole:.1f} mm that any of those tried reaches; no fewer of them do."
    return Block(f"The smallest set: {len(together)} tools", points=points, below=below)


def _unreached(question: Choice, searched: Searched, asked: Asked, told: Sequence[Told]) -> Block:
    """Where none of the tools tried reaches: what the first of the short list leaves there, and what stops it."""
    missed, points = ~union(searched.tools), []
    for number, name in enumerate(question.works):
        left, stopped = told[0].whole[name] - told[0].reached[name], told[0].stopped[name]
        if not missed[asked.work == number].any() or not stopped:
            continue
        x = np.array([one[0] for one in stopped])
        span = f"x {x.min():.1f}" + (f" to {x.max():.1f}" if np.ptp(x) > 0.05 else "")
        by = " and the ".join(dict.fromkeys(one[2] for one in stopped))
        points.append(f"{name}: A leaves {left:.1f} mm of profile, {span}, stopped by the {by}")
    return Block("What none of those tried reaches", points=points) if points else Block()


def _how(searched: Searched) -> list[str]:
    question, best = searched.question, front(searched.tools, searched.question.prices)
    told = [
        f"{searched.count} tools tried, {len(searched.tools)} of them can be ground and stand; {len(best)} no"
        " other beats in reach, nose, stiffness, set-ups and " + ("price." if question.prices else "steel."),
        "A search and no proof: more `tries` may find better ones, and go on from these.",
    ]
    if question.robust:
        told.append(
            "Those named reach as much with every setting of each grind off by a step of ruler and protractor, in"
            f" {OFF} settings at random."
        )
    if searched.stopped:
        told.insert(0, "STOPPED before its end: the same question goes on from here.")
    if searched.refused:
        count, why = searched.most_refused()
        told.append(f"Of the others {count} alike, as this one: {why}.")
    return told


def _result(
    question: Choice,
    searched: Searched,
    asked: Asked,
    named: Sequence[Pick],
    told: Sequence[Told],
    together: Sequence[Tried],
) -> dict[str, Any]:
    def record(one: Tried) -> dict[str, Any]:
        return {
            "title": one.recipe.title,
            "bar": question.stock[one.number].name,
            **one.values,
            "missed_mm": one.missed,
            "overhang_mm": one.overhang,
            "stiffness_n_mm": one.stiffness,
            "set_ups": one.set_ups,
            "steel_g": one.steel,
            "price": one.price,
        }

    return {
        "works": list(question.works),
        "limit_deg": question.terms.limit_deg,
        "tried": searched.count,
        "stopped": searched.stopped,
        "short_list": [
            record(pick.tool)
            | {"why": pick.why, "nose_angle_deg": one.nose, "reached_mm": one.reached, "recipe": one.recipe.table}
            for pick, one in zip(named, told, strict=True)
        ],
        "front": [record(one) for one in front(searched.tools, question.prices)],
        "smallest_set": [record(one) for one in together],
        "reached_by_none": float(asked.length[~union(searched.tools)].sum()),
        "wishes": wishes(searched),
        "notes": list(MODEL_NOTES),
    }
