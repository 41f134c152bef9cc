"""How far the tool bends over the rest: a stepped beam with shear, the rest and the rear hand as its two supports.

The beam is the fluted bar, the plain shank, then ferrule and handle round the tang. Rest and hand do not yield and
steel and handle are taken as bonded: deflections are lower limits and frequencies upper limits of what a person feels.
Twist is left out. The ground head counts as fluted bar up to the nose. x runs from the nose toward the hand.
Lengths mm, forces N, moduli MPa, masses t (so that N = t mm/s²).
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gougeform.bar.bar import Bar
from gougeform.bar.section import Section, build_section
from gougeform.errors import InputError
from gougeform.recipe.model import Recipe
from gougeform.stiffness.properties import Properties, fluted, plain, round_bar

Floats = NDArray[np.float64]

WOOD_POISSON = 0.35  # of a handle: shear hardly counts there
FORCE_N = 100.0
_ELEMENT_MM = 20.0


@dataclass(frozen=True, eq=False)
class Stretch:
    """One stretch of the beam from `start` to `end`. give: (2, 2) 1/(N mm²), curvature along x and y by moment.

    shear: 1/N, slope by shear force. mass: t/mm, turning: t mm, mass by length against rotation. stiff: N mm², least.
    """

    start: float
    end: float
    give: Floats
    shear: float
    mass: float
    turning: float
    stiff: float


@dataclass(frozen=True, eq=False)
class Beam:
    """Steps in order from the nose; hand: where the rear hand holds, mm from the nose."""

    steps: tuple[Stretch, ...]
    hand: float

    @property
    def length(self) -> float:
        """Where the handle ends, mm."""
        return self.steps[-1].end

    def give(self, overhang: float) -> Floats:
        """(2, 2) mm/N: movement of the edge along the tool's x and y by a force there, `overhang` mm before the rest.

        The force's work: the integrals of moment² and shear² for a unit force, exact for each step.
        """
        self._check(overhang)
        back = self.hand - overhang
        total = np.zeros((2, 2))
        for step in self.steps:
            for begin, stop, arm, rate in (
                (0.0, overhang, 0.0, 1.0),
                (overhang, self.hand, self.hand, -overhang / back),
            ):
                a, b = max(step.start, begin), min(step.end, stop)
                if b > a:
                    third = ((b - arm) ** 3 - (a - arm) ** 3) / 3
                    total += rate**2 * (third * step.give + (b - a) * step.shear * np.eye(2))
        return total

    def hand_force(self, overhang: float, force: float) -> float:
        """N at the rear hand for a force at the edge; the rest carries the sum of both."""
        self._check(overhang)
        return force * overhang / (self.hand - overhang)

    def frequency(self, overhang: float) -> float:
        """Hz: the first natural frequency in the bar's softer direction, over rest and hand."""
        self._check(overhang)
        return first_frequency(self.steps, (overhang, self.hand))

    def largest_overhang(self, deflection: float, force: float) -> float:
        """mm: the overhang at which a force bends the edge by `deflection` mm in the softer direction."""
        from scipy.optimize import brentq

        def excess(a: float) -> float:
            return force * float(np.linalg.eigvalsh(self.give(a))[-1]) - deflection

        low, high = 1e-3, self.hand - 1e-3
        if excess(low) >= 0:
            return 0.0
        return float(brentq(excess, low, high, xtol=1e-9))

    def _check(self, overhang: float) -> None:
        if not 0 < overhang < self.hand:
            raise InputError(
                "overhang_mm",
                f"given {overhang:g}: the rear hand holds the tool {self.hand:g} mm behind the nose",
                f"an overhang above 0 and below {self.hand:g} mm, or a longer handle",
            )


def beam_of(recipe: Recipe, section: Section | None = None) -> Beam:
    """The beam of a recipe's tool."""
    bar, handle = recipe.bar, recipe.handle
    section = section or build_section(bar, recipe.flute)
    steel_young, poisson, density = bar.steel.young_gpa * 1e3, bar.steel.poisson, bar.steel.density_g_cm3 * 1e-9
    length, flute_end = bar.length_mm, min(recipe.flute.length_mm, bar.length_mm)
    groove, whole = fluted(section), plain(section.outline)
    k = shear_factor(bar, poisson)
    steel_shear = steel_young / (2 * (1 + poisson))
    steps = []
    for start, end, part in ((0.0, flute_end, groove), (flute_end, length, whole)):
        if end > start:
            steps.append(_step(start, end, [(part, steel_young, density)], k * steel_shear * part.area))
    front, middle = length, length + handle.ferrule_length_mm
    back, tang = middle + handle.handle_length_mm, length + handle.tang_mm
    young, wood = handle.young_gpa * 1e3, handle.density_g_cm3 * 1e-9
    wood_shear = young / (2 * (1 + WOOD_POISSON))
    ends = sorted({front, middle, back, tang})
    for start, end in itertools.pairwise(ends):
        diameter = handle.ferrule_diameter_mm if end <= middle else handle.handle_diameter_mm
        around = round_bar(diameter)
        parts = [(around, young, wood)]
        carries = 0.9 * wood_shear * around.area
        if end <= tang:
            parts += [(whole, steel_young - young, density - wood)]
            carries += k * (steel_shear - wood_shear) * whole.area
        steps.append(_step(start, end, parts, carries))
    return Beam(tuple(steps), length + handle.hand_mm)


def shear_factor(bar: Bar, poisson: float) -> float:
    """Cowper's coefficient (J. Appl. Mech. 33, 1966) of the bar's outline; for a fluted bar that is an estimate."""
    a, b, c, d = bar.shear
    return (a + b * poisson) / (c + d * poisson)


def _step(start: float, end: float, parts: list[tuple[Properties, float, float]], shear: float) -> Stretch:
    stiff = np.sum([young * p.moments for p, young, _ in parts], axis=0)
    return Stretch(
        start,
        end,
        np.linalg.inv(stiff),
        1 / shear,
        sum(p.area * density for p, _, density in parts),
        sum(min(p.ixx, p.iyy) * density for p, _, density in parts),
        float(np.linalg.eigvalsh(stiff)[0]),
    )


def first_frequency(
    steps: tuple[Stretch, ...], supports: tuple[float, ...], *, clamp: float | None = None, tip_mass: float = 0.0
) -> float:
    """Hz: the first natural frequency of a stepped beam on unyielding supports (mm), or clamped at one place.

    Two-node elements with shear and rotary inertia (Friedman and Kosmatka, Computers & Structures 47, 1993; from
    memory). tip_mass: t at the nose.
    """
    from scipy.linalg import cho_factor, cho_solve

    marks = {steps[0].start, *(s.end for s in steps), *supports} | ({clamp} if clamp is not None else set())
    marks = {m for m in marks if steps[0].start <= m <= steps[-1].end}
    knots = sorted(marks)
    nodes = np.unique(
        np.concatenate(
            [np.linspace(a, b, max(int(np.ceil((b - a) / _ELEMENT_MM)), 2) + 1) for a, b in itertools.pairwise(knots)]
        )
    )
    count = 2 * len(nodes)
    stiff, mass = np.zeros((count, count)), np.zeros((count, count))
    for i, (a, b) in enumerate(itertools.pairwise(nodes)):
        step = next(s for s in steps if s.end >= b - 1e-9)
        k, m = _element(step, b - a)
        dof = slice(2 * i, 2 * i + 4)
        stiff[dof, dof] += k
        mass[dof, dof] += m
    mass[0, 0] += tip_mass
    held = [2 * int(np.abs(nodes - at).argmin()) for at in supports]
    if clamp is not None:
        j = 2 * int(np.abs(nodes - clamp).argmin())
        held += [j, j + 1]
    free = np.setdiff1d(np.arange(count), held)
    # The largest eigenvalue of K⁻¹ M by repeated multiplication: a few dozen are quicker than all of them.
    inverse = cho_solve(cho_factor(stiff[np.ix_(free, free)]), mass[np.ix_(free, free)])
    shape, before, size = np.ones(len(free)), 0.0, 0.0
    for _ in range(500):
        shape = inverse @ shape
        size = float(np.linalg.norm(shape))
        shape /= size
        if abs(size - before) <= 1e-13 * size:
            break
        before = size
    return float(1 / (2 * np.pi * np.sqrt(size)))


def _element(step: Stretch, size: float) -> tuple[Floats, Floats]:
    """(4, 4) stiffness and mass of an element, for deflection and rotation at its two ends."""
    ln = size
    f = 12 * step.stiff * step.shear / ln**2
    k = (
        step.stiff
        / ((1 + f) * ln**3)
        * np.array(
            [
                [12, 6 * ln, -12, 6 * ln],
                [6 * ln, (4 + f) * ln**2, -6 * ln, (2 - f) * ln**2],
                [-12, -6 * ln, 12, -6 * ln],
                [6 * ln, (2 - f) * ln**2, -6 * ln, (4 + f) * ln**2],
            ]
        )
    )
    m1, m2 = 13 / 35 + 7 * f / 10 + f * f / 3, (11 / 210 + 11 * f / 120 + f * f / 24) * ln
    m3, m4 = 9 / 70 + 3 * f / 10 + f * f / 6, -(13 / 420 + 3 * f / 40 + f * f / 24) * ln
    m5, m6 = (1 / 105 + f / 60 + f * f / 120) * ln**2, -(1 / 140 + f / 60 + f * f / 120) * ln**2
    m7, m8 = 6 / 5, (1 / 10 - f / 2) * ln
    m9, m10 = (2 / 15 + f / 6 + f * f / 3) * ln**2, (-1 / 30 - f / 6 + f * f / 6) * ln**2
    moved = np.array([[m1, m2, m3, m4], [m2, m5, -m4, m6], [m3, -m4, m1, -m2], [m4, m6, -m2, m5]])
    turned = np.array([[m7, m8, -m7, m8], [m8, m9, -m8, m10], [-m7, -m8, m7, -m8], [m8, m10, -m8, m9]])
    return k, (step.mass * ln * moved + step.turning / ln * turned) / (1 + f) ** 2
