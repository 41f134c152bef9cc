"""Regrinds by a general mesh boolean library, and gaps at the wheel by a general collision library.

manifold3d and python-fcl were run, not read. Trade facts: what a blunter nose costs is taken from two straight bevels.
"""

import fcl
import manifold3d as m3
import numpy as np
import pytest

from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.machine.bodies import Box
from gougeform.machine.standing import least_gaps, tool_bodies
from gougeform.measure.edge import measure_edge
from gougeform.measure.regrind import regrinds
from gougeform.mesh.solid import build_solid
from gougeform.recipe.change import changed
from gougeform.recipe.reading import load

SOURCE = "manifold3d and python-fcl, general mesh and collision libraries; two straight bevels (derived)"
HEAD_MM = 40.0
FOOT = "finial-round-10-fingernail-foot"
CASES = [
    (FOOT, {"grind.0.nose_angle_deg": 33.0}, {"grind.0.nose_angle_deg": 40.0}),
    (FOOT, {"grind.0.nose_angle_deg": 40.0}, {"grind.0.nose_angle_deg": 33.0}),
    (FOOT, {"grind.0.nose_angle_deg": 40.0, "grind.0.wing_length_mm": 6.0}, {"grind.1": "relief"}),
    ("baluster-square-10-fingernail-rod", {"grind.0.nose_angle_deg": 45.0}, {}),
    ("finial-round-10-plain-table", {}, {"grind.0.nose_angle_deg": 45.0}),
]


def mesh(gouge, back=0.0):
    solid = build_solid(gouge, 0.001)
    points = solid.vertices - [0.0, 0.0, back]
    whole = m3.Manifold(m3.Mesh64(points.astype(np.float64), solid.faces.astype(np.uint64)))
    # The head alone: held back, the flute's run-out and the bar's end move too, and are no part of a regrind.
    return whole ^ m3.Manifold.cube([40, 40, HEAD_MM + 10]).translate([-20, -20, -HEAD_MM])


@pytest.mark.parametrize(("name", "before", "after"), CASES)
def test_steel_of_a_regrind_is_the_old_solid_less_the_new_one(name, before, after, agree):
    """The old tool less the new one, held back by what the regrind costs: volumes within 0.1 %."""
    old, new = (shape(changed(load(name), change)) for change in (before, after))
    solid = mesh(old)
    for row in regrinds(old, new):
        taken = (solid - mesh(new, row.nose_loss)).volume()
        within = max(0.001 * row.steel, 0.02)
        agree("steel of a regrind: old solid less the new one", row.steel, taken, within, "mm³")


@pytest.mark.parametrize(("name", "before", "after"), [CASES[0], CASES[4]])
def test_a_regrind_is_held_back_by_no_more_than_is_asked(name, before, after, agree):
    """Independent of how it is found: a hair less held back, and the new surface leaves the old steel somewhere."""
    old, new = (shape(changed(load(name), change)) for change in (before, after))
    *_, whole = regrinds(old, new)
    assert whole.nose_loss > 0.01
    face = mesh(new, whole.nose_loss - 0.01)
    outside = (face - mesh(old)).volume() - (mesh(new, whole.nose_loss) - mesh(old)).volume()
    assert outside > 0


def test_blunter_costs_the_difference_of_two_straight_bevels(agree):
    """t (cot old - cot new) of length for t of steel below the nose: 6.3 (cot 33° - cot 40°) = 2.193 mm all the way.

    On a flat belt the bevels are straight. On a wheel their chords stand steeper by asin(c / 2R) each, and it is less.
    """
    for wheel, allowed in (("belt-50", 1e-3), ("wheel-200", 2e-3)):
        plain = changed(load(FOOT), {"wheel": wheel, "flute.web_mm": 6.3, "grind.0.nose_angle_deg": 33.0})
        old, new = shape(plain), shape(changed(plain, {"grind.0.nose_angle_deg": 40.0}))
        touching, _, whole = regrinds(old, new)
        curve = old.ground.passes[0].wheel.curvature
        far = [6.3 / np.tan(_chord(np.radians(angle), curve)) for angle in (33.0, 40.0)]
        agree("length lost going from 33° to 40°, all the way", whole.in_middle, far[0] - far[1], allowed, "mm")
        assert touching.in_middle == 0
        if curve == 0:
            assert whole.in_middle == pytest.approx(2.193, abs=1e-3)


def _chord(angle, curve, thick=6.3):
    """The chord's angle (rad) of an arc that begins at an angle and goes through `thick` of steel, by halving."""
    low, high = angle, angle + 0.5
    for _ in range(60):
        middle = (low + high) / 2
        chord = thick / np.sin(middle)
        low, high = (middle, high) if middle - np.arcsin(chord * curve / 2) < angle else (low, middle)
    return (low + high) / 2


def test_a_first_land_costs_its_own_wedge(agree):
    """A 2 mm land at 40° on a 35° bevel: L sin(40° - 35°) / sin 35° = 0.304 mm of length (two straight bevels)."""
    plain = changed(load(FOOT), {"grind.0.nose_angle_deg": 35.0})
    (row,) = regrinds(shape(plain), shape(changed(plain, {"grind.0.nose_angle_deg": 40.0})), (2.0,))
    agree("length lost for a 2 mm land, 35° to 40°", row.in_middle, 2 * np.sin(np.radians(5)) / np.sin(np.radians(35)),
          0.02, "mm")  # fmt: skip


# ---- gaps

_Z_TO_Y = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])


def wheel_of(wheel):
    radius = 1 / wheel.curvature
    return fcl.CollisionObject(fcl.Cylinder(radius, 2 * wheel.half_width), fcl.Transform(_Z_TO_Y, [-radius, 0.0, 0.0]))


def solid_of(solid):
    """A box or a cylinder of the library, and its own placement."""
    if isinstance(solid, Box):
        return fcl.Box(*(2 * solid.half)), np.eye(3), solid.centre
    way = solid.end - solid.start
    long = np.linalg.norm(way)
    axis = way / long
    side = np.cross(axis, np.eye(3)[np.abs(axis).argmin()])
    side /= np.linalg.norm(side)
    turn = np.stack([side, np.cross(axis, side), axis], 1)
    return fcl.Cylinder(solid.radius, long), turn, (solid.start + solid.end) / 2


def apart(wheel, body, pose):
    """(n,) mm by the library; NaN where it says that they meet."""
    made, turn, middle = solid_of(body.solid)
    at = body.frame(pose)
    out = np.full(at.shift.shape[1], np.nan)
    for i in range(len(out)):
        place = fcl.Transform(at.turn[:, :, i] @ turn, at.turn[:, :, i] @ middle + at.shift[:, i])
        found = fcl.distance(wheel, fcl.CollisionObject(made, place), fcl.DistanceRequest(), fcl.DistanceResult())
        out[i] = found if found > 0 else np.nan
    return out


def set_ups(count):
    """Random set-ups whose wheel has sharp corners, which the library has as a shape."""
    rng = np.random.default_rng(12)
    names = [FOOT, "finial-round-10-fingernail-rod", "finial-round-10-plain-rod", "finial-round-10-plain-table",
             "baluster-square-10-fingernail-foot", "baluster-square-10-plain-rod"]  # fmt: skip
    made = 0
    while made < count:
        name = names[made % len(names)]
        change = {
            "wheel.corner_radius_mm": 0.0,
            "wheel.diameter_mm": float(rng.uniform(120, 300)),
            "jig.projection_mm": float(rng.uniform(45, 110)),
        }
        try:
            gouge = shape(changed(load(name), change))
            edge = measure_edge(gouge)
        except InputError:
            continue
        made += 1
        yield gouge, edge


def test_gaps_are_those_of_a_collision_library(agree):
    """100 random set-ups: every body at places of the path, and the least gap of the whole path."""
    for gouge, edge in set_ups(100):
        one, grind, rig = gouge.ground.passes[0], gouge.recipe.grinds[0], gouge.jigs[0]
        heel = -float(np.nanmin(edge.heel_line[2]))
        bodies = (
            *grind.jig.bodies(gouge.section, rig),
            *tool_bodies(gouge.section.outline, heel, gouge.recipe.bar.length_mm, gouge.recipe.handle, one.setback),
        )
        wheel = wheel_of(one.wheel)
        pose = one.path.pose(np.linspace(*one.path.knots[[0, -1]], 15))
        least = np.inf
        for body in bodies:
            ours, theirs = body.gaps(one.wheel, pose)[0], apart(wheel, body, pose)
            both = np.isfinite(theirs)
            agree("gap of a body to the wheel", ours[both], theirs[both], 0.01, "mm")
            assert (ours[~both] < 0.01).all()
            least = min(least, np.nanmin(theirs, initial=np.inf) if both.all() else 0.0)
        # The least of the whole path is no more than that of any place on it.
        assert least_gaps(one.path, one.wheel, bodies)[0].mm <= least + 0.01
