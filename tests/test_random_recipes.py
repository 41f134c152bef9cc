"""Whatever is typed into a recipe gives a closed mesh with sensible measures, or a refusal in words; nothing else.

GOUGEFORM_CASES sets how many recipes are drawn; a refused or broken one is shrunk by hypothesis, which prints it and
the seed. `pytest -s` shows the figures of a run. Found failures stay in FOUND.
"""

from __future__ import annotations

import math
import os
import re
import signal
import sys
import time
from collections import Counter
from dataclasses import dataclass, field

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

import recipes
import solids
from conftest import tool_table
from gougeform.bar.curves import VeeCurve
from gougeform.bar.section import build_section
from gougeform.errors import InputError
from gougeform.grind.gouge import Gouge, shape
from gougeform.machine.solid import WheelSolid
from gougeform.measure import columns
from gougeform.measure.fan import build_fan
from gougeform.measure.measures import Measures, measure, result
from gougeform.measure.volume import head_volume_mm3
from gougeform.mesh import solid as solid_module
from gougeform.mesh.solid import Solid, build_solid
from gougeform.read.toml import parse_toml
from gougeform.recipe.model import Recipe
from gougeform.recipe.reading import from_table
from gougeform.recipe.write import to_toml

LIMIT_S = 10.0
TINY = 1e-6
"""mm: below this a negative length or loss is rounding."""


@dataclass
class Tally:
    """The figures of a run."""

    ground: int = 0
    meshed: int = 0
    refused: Counter[str] = field(default_factory=Counter)
    slowest: list[tuple[float, str]] = field(default_factory=list)
    worst: dict[str, tuple[float, str]] = field(default_factory=dict)

    @property
    def total(self) -> int:
        return self.ground + self.refused.total()

    def error(self, name: str, value: float, table: object) -> None:
        if not value <= self.worst.get(name, (-math.inf, ""))[0]:
            self.worst[name] = (value, repr(table))

    def took(self, seconds: float, table: object) -> None:
        self.slowest = sorted([*self.slowest, (seconds, repr(table))], key=lambda one: -one[0])[:3]

    def __str__(self) -> str:
        lines = [f"{self.total} recipes, {self.ground} ground ({100 * self.ground / max(self.total, 1):.1f} %),"]
        lines[0] += f" {self.meshed} of them meshed"
        lines += [f"  {count:6d} refused: {why}" for why, count in self.refused.most_common(40)]
        lines += [f"  slowest {seconds:.2f} s of processor time: {table[:6000]}" for seconds, table in self.slowest]
        lines += [f"  largest {name}: {value:.3g} {table[:6000]}" for name, (value, table) in self.worst.items()]
        return "\n".join(lines)


def within(seconds: float) -> None:
    """Stop what runs longer than that on the processor (where the system can)."""

    def stop(number: int, frame: object) -> None:
        raise AssertionError(f"took more than {seconds} s of processor time")

    signal.signal(signal.SIGPROF, stop)
    signal.setitimer(signal.ITIMER_PROF, seconds)


EDGE, WHOLE, FINE = "edge", "whole", "fine"
LOOKS = [EDGE] * 28 + [WHOLE] * 4 + [FINE]
"""How much of a ground tool is looked at: the edge alone (30 ms), all numbers and a coarse mesh, or the usual mesh."""


def survives(table: recipes.Table, tally: Tally, look: str) -> None:
    """The whole property of one recipe."""
    begin = time.process_time()
    within(2 * LIMIT_S if look == WHOLE else LIMIT_S)  # too few columns can cost more rounds than the usual ones
    try:
        try:
            recipe = from_table(table)
            measures = measure(shape(recipe))
            found = {} if look == EDGE else result(measures, [])
            solid = None if look == EDGE else mesh(measures.gouge, fine=look == FINE)
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0)
    except InputError as error:
        assert_said(error)
        tally.refused[reason(error)] += 1
        return
    tally.took(time.process_time() - begin, table)
    tally.ground += 1
    assert from_table(parse_toml(to_toml(recipe).encode(), "")) == recipe
    assert_edge(recipe, measures, tally, table)
    if solid is not None:
        tally.meshed += 1
        assert_numbers(recipe, measures, found, tally, table)
        assert_solid(measures, solid, tally, table, honest=look == FINE)


def mesh(gouge: Gouge, *, fine: bool) -> Solid:
    """At the usual tolerance with all its columns, or a coarse one, which takes a tenth of the time."""
    if fine:
        return build_solid(gouge)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(columns, "EDGE_STEPS", 40)
        patch.setattr(solid_module, "ROUND_STEPS", 44)
        patch.setattr(columns, "ROUND_STEPS", 44)
        bulk = float(np.abs(gouge.section.outline.start).max())
        return build_solid(gouge, float(np.clip(0.05 * bulk, 1e-4, 1.0)))


def reason(error: InputError) -> str:
    """A refusal without its numbers."""
    name = re.sub(r"\.\d+", ".#", error.field)
    return f"{name}: {re.sub(r'-?[0-9][0-9.]*(e[+-]?[0-9]+)?', '#', error.problem)[:90]}"


def assert_said(error: InputError) -> None:
    assert error.field
    assert error.problem
    assert error.hint
    text = f"{error.field} {error.problem} {error.hint}"
    given_nan = re.search(r"given \[?(-?\d[\d.e+-]*, )?(-?nan|-?inf)", text)  # a person may have written it
    assert given_nan or not re.search(r"\b(nan|inf)\b|Traceback|None|np\.|array\(", text), text
    assert len(text) < 600, text


def reach_mm(measures: Measures) -> float:
    """No two places of the ground face are further apart."""
    edge, outline = measures.edge, measures.gouge.section.outline
    size = sum(outline.support(way) for way in ((1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0)))
    both = np.concatenate([edge.point[2], edge.heel_line[2]])
    return float(size + np.ptp(both))


def assert_edge(recipe: Recipe, measures: Measures, tally: Tally, table: object) -> None:
    """Angles and lengths along the edge: finite but for what may be blank, and none beyond what the bar allows."""
    edge, long = measures.edge, reach_mm(measures)
    assert np.isfinite(edge.point).all()
    assert np.isfinite(edge.wedge).all()
    assert ((edge.wedge > 0) & (edge.wedge < 180)).all()
    for unit in (edge.normal, edge.tangent):
        assert np.abs(np.linalg.norm(unit, axis=0) - 1).max() < 1e-9
    assert np.abs((edge.normal * edge.tangent).sum(0)).max() < 1e-9
    assert (np.diff(edge.arc) > 0).all()
    assert edge.length >= float(np.linalg.norm(edge.point[:, 0] - edge.point[:, -1])) - TINY
    # Bevel and land may be blank where their plane does not meet heel or crease.
    for name, values in (("bevel", edge.bevel), ("land", edge.land)):
        there = values[~np.isnan(values)]
        assert np.isfinite(there).all(), name
        assert ((there >= 0) & (there <= long)).all(), name
    assert edge.bevel[edge.nose] > 0
    assert -TINY <= edge.overcut <= 0.1
    first = recipe.grinds[0]
    if first.path.path == "traced":
        # On a wall that leans inward the outline ends where the flute is widest, and the lip is where it comes out.
        ends = measures.gouge.outline.at(np.array([-1.0, 1.0]))[0]
        for side in (1, -1):
            if np.hypot(*(ends[:2] - edge.point[:2, [0, -1]])[:, (side + 1) // 2]) > 1e-6:
                continue
            assert edge.wing_length(side) == pytest.approx(first.path.wing_length_mm, abs=2 * edge.overcut + TINY)
        if first.jig.kind == "foot" and first.jig.nose_angle_deg is not None and edge.overcut < 1e-9:
            tally.error("nose angle deg off", abs(measures.nose_angle - first.jig.nose_angle_deg), table)
    if len(recipe.grinds) > 1 and (edge.cut.grind == 0).all():
        wanted = min(grind.land_mm for grind in recipe.grinds[1:] if grind.land_mm is not None)
        assert measures.land is not None
        if abs(measures.land - wanted) <= 0.01:
            tally.error("land mm off at the nose", abs(measures.land - wanted), table)
        else:  # too hollow a relief, or a nose with a kink from rolling: then it must be said
            assert any(f"{wanted:g} mm were asked" in note or f"{wanted:g} mm asked" in note for note in measures.notes)


def assert_numbers(recipe: Recipe, measures: Measures, found: dict, tally: Tally, table: object) -> None:
    """The numbers of result.json."""
    outline, long = measures.gouge.section.outline, reach_mm(measures)
    wide = outline.support((1.0, 0.0)) + outline.support((-1.0, 0.0))
    tall = outline.support((0.0, 1.0)) + outline.support((0.0, -1.0))
    hollow = measures.edge.hollow[~np.isnan(measures.edge.hollow)]
    assert (np.abs(hollow) <= long).all()
    flat = plain_numbers(found)
    # Rolling far can leave more than one surface over the chord at the nose.
    none = {name for name, value in found.items() if value is None}
    assert none <= {"hollow_depth_mm", "land_mm", "centre_distance_mm", "rim_distance_mm", "contact_deg"}
    # A relief that takes the whole nose leaves no land there, and says so.
    if "land_mm" in none:
        assert any("no land is found where" in note for note in measures.notes)
    for name, value in flat.items():
        assert math.isfinite(value), name
    for name in ["nose_angle_deg", *(f"wing_angle_deg.{p}" for p in (25, 50, 75, 95))]:
        assert 0 < flat[name] < 180
    for side in ("left", "right"):
        assert abs(flat[f"wing_length_mm.{side}"]) <= recipe.bar.length_mm
    assert ("land_mm" in found) == (len(recipe.grinds) > 1)
    for d in (3, 5, 10):
        assert -TINY <= flat[f"cheek_width_mm.{d}"] <= wide + TINY
        assert 0 < flat[f"edge_width_mm.{d}"] <= wide + TINY
    for d in (5, 10, 15):
        past, below = flat[f"cheek_past_edge_mm.{d}"], flat[f"cheek_past_edge_below_mm.{d}"]
        assert 0 <= below <= past + TINY
        assert past <= wide + TINY
    assert -TINY <= found["nose_loss_mm"] <= long
    assert -TINY <= found["steel_removed_mm3"] <= wide * tall * (long + found["nose_loss_mm"])
    density = recipe.bar.steel.density_g_cm3
    assert found["steel_removed_g"] == pytest.approx(found["steel_removed_mm3"] * density / 1000)


def plain_numbers(found: dict, before: str = "") -> dict[str, float]:
    out = {}
    for name, value in found.items():
        if isinstance(value, dict):
            out |= plain_numbers(value, f"{before}{name}.")
        elif isinstance(value, int | float):
            out[before + name] = float(value)
        elif isinstance(value, list) and name == "relief":
            for i, one in enumerate(value):
                out |= plain_numbers(one, f"{before}relief.{i}.")
    return out


def assert_solid(measures: Measures, solid: Solid, tally: Tally, table: object, *, honest: bool) -> None:
    """Closed, outward, unfolded, of the volume of the height integral, and honest: as close to the surface as it says.

    What a mesh states is found at places laid close enough for the usual number of columns; fewer see less.
    """
    gouge = measures.gouge
    grinds = len(gouge.ground.passes)
    assert np.isfinite(solid.vertices).all()
    solids.assert_closed(solid)
    solids.assert_no_fold(solid)
    solids.assert_lines_are_edges(solid)
    off = solids.deviation(solid, gouge, np.random.default_rng(1), 300)
    if honest:
        tally.error("deviation as a share of what is stated", off / solid.tolerance, table)
        assert off <= solid.tolerance

    bar = gouge.recipe.bar.length_mm
    end = solid.vertices[solid.faces[solid.surface == len(solid.names) - 1]]
    a, b = end[:, 1, :2] - end[:, 0, :2], end[:, 2, :2] - end[:, 0, :2]
    area = float(np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum() / 2)
    assert 0 < solid.volume < area * (bar + max(float(solid.vertices[:, 2].max()), 0.0)) * 1.001
    depth = max(gouge.recipe.flute.length_mm, -1.01 * float(solid.vertices[solid.heel, 2].min()))
    exact = head_volume_mm3(gouge, depth)
    head = solids.head_volume(solid, depth, grinds)
    ground = solid.surface < grinds
    corner = solid.vertices[solid.faces[ground]]
    cross = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    surface = float(np.linalg.norm(cross, axis=1).sum() / 2)
    # No facet is further off than stated, nor is the polygon from the section.
    rim = float(np.linalg.norm(np.diff(solid.vertices[solid.heel][:, :2], axis=0), axis=1).sum())
    rim += float(np.linalg.norm(np.diff(solid.vertices[solid.edge][:, :2], axis=0), axis=1).sum())
    allowed = (solid.tolerance if honest else 2 * solid.tolerance) * (1.1 * surface + 1.1 * rim * depth) + 1e-9 * exact
    tally.error("volume off as a share of what is allowed", abs(head - exact) / allowed, table)
    assert abs(head - exact) <= allowed


TALLY = Tally()
HEPTAGON = [[5 * math.sin(2 * math.pi * (i + 0.3) / 7), 5 * math.cos(2 * math.pi * (i + 0.3) / 7)] for i in range(7)]
FOUND = {
    # The pointed crease was joined by cubics past the middle plane, and the land at the nose was 0.8 mm short.
    "a relief on a lopsided bar": (
        "foot-relief",
        {"bar": {"outline": "points", "points_mm": HEPTAGON, "length_mm": 150.0}, "grind.0.fullness": 0.25},
        EDGE,
    ),
    # Lines all but square to the wheel's axis leave through its sides beyond the largest number there is.
    "a contact next to the middle": ("foot-relief", {"grind.0.contact_mm": -6.7e-307}, EDGE),
    # Products of two lengths vanished.
    "a bar of nothing": ("foot", {"bar.diameter_mm": 5e-324}, EDGE),
    "a vee clamp that is shut": ("foot", {"jig.clamp": "vee", "jig.vee_deg": 5e-324}, EDGE),
    "a flute's floor of no radius": (
        "foot",
        {
            "flute": {
                "shape": "ellipse",
                "floor_radius_mm": 5e-324,
                "half_width_mm": 3.0,
                "web_mm": 6.0,
                "length_mm": 60,
            }
        },
        EDGE,
    ),
    # Tables of lines times knots took a gigabyte and 13 s.
    "a large bar on a narrow belt": (
        "foot-relief",
        {
            "bar": {"outline": "square", "side_mm": 200.0, "corner_radius_mm": 1.25, "length_mm": 400.0},
            "flute": {
                "shape": "vee",
                "floor_radius_mm": 1.2,
                "flank_angle_deg": 32.8,
                "web_mm": 2.7,
                "length_mm": 24.8,
            },
            "wheel": {"kind": "belt", "width_mm": 22.4, "corner_radius_mm": 1.0},
            "jig.arm_cant_deg": 55.7,
            "jig.nose_angle_deg": 65.0,
            "grind.0.wing_length_mm": 2.14,
            "grind.1.nose_angle_deg": 48.3,
        },
        EDGE,
    ),
}
"""Changes to the tests' own tools that once broke the program, and how much was looked at when it broke."""
# On a coarse mesh a block of one grind had to be parted at more vertices than it had inside.
COARSE = {
    "bar": {"outline": "square", "side_mm": 20.0, "length_mm": 334.1593803525062},
    "flute": {"length_mm": 103.9, "web_mm": 14.367259332361673, "shape": "parabola", "floor_radius_mm": 4.923349625},
    "wheel": {"width_mm": 49.08, "diameter_mm": 111.90816860977306},
    "jig": {
        "kind": "foot", "projection_mm": 40.0, "hinge_back_mm": 0.29, "hinge_drop_mm": 0.47310980017987614,
        "height_mm": 11.76613477190406, "arm_length_mm": 128.94806014510118, "arm_cant_deg": 25.4,
        "nose_angle_deg": 25.395215213885216,
    },
    "grind": [
        {"wing_length_mm": 11.417298365518832, "shoulder": 0.9680585961999926},
        {"land_mm": 2.5795396870898517, "nose_angle_deg": 17.333404417295785},
    ],
}  # fmt: skip


@pytest.fixture(scope="module", autouse=True)
def figures():
    yield
    sys.stdout.write(f"\n{TALLY}\n")
    if TALLY.total >= 1000:
        assert TALLY.ground >= 0.35 * TALLY.total, "too few of the recipes are ground for the test to mean much"


@settings(
    max_examples=recipes.cases(300),
    database=None,
    derandomize="GOUGEFORM_CASES" not in os.environ,  # the same 300 every time; by hand others every time
    deadline=None,
    print_blob=True,
    phases=[Phase.explicit, Phase.generate, Phase.shrink],
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much],
)
@given(recipes.tables(), st.sampled_from(LOOKS))
def test_a_random_recipe_is_ground_or_refused(table, look):
    survives(table, TALLY, look)


@pytest.mark.parametrize("name", FOUND)
def test_what_once_broke_it(name):
    base, edits, look = FOUND[name]
    tally = Tally()
    survives(changed_table(tool_table(base), edits), tally, look)
    assert tally.total == 1
    if name == "a relief on a lopsided bar":
        assert tally.worst["land mm off at the nose"][0] < 1e-9


ROLLED = {
    "bar": {"outline": "round", "diameter_mm": 5.0, "length_mm": 40.0},
    "flute": {"length_mm": 20.0, "web_mm": 3.75, "shape": "arc", "radius_mm": 2.5},
    "wheel": {"width_mm": 10.0, "diameter_mm": 148.4131591025766},
    "jig": {"kind": "table", "nose_angle_deg": 25.0},
    "grind": [{"path": "steady", "roll_max_deg": 89.0}, {"land_mm": 1.25, "nose_angle_deg": 18.75}],
}


def test_a_relief_that_takes_the_whole_nose_says_that_no_land_is_left():
    tally = Tally()
    survives(ROLLED, tally, WHOLE)
    assert tally.ground == 1


def test_a_tool_never_gets_longer():
    """The new relief takes some micrometres of the nose, the older one as much: 6e-3 mm were gained."""
    older = ROLLED | {"jig": {"kind": "table", "nose_angle_deg": 21.875}}
    far = ROLLED | {"grind": [{"path": "steady", "roll_max_deg": 91.0}, ROLLED["grind"][1]], "older": older}
    tally = Tally()
    survives(far, tally, WHOLE)
    assert tally.ground == 1


def test_a_flute_that_is_a_hole_is_refused():
    """Its circle touches the bar's outline from inside, at the top: the rays of the fan ran along the outline."""
    closed = ROLLED | {"flute": {"length_mm": 20.0, "web_mm": 2.5, "shape": "arc", "radius_mm": 1.25}}
    with pytest.raises(InputError, match="the flute is closed at the top of the bar"):
        shape(from_table(closed))


def test_what_once_broke_the_coarse_mesh():
    tally = Tally()
    survives(COARSE, tally, WHOLE)
    assert tally.meshed == 1


def test_the_same_ray_twice_is_one_column():
    """A crease that ends on the flute's floor, where a column stands already, left a strip of no width."""
    fan = build_fan(from_section())
    kept = columns._placed(fan.lips, fan.corners)
    again = columns._placed(kept, fan.at_flute(np.zeros(1)))
    assert len(again) == len(kept)
    assert (np.diff(again.phi) > 0).all()


def test_flanks_all_but_upright_have_a_slope():
    flute = VeeCurve(2.0, 1e-9, reach=50.0)
    x = 2.0 * np.sin(np.pi / 2 - 1e-9)
    height, slope, bend = flute.height(np.array([0.0, x, 3.0]))
    assert np.isfinite([height, slope, bend]).all()
    assert slope[1] == pytest.approx(1e9)  # the cotangent of the flank


def test_a_line_all_but_square_to_the_wheels_axis():
    wheel = WheelSolid(1 / 100, 20.0, 1.0)
    z, leave, _, surface = wheel.crossing(np.array([[50.0], [1.0], [0.0]]), np.array([[-1.0], [5e-324], [0.0]]))
    assert z[0] == pytest.approx(50)
    assert leave[0] == pytest.approx(250)
    assert surface[0] == 0


def from_section():
    recipe = from_table(tool_table("foot"))
    return build_section(recipe.bar, recipe.flute)


def changed_table(table: recipes.Table, edits: dict) -> recipes.Table:
    """Fields set by dotted name in a plain table, values of any kind."""
    for name, value in edits.items():
        *way, last = (int(step) if step.isdigit() else step for step in name.split("."))
        inside = recipes.at(table, tuple(way))
        if last in recipes.DISTANCES:
            for other in recipes.DISTANCES:
                inside.pop(other, None)
        inside[last] = value
    return table


ENDS = {
    "foot-relief": {}, "rod": {}, "table-steady": {},
    "vee": {"flute": {"shape": "vee", "floor_radius_mm": 1.0, "flank_angle_deg": 30.0, "web_mm": 5.0, "length_mm": 60.0,
                      "run_out_mm": 6.0}},
    "ellipse": {"flute": {"shape": "ellipse", "floor_radius_mm": 3.0, "half_width_mm": 3.6, "web_mm": 6.0,
                          "length_mm": 60.0}},
    "square": {"bar": {"outline": "square", "side_mm": 10.0, "corner_radius_mm": 1.0, "length_mm": 150.0}},
}  # fmt: skip


@pytest.mark.parametrize("name", ENDS)
def test_every_field_at_both_ends_of_what_is_allowed(name):
    table = tool_table(name if name in ("rod", "table-steady") else "foot-relief") | ENDS[name]
    for way in recipes.leaves(table):
        if ENDS[name] and way[0] not in ENDS[name]:
            continue
        low, high = recipes.LIMITS[recipes.field_of(way)]
        for value in (low, high, max(low, 1e-6), math.nextafter(high, math.inf)):
            survives(recipes.put(table, way, value), Tally(), EDGE)
