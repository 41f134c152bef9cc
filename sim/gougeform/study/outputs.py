"""What a study can compute of one tool: every output by its column's name, each from the same measures as a single run.

Only what is asked for is computed: an edge costs some milliseconds, a volume a tenth of a second.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.grind.gouge import Gouge, shape
from gougeform.measure.measures import CHEEK_AT_MM, WING_PER_CENT, Measures, measure, setting_table
from gougeform.reach.body import Body, build_body
from gougeform.reach.cove import tightest_cove
from gougeform.reach.result import Reach, reach
from gougeform.read.library import nearest
from gougeform.recipe.model import Recipe
from gougeform.stiffness.beam import Beam, beam_of
from gougeform.study.question import Question

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Tool:
    """One tool with its measures, each computed when first asked for and at most once."""

    recipe: Recipe
    question: Question

    @cached_property
    def gouge(self) -> Gouge:
        """The ground tool. Raises InputError where it cannot be ground."""
        return shape(self.recipe)

    @cached_property
    def measures(self) -> Measures:
        """Its measures. Raises InputError where a person could not make this grind."""
        return measure(self.gouge)

    @cached_property
    def setting(self) -> dict[str, float | None]:
        """How the machine is set for the first grind."""
        return setting_table(self.gouge.settings[0])

    @cached_property
    def beam(self) -> Beam:
        """The tool as a beam over the rest."""
        return beam_of(self.recipe, self.gouge.section)

    @cached_property
    def give(self) -> float:
        """Movement of the edge in the softer direction by a force of 1 N there, mm."""
        return float(np.linalg.eigvalsh(self.beam.give(self.question.overhang_mm))[-1])

    @cached_property
    def reach(self) -> Reach:
        """The tool along the question's workpiece."""
        assert self.question.work is not None  # the reader of a study sees to it
        return reach(self.gouge, self.question.work, self.question.terms, body=self.body)

    @cached_property
    def body(self) -> Body:
        """The tool as what the wood can touch."""
        return build_body(self.gouge)

    @property
    def depth_reached(self) -> float:
        """How deep the deepest place lies that is reached, mm; 0 where none is."""
        return 0.0 if self.reach.deepest is None else self.reach.deepest["depth_mm"]

    def at_reached(self, column: Floats, most: bool) -> float | None:
        """The largest or smallest value of a column (n, 2) at the better feed of the places that are reached."""
        found = column[np.arange(len(column)), self.reach.either][self.reach.reached]
        found = found[np.isfinite(found)]
        return None if not len(found) else float(found.max() if most else found.min())


@dataclass(frozen=True)
class Output:
    """One column: its group, what it is, and how it follows from a tool (None where it has no meaning there)."""

    group: str
    text: str
    of: Callable[[Tool], float | None]


def _wing_angle(per_cent: int) -> Callable[[Tool], float]:
    return lambda tool: tool.measures.wing_angles[per_cent]


def _cheek(behind: int) -> Callable[[Tool], float]:
    return lambda tool: tool.measures.cheeks[behind]


def _setting(name: str) -> Callable[[Tool], float | None]:
    return lambda tool: tool.setting[name]


OUTPUTS: dict[str, Output] = {
    "centre_distance_mm": Output("settings", "wheel's centre to pocket or rod", _setting("centre_distance_mm")),
    "rim_distance_mm": Output("settings", "wheel's rim to pocket or rod", _setting("rim_distance_mm")),
    "contact_deg": Output("settings", "where on the wheel the nose is ground", _setting("contact_deg")),
    "nose_angle_deg": Output("edge", "wedge angle at the nose", lambda tool: tool.measures.nose_angle),
    **{f"wing_angle_{p}_deg": Output("edge", f"wedge angle at {p} % of a wing", _wing_angle(p)) for p in WING_PER_CENT},
    "wing_length_left_mm": Output("edge", "nose to left lip", lambda tool: tool.measures.edge.wing_length(-1)),
    "wing_length_right_mm": Output("edge", "nose to right lip", lambda tool: tool.measures.edge.wing_length(1)),
    "edge_length_mm": Output("edge", "whole edge", lambda tool: tool.measures.edge.length),
    "bevel_length_mm": Output(
        "edge", "edge to heel at the nose", lambda tool: float(tool.measures.edge.bevel[tool.measures.edge.nose])
    ),
    "hollow_depth_mm": Output(
        "edge",
        "depth of the bevel's hollow at the nose",
        lambda tool: tool.measures.edge.nose_hollow,
    ),
    "land_mm": Output("edge", "land at the nose, where there is a relief", lambda tool: tool.measures.land),
    "overcut_mm": Output("edge", "cut past the outline asked for", lambda tool: tool.measures.edge.overcut),
    "nose_loss_mm": Output("edge", "how much shorter the tool gets", lambda tool: tool.measures.nose_loss),
    **{
        f"cheek_width_{d}_mm": Output("cheeks", f"width under the edge {d} mm behind the nose", _cheek(d))
        for d in CHEEK_AT_MM
    },
    "steel_removed_mm3": Output("steel", "steel ground away", lambda tool: tool.measures.steel_removed),
    "steel_removed_g": Output(
        "steel",
        "its mass",
        lambda tool: tool.measures.steel_removed * tool.recipe.bar.steel.density_g_cm3 / 1000,
    ),
    "stiffness_n_mm": Output("stiffness", "force at the edge for 1 mm, at overhang_mm", lambda tool: 1 / tool.give),
    "deflection_mm": Output(
        "stiffness", "movement of the edge by force_n, at overhang_mm", lambda tool: tool.give * tool.question.force_n
    ),
    "hand_force_n": Output(
        "stiffness",
        "force at the rear hand for force_n at the edge",
        lambda tool: tool.beam.hand_force(tool.question.overhang_mm, tool.question.force_n),
    ),
    "frequency_hz": Output(
        "stiffness",
        "first natural frequency, at overhang_mm",
        lambda tool: tool.beam.frequency(tool.question.overhang_mm),
    ),
    "reached_mm": Output("reach", "length of profile reached", lambda tool: tool.reach.length_mm),
    "reached_percent": Output(
        "reach", "its part of the profile", lambda tool: 100 * tool.reach.length_mm / tool.reach.whole_mm
    ),
    "depth_reached_mm": Output("reach", "depth of the deepest place reached", lambda tool: tool.depth_reached),
    "clearance_mm": Output(
        "reach",
        "smallest gap between wood and tool behind the heel, where it reaches",
        lambda tool: tool.at_reached(tool.reach.clearance, most=False),
    ),
    "overhang_needed_mm": Output(
        "reach",
        "largest overhang over the rest, where it reaches",
        lambda tool: tool.at_reached(tool.reach.overhang, most=True),
    ),
    "tightest_cove_mm": Output(
        "cove",
        "smallest radius of a cove that it follows",
        lambda tool: tightest_cove(tool.body, tool.question.limit_deg).radius,
    ),
}
"""Every output a study can have, by the name of its column."""

GROUPS = tuple(dict.fromkeys(output.group for output in OUTPUTS.values()))
"""Groups of outputs that can be asked for by one word."""

_CHUNK = {"settings": 16, "edge": 16, "cheeks": 2, "steel": 2, "stiffness": 16, "reach": 1, "cove": 1}
"""Tools handed to a process at a time: about a tenth of a second's work, the most that a kill can cost."""


def named(words: Sequence[str], field: str = "outputs", file: str = "") -> tuple[str, ...]:
    """The outputs meant by names and groups, in the order given, each once.

    Raises InputError for a word that is neither.
    """
    found: dict[str, None] = {}
    for word in words:
        if word in GROUPS:
            found.update(dict.fromkeys(name for name, output in OUTPUTS.items() if output.group == word))
        elif word in OUTPUTS:
            found[word] = None
        else:
            close = nearest(word, [*OUTPUTS, *GROUPS])
            raise InputError(
                field,
                f'given "{word[:60]}", which is no output of a study',
                (f'did you mean "{close}"? ' if close else "") + "`gougeform study --outputs` lists all of them",
                file,
            )
    return tuple(found)


def chunk_size(names: Sequence[str]) -> int:
    """How many tools to compute at a time when these outputs are asked for."""
    return min(_CHUNK[OUTPUTS[name].group] for name in names)


def compute(recipe: Recipe, names: Sequence[str], question: Question | None = None) -> dict[str, float]:
    """The outputs of one tool; NaN where one has no meaning.

    Raises InputError where the tool cannot be ground, or the question cannot be put to it.
    """
    tool = Tool(recipe, question or Question())
    _ = tool.measures  # a grind that nobody can make is refused, whatever is asked of it
    values = ((name, OUTPUTS[name].of(tool)) for name in names)
    return {name: math.nan if value is None else float(value) for name, value in values}
