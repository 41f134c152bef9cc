"""Jigs and paths: every placement against the jig's own three motions, written out from the machine's centre."""

from __future__ import annotations

import numpy as np
import pytest

from gougeform.machine.rig import FootRig, Pivot, RodRig
from gougeform.machine.sweep import _largest_turn

R0 = np.array([[0.0, 0.0, -1.0], [-1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])

TRACED = {
    "foot": ("foot", {}),
    "foot, contact aside": ("foot", {"grind.0.contact_mm": 7.0}),
    "foot, belt": ("foot", {"wheel": {"kind": "belt", "width_mm": 50.0}}),
    "foot, held below": ("foot", {"jig.clamp": "below", "jig.hinge_drop_mm": 3.0}),
    "foot, pocket above": ("foot", {"jig.height_mm": 60.0}),
    "rod": ("rod", {}),
    "rod, contact aside": ("rod", {"grind.0.contact_mm": -6.0}),
    "rod, straight hinge": ("rod", {"jig.hinge_cant_deg": 0.0, "grind.0.wing_length_mm": 2.0}),
    "rod, pointed": ("rod", {"grind.0.wing_length_mm": 15.0, "grind.0.shoulder": 0.3, "grind.0.fullness": 0.3}),
    "rod, belt": ("rod", {"wheel": {"kind": "belt", "width_mm": 50.0}}),
    "table": ("table", {}),
    "table, contact aside": ("table", {"grind.0.contact_mm": 5.0}),
    "table, belt": ("table", {"wheel": {"kind": "belt", "width_mm": 50.0}}),
}
STEADY = {
    "rod": ("rod-steady", {}),
    "rod, canted": ("rod-steady", {"jig.hinge_cant_deg": 25.0}),
    "table": ("table-steady", {}),
    "table, belt": ("table-steady", {"wheel": {"kind": "belt", "width_mm": 50.0}}),
}


def turn_about(axis, angle):
    x = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    return np.eye(3) + np.sin(angle) * x + (1 - np.cos(angle)) * (x @ x)


def ry(dip):
    return np.array([[np.cos(dip), 0, np.sin(dip)], [0, 1, 0], [-np.sin(dip), 0, np.cos(dip)]])


def machine(gouge, points):
    """(3, n) rim-frame points in the machine frame: the rim lies a radius from the centre toward the pivot."""
    one, setting = gouge.ground.passes[0], gouge.settings[0]
    k, angle = one.wheel.curvature, setting.pivot_angle or 0.0
    moved = points + np.array([[0.0 if k == 0 else 1 / k], [0.0], [0.0]])
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, 0, -s], [0, 1, 0], [s, 0, c]]) @ moved


def expected_place(gouge, values, x):
    """The jig's own formula for tool point x (3,) at its motions (degrees, mm), in the machine frame."""
    fields, jig, setting = gouge.recipe.jig, gouge.jigs[0], gouge.settings[0]
    k = gouge.ground.passes[0].wheel.curvature
    reach = jig.rim + (0.0 if k == 0 else 1 / k)
    p = reach * np.array([np.cos(setting.pivot_angle), 0, np.sin(setting.pivot_angle)])
    drop = fields.hinge_drop_mm
    if fields.clamp == "below":
        drop += 5.0  # a round bar of 10 mm: its axis is a radius over the flat
    if isinstance(jig, FootRig):
        cant = np.radians(fields.arm_cant_deg)
        f = [
            0,
            -(drop + fields.arm_length_mm * np.sin(cant)),
            -(fields.projection_mm + fields.hinge_back_mm + fields.arm_length_mm * np.cos(cant)),
        ]
        roll, dip, swing = (np.radians(values[n]) for n in ("roll_deg", "dip_deg", "swing_deg"))
        return p + turn_about([0, 0, 1], swing) @ ry(dip) @ R0 @ turn_about([0, 0, 1], roll) @ (x - f)
    assert isinstance(jig, RodRig)
    cant = np.radians(fields.hinge_cant_deg)
    h = np.array([0, -drop, -(fields.projection_mm + fields.hinge_back_mm)])
    a = np.array([0, np.sin(cant), np.cos(cant)])
    held = np.array([0, fields.shoe_mm, 0]) + turn_about(a, np.radians(values["roll_deg"])) @ (x - h)
    return p + values["slide_mm"] * np.array([0, 1, 0]) + ry(np.radians(values["dip_deg"])) @ R0 @ held


CLAMPED = [c for c in [*TRACED.values(), *STEADY.values()] if not c[0].startswith("table")]


@pytest.mark.parametrize("case", CLAMPED, ids=[f"{n}-{i}" for i, (n, _) in enumerate(CLAMPED)])
def test_placements_are_those_of_the_jigs_motions(tool, case):
    gouge = tool(*case)
    path = gouge.ground.passes[0].path
    s = np.linspace(path.knots[0], path.knots[-1], 23)
    pose = path.pose(s)
    values = gouge.jigs[0].motions(pose, gouge.settings[0].pivot_angle)
    for x in ([0.0, 1.5, 0.0], [3.0, -2.0, -7.0], [-4.0, 5.0, -60.0]):
        point = np.broadcast_to(np.array(x)[:, None], (3, len(s)))
        placed = machine(gouge, pose.place(point))
        for i in range(len(s)):
            wanted = expected_place(gouge, {n: v[i] for n, v in values.items()}, np.array(x))
            np.testing.assert_allclose(placed[:, i], wanted, rtol=0, atol=1e-10 if _finite(gouge) else 1e-8)


def _finite(gouge):
    return gouge.ground.passes[0].wheel.curvature > 0


@pytest.mark.parametrize("name", [n for n in TRACED if n.startswith("table")])
def test_on_a_table_the_bar_lies_on_it(tool, name):
    """The bar axis stays parallel to the table, a fixed height above it; it swings about where the fingers are."""
    gouge = tool(*TRACED[name])
    path, fields = gouge.ground.passes[0].path, gouge.recipe.jig
    s = np.linspace(-1, 1, 31)
    pose = path.pose(s)
    bar = pose.turn[:, 2]
    tilt = np.radians(90 - fields.nose_angle_deg)
    up = np.array([np.sin(tilt), 0, np.cos(tilt)])
    np.testing.assert_allclose(up @ bar, 0, atol=1e-14)
    np.testing.assert_allclose(up @ pose.shift, -gouge.section.y_floor, rtol=0, atol=1e-12)
    # All positions of the bar's axis pass through one point: the least squares point is on every line.
    across = np.eye(3)[:, :, None] - bar[:, None] * bar[None]
    point = np.linalg.solve(across.sum(-1), np.einsum("ijn,jn->i", across, pose.shift))
    off = np.einsum("ijn,jn->in", across, point[:, None] - pose.shift)
    np.testing.assert_allclose(off, 0, atol=1e-10)


@pytest.mark.parametrize("name", TRACED)
def test_a_trace_holds_the_edge_on_the_wheel_and_square_to_it(tool, name):
    gouge = tool(*TRACED[name])
    one = gouge.ground.passes[0]
    s = np.concatenate([[-1, 0, 1], np.random.default_rng(1).uniform(-1, 1, 200)])
    edge, along, _ = gouge.outline.at(s)
    pose = one.path.pose(s)
    at = pose.place(edge)
    tangent = np.einsum("ijn,jn->in", pose.turn, along / np.linalg.norm(along, axis=0))
    k = one.wheel.curvature
    if k:
        np.testing.assert_allclose(np.hypot(at[0] + 1 / k, at[2]), 1 / k, rtol=0, atol=1e-10)
        normal = np.stack([at[0] + 1 / k, 0 * s, at[2]]) * k
    else:
        np.testing.assert_allclose(at[0], 0, atol=1e-10)
        normal = np.array([[1.0], [0], [0]])
    np.testing.assert_allclose((normal * tangent).sum(0), 0, atol=1e-10)
    contact = gouge.recipe.grinds[0].path.contact_mm
    np.testing.assert_allclose(at[1], contact, rtol=0, atol=1e-10)
    # A rigid placement, and the handle stays on the person's side.
    np.testing.assert_allclose(
        np.einsum("ijn,ikn->jkn", pose.turn, pose.turn), np.eye(3)[:, :, None] + 0 * s, atol=1e-12
    )
    np.testing.assert_allclose(np.linalg.det(np.moveaxis(pose.turn, -1, 0)), 1, rtol=0, atol=1e-12)
    assert (pose.turn[0, 2] < 0).all()


@pytest.mark.parametrize("name", [n for n in TRACED if "aside" not in n])
def test_both_wings_are_ground_alike(tool, name):
    """Mirrored placements: the matrix with tool x and machine Y reversed."""
    path = tool(*TRACED[name]).ground.passes[0].path
    s = np.linspace(0, 1, 41)
    right, left = path.pose(s), path.pose(-s)
    flip_tool, flip = np.array([-1.0, 1, 1]), np.array([1.0, -1, 1])
    np.testing.assert_allclose(left.turn, flip[:, None, None] * right.turn * flip_tool[None, :, None], atol=1e-11)
    np.testing.assert_allclose(left.shift, flip[:, None] * right.shift, atol=1e-9)


@pytest.mark.parametrize("case", [*TRACED.values(), *STEADY.values()], ids=[*TRACED, *(f"steady {n}" for n in STEADY)])
def test_the_velocity_is_the_derivative_of_the_placement(tool, case):
    path = tool(*case).ground.passes[0].path
    first, last = path.knots[0], path.knots[-1]
    s = np.random.default_rng(2).uniform(0.97 * first, 0.97 * last, 60)
    s = s[np.abs(s) > 0.01]  # at the nose the outline's third derivative jumps
    x = np.random.default_rng(3).normal(size=(3, len(s))) * 20
    moving = path.moving(s)
    h = 2e-5 * (last - first)
    fast = moving.velocity(moving.pose.place(x))
    slow = (path.pose(s + h).place(x) - path.pose(s - h).place(x)) / (2 * h)
    scale = np.abs(fast).max()
    np.testing.assert_allclose(fast, slow, rtol=0, atol=1e-4 * scale)
    np.testing.assert_allclose(np.median(np.abs(fast - slow)) / scale, 0, atol=1e-6)


@pytest.mark.parametrize("name", STEADY)
def test_steady_means_that_only_the_roll_changes(tool, name):
    gouge = tool(*STEADY[name])
    one = gouge.ground.passes[0]
    s = np.linspace(one.path.knots[0], one.path.knots[-1], 33)
    pose = one.path.pose(s)
    values = gouge.jigs[0].motions(pose, gouge.settings[0].pivot_angle or 0.0)
    np.testing.assert_allclose(values["roll_deg"], np.degrees(s), rtol=0, atol=1e-9)
    for motion, value in values.items():
        if motion != "roll_deg":
            np.testing.assert_allclose(value, value[0], rtol=0, atol=1e-9)
    # At roll 0 the nose just touches.
    nose = one.path.pose(np.zeros(1)).place(np.array([[0.0], [gouge.section.y_floor], [0.0]]))
    assert one.wheel.height(nose)[0] == pytest.approx(0, abs=1e-11)
    assert nose[1, 0] == pytest.approx(0, abs=1e-12)
    assert np.degrees(s[[0, -1]]) == pytest.approx(np.array([-1, 1]) * gouge.recipe.grinds[0].path.roll_max_deg)


def test_at_the_nose_the_tool_stands_upright(tool):
    for base in ("foot", "rod", "table"):
        gouge = tool(base)
        pose = gouge.ground.passes[0].path.pose(np.zeros(1))
        values = gouge.jigs[0].motions(pose, gouge.settings[0].pivot_angle or 0.0)
        for name in set(values) & {"roll_deg", "swing_deg", "slide_mm"}:
            assert values[name][0] == pytest.approx(0, abs=1e-9), (base, name)
        assert pose.turn[0, 2, 0] < 0  # the tip points toward the wheel


def test_a_pointed_nose_gets_closer_knots(tool):
    """Random recipes showed 'no pose' where the roll only changed faster than the knots could follow."""
    plain = tool("rod").ground.passes[0].path
    pointed = tool(*TRACED["rod, pointed"]).ground.passes[0].path
    assert len(plain.knots) == 65
    assert len(pointed.knots) > 65
    for path in (plain, pointed):
        assert _largest_turn(path) < 0.3
        assert path.knots[len(path.knots) // 2] == 0


def test_pivot_settings_invert_each_other():
    rng = np.random.default_rng(4)
    for _ in range(100):
        pivot = Pivot(rng.uniform(60, 200), rng.uniform(-20, 90))
        k = rng.choice([0.0, 1e-7, 1 / 100, 1 / 75])
        across = rng.choice([0.0, 8.0])
        angle = np.radians(rng.uniform(20, 80))
        rim = pivot.rim_distance(angle, k, across)
        assert pivot.nose_angle(rim, k, across) == pytest.approx(angle, abs=1e-12)
    assert np.isnan(pivot.nose_angle(2 * pivot.length + 500, 1 / 100))
