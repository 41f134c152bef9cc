"""One tool tried: ground where its jig grinds it, and asked at every place whether it reaches. mm, deg, N/mm."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from gougeform.choose.question import PLACES, Choice, Values
from gougeform.errors import InputError
from gougeform.grind.gouge import Gouge
from gougeform.measure.measures import measure
from gougeform.measure.quantities.standing import standing
from gougeform.reach.body import build_body
from gougeform.reach.contact import Contact
from gougeform.reach.posture import Places, places_at
from gougeform.reach.result import held_by, rest_for, within
from gougeform.recipe.model import Recipe
from gougeform.recipe.reading import from_table
from gougeform.settings.nearby import ground_near
from gougeform.stiffness.beam import beam_of
from gougeform.stiffness.properties import fluted
from gougeform.work.distance import Wood, wood_of

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Asked:
    """The places of all works in a row, each with the profile it stands for (mm) and the least overhang it needs."""

    wood: tuple[Wood, ...]
    places: tuple[Places, ...]
    length: Floats
    overhang: Floats
    work: NDArray[np.intp]

    @classmethod
    def of(cls, question: Choice, many: int = PLACES) -> Asked:
        """At about so `many` places each. The overhang is that of a tool which points straight at the rest."""
        woods, spots, length, over, number = [], [], [], [], []
        for i, work in enumerate(question.works.values()):
            places = places_at(work, *work.places(many))
            rest = rest_for(work, question.terms)
            x, rho = places.point.T
            through = np.where(places.mouth > 0, rest.right - x, x - rest.left)
            over.append(np.where(places.mouth == 0, rest.radius - rho, through))
            woods.append(wood_of(work))
            spots.append(places)
            length.append(_shares(places) * work.length[places.piece])
            number.append(np.full(len(places), i))
        return cls(tuple(woods), tuple(spots), *map(np.concatenate, (length, over, number)))


def _shares(places: Places) -> Floats:
    """(n,) how much of its piece each place stands for: half the way to its neighbours, or to the piece's end."""
    out = np.empty(len(places))
    for piece in np.unique(places.piece):
        mine = np.flatnonzero(places.piece == piece)
        share = places.share[mine]
        ends = np.concatenate([[0.0], (share[1:] + share[:-1]) / 2, [1.0]])
        out[mine] = np.diff(ends)
    return out


@dataclass(frozen=True, eq=False)
class Tried:
    """What one tool comes to. number: of its bar in the stock. recipe: its projection may differ from the jig's.

    reached: (n,) of all places in a row. overhang: what the farthest place reached needs, mm; stiffness there, N/mm, in
    the softer direction. set_ups: at the wheel, one a grind. steel: grams of bar. missed: mm of profile.
    """

    number: int
    values: Values
    recipe: Recipe
    reached: Flags
    missed: float
    nose: float
    overhang: float
    stiffness: float
    set_ups: int
    steel: float
    price: float | None

    def costs(self, prices: bool) -> Floats:
        """What is to be small: profile missed, nose angle, give at the overhang, set-ups, and price or steel."""
        last = self.price if prices and self.price is not None else self.steel
        return np.array([self.missed, self.nose, 1 / self.stiffness, float(self.set_ups), last])


COSTS = ("profile missed", "nose angle", "give over the rest", "set-ups", "price or steel")


@lru_cache(maxsize=2)
def asked_of(question: Choice) -> Asked:
    """The same for the same question."""
    return Asked.of(question)


def tried(question: Choice, number: int, values: Values) -> Tried | str:
    """Grind one tool of the question and ask it everywhere; or why it cannot be had."""
    asked = asked_of(question)
    try:
        gouge = ground_near(from_table(question.table(number, values)))
        standing(measure(gouge))
        reached = reached_at_all(question, asked, gouge)
        return _told(question, asked, number, values, gouge, reached)
    except InputError as error:
        return f"{error.field}: {error.problem}" if error.field else error.problem


def reached_at_all(question: Choice, asked: Asked, gouge: Gouge) -> Flags:
    """(n,) whether each place of all works is reached."""
    body, out = build_body(gouge), []
    for wood, places in zip(asked.wood, asked.places, strict=True):
        rest = rest_for(wood.meridian, question.terms)
        contact = Contact(body, wood, places, question.terms.tolerance_mm)
        out.append(within(contact, question.terms, held_by(body, rest, question.terms)))
    return np.concatenate(out)


def _told(question: Choice, asked: Asked, number: int, values: Values, gouge: Gouge, reached: Flags) -> Tried:
    recipe = gouge.recipe
    over = float(asked.overhang[reached].max(initial=1.0))
    beam = beam_of(recipe, gouge.section)
    if over >= beam.hand:
        raise InputError(
            "bar", f"the work needs {over:.0f} mm over the rest, more than this tool is long", "another bar"
        )
    stiffness = 1 / float(np.linalg.eigvalsh(beam.give(over))[-1])
    grams = fluted(gouge.section).area * recipe.bar.length_mm * recipe.bar.steel.density_g_cm3 / 1000
    return Tried(
        number,
        values,
        recipe,
        reached,
        float(asked.length[~reached].sum()),
        values["nose_deg"],
        over,
        stiffness,
        len(recipe.grinds),
        float(grams),
        question.stock[number].price,
    )
