"""What holds the tool at the wheel, as bodies and their poses: the wheel, its spindle, and what the jig says of itself.

Machine frame: origin at the wheel's centre (for a belt on its face), X toward the person, Y along its axis, Z up.
Sizes that no recipe gives (spindle, pocket) are drawn as they usually are.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gougeform.grind.gouge import Gouge
from gougeform.grind.ground import Pass
from gougeform.machine.bodies import Convex, Obstacle, Round
from gougeform.machine.pose import Pose, machine_turn
from gougeform.machine.rig import Rig
from gougeform.machine.solid import WheelSolid
from gougeform.machine.standing import tool_bodies
from gougeform.show.scene import WHOLE, Segments, Thing, pose
from gougeform.show.solids import ball, box, chain, frame_along, joined, rod, steps_round, surface, turned
from gougeform.show.tool import outlines

Floats = NDArray[np.float64]

FREE_LIFT = np.radians(25.0)
"""Where on the wheel the contact is drawn, over the horizontal, of a jig that leaves it free."""
BAR = "the bar"
_BELT_MM = (12.0, 90.0, 160.0)  # thickness, and how far it is drawn below and above the contact
_ROUND_CORNER = 9  # places round the wheel's corner
_ENDLESS_MM = 1000.0  # a bar longer than this is drawn as far as the wheel is wide, and so much more to either side:
_MORE_MM = 60.0
_FOOT_MM = 5.5  # half the ball that stands in a pocket


@dataclass(frozen=True, eq=False)
class Held:
    """One grind on its machine.

    lift: rad, the direction of pocket or rod over the horizontal. radius: mm, 0 for a belt. judged: what may not touch
    the wheel. bodies: what is drawn of the machine; frames: for those of them that move, by name, as `Obstacle.frame`.
    """

    grind: Pass
    rig: Rig
    lift: float
    radius: float
    judged: tuple[Obstacle, ...]
    shown: tuple[Obstacle, ...]
    bodies: tuple[Thing, ...]

    def in_machine(self, at: Pose) -> Floats:
        """(n, 4, 4): placements in the rim frame as poses in the machine frame."""
        turn = machine_turn(self.lift)
        shift = turn @ (at.shift + np.array([[self.radius], [0.0], [0.0]]))
        return pose(np.einsum("ij,jkn->nik", turn, at.turn), shift.T)

    def tool(self, s: Floats) -> Floats:
        """(n, 4, 4): where the finished tool is at places s of the path; held back along the bar as its grind is."""
        back = WHOLE.copy()
        back[2, 3] = -self.grind.setback
        return np.asarray(self.in_machine(self.grind.path.pose(s)) @ back)

    def poses(self, s: Floats) -> dict[str, Floats]:
        """(n, 4, 4) for every body of the machine, and for what the tool carries behind its steel."""
        at = self.grind.path.pose(s)
        moving = {one.name: self.in_machine(one.frame(at)) for one in self.shown}
        return {body.name: np.broadcast_to(WHOLE, (len(s), 4, 4)) for body in self.bodies} | moving

    def gaps(self, s: Floats) -> dict[str, tuple[Floats, Floats]]:
        """By name of what may not touch the wheel: its gap at places s of the path, (n,) mm, below 0 inside it; and its
        nearest points (n, 3) in the machine frame.
        """
        at, turn, out = self.grind.path.pose(s), machine_turn(self.lift), np.array([[self.radius], [0.0], [0.0]])
        found = {one.name: one.gaps(self.grind.wheel, at) for one in self.judged}
        return {name: (mm, (turn @ (near + out)).T) for name, (mm, near) in found.items()}


def held(gouge: Gouge, number: int, heel: float) -> Held:
    """One grind of a tool on its machine; heel: how far behind the nose its ground face reaches, mm."""
    one, rig, grind = gouge.ground.passes[number], gouge.jigs[number], gouge.recipe.grinds[number]
    angle, k = gouge.settings[number].pivot_angle, one.wheel.curvature
    lift = float(angle) if angle is not None else FREE_LIFT if k else 0.0
    radius = 1 / k if k else 0.0
    behind = tool_bodies(gouge.section.outline, heel, gouge.recipe.bar.length_mm, gouge.recipe.handle, one.setback)
    jig = grind.jig.shown(gouge.section, rig)
    shown = (*jig, *(body for body in behind if body.name != BAR))
    wide = one.wheel.half_width + _MORE_MM
    made = [*wheel_bodies(one.wheel, radius, lift)]
    made += [
        _iron(body.name, mesh_of(body.solid, wide), "handle" if body.name == "the handle" else "jig") for body in shown
    ]
    early = Held(one, rig, lift, radius, (*grind.jig.bodies(gouge.section, rig), *behind), shown, ())
    if rig.rim is not None and grind.jig.pivot_thick_mm == 0:
        made.append(_pocket(grind.jig.pivot_noun, early, rig.rim))
    return Held(one, rig, lift, radius, early.judged, shown, tuple(made))


def _iron(name: str, mesh: tuple[Floats, NDArray[np.intp]], meaning: str = "jig") -> Thing:
    return Thing(name, (surface(meaning, mesh),), outlines(mesh))


def mesh_of(solid: Convex, wide: float) -> tuple[Floats, NDArray[np.intp]]:
    """A box or round bar as triangles in its own frame; one that has no end is cut to `wide` mm on either side."""
    if not isinstance(solid, Round):
        return box(solid.centre - solid.half, solid.centre + solid.half)  # type: ignore[attr-defined]
    middle, half = (solid.start + solid.end) / 2, (solid.end - solid.start) / 2
    if 2 * np.linalg.norm(half) > _ENDLESS_MM:
        half = half * wide / np.linalg.norm(half)
    return rod(solid.radius, middle - half, middle + half)


def _pocket(name: str, early: Held, rim: float) -> Thing:
    """The ball of a foot, the cup it stands in, and the cup's post, which points at the nose when that is ground."""
    at = machine_turn(early.lift) @ np.array([early.radius + rim, 0.0, 0.0])
    nose = early.tool(np.zeros(1))[0][:3, 3]
    way = (nose - at) / np.linalg.norm(nose - at)
    inner, outer = 1.05 * _FOOT_MM, 1.05 * _FOOT_MM + 4.0
    phi = np.linspace(0.0, 0.9 * np.pi / 2, 15)
    arc = np.stack([-np.cos(phi), np.sin(phi)], -1)
    cup = np.concatenate([outer * arc, inner * arc[::-1]])
    cup[[0, -1], 1] = 0.0
    points, faces = turned(cup, 48)
    post = rod(0.6 * outer, at - 0.8 * outer * way, at - (0.8 * outer + 45.0) * way)
    return _iron(name, joined((points @ frame_along(way).T + at, faces), post, ball(_FOOT_MM, at)))


def wheel_bodies(wheel: WheelSolid, radius: float, lift: float) -> tuple[Thing, ...]:
    """The wheel with its rounded corners and arrows that turn with it, and the spindle; or a length of belt."""
    half, corner = wheel.half_width, wheel.corner_radius
    if not radius:
        thick, below, above = _BELT_MM
        points, faces = box(np.array([-thick, -half, -below]), np.array([0.0, half, above]))
        mesh = points @ machine_turn(lift).T, faces
        z = np.array([[0.45 * above, 0.0], [-0.45 * below, 0.0], [-0.3 * below, 6.0], [-0.3 * below, -6.0]])
        arrow = np.stack([np.full(4, 0.3), z[:, 1] + 0.7 * half, z[:, 0]], -1) @ machine_turn(lift).T
        ends = np.stack([arrow[[0, 1, 1]], arrow[[1, 2, 3]]], 1)
        return (Thing("wheel", (surface("wheel", mesh),), (*outlines(mesh), Segments("ink", ends, 4.0))),)
    bore = min(0.14 * radius, 14.0)
    phi = np.linspace(0.0, np.pi / 2, _ROUND_CORNER) if corner else np.zeros(1)
    side = np.stack([half - corner + corner * np.sin(phi), radius - corner + corner * np.cos(phi)], -1)
    ring = np.concatenate([[[-half, bore]], side[::-1] * [-1, 1], side, [[half, bore], [-half, bore]]])
    upright = np.array([[1.0, 0, 0], [0, 0, 1.0], [0, -1.0, 0]])  # z along the wheel's axis
    points, faces = turned(ring, steps_round(radius))
    mesh = points @ upright.T, faces
    spindle = rod(0.95 * bore, np.array([0.0, -half - 12, 0.0]), np.array([0.0, half + 12, 0.0]))
    lines = (
        Segments("ink", _arrows(0.72 * radius, half + 0.2), 4.0),
        Segments("quiet", _rims(radius - corner, half), 1.5),
    )
    return (
        Thing("wheel", (surface("wheel", mesh),), lines),
        Thing("spindle", (surface("jig", spindle),), outlines(spindle)),
    )


def _arrows(radius: float, side: float) -> Floats:
    """Three arrows on either side: the wheel comes down on the person's side (common practice, no source)."""
    out = []
    for begin in (0.3, 2.4, 4.5):
        phi = begin + np.linspace(0.0, 1.2, 15)
        arc = radius * np.stack([np.sin(phi), np.zeros(15), np.cos(phi)], -1)
        turn = np.array([np.sin(phi[-1] - 0.16), 0.0, np.cos(phi[-1] - 0.16)])
        whole = np.concatenate([chain(arc), [[arc[-1], r * radius * turn] for r in (0.9, 1.1)]])
        out += [whole + np.array([0.0, y, 0.0]) for y in (-side, side)]
    return np.concatenate(out)


def _rims(radius: float, side: float) -> Floats:
    phi = np.linspace(0.0, 2 * np.pi, 181)
    ring = chain(radius * np.stack([np.cos(phi), np.zeros(181), np.sin(phi)], -1))
    return np.concatenate([ring + np.array([0.0, y, 0.0]) for y in (-side, side)])
