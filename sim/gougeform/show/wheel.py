"""At the wheel: the tool rolled along the path of each of its grinds, and what the wheel has ground by then.

Machine frame: origin at the wheel's centre (for a belt on its face), X toward the person, Y along its axis, Z up.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from gougeform.grind.gouge import Gouge
from gougeform.grind.ground import Pass
from gougeform.machine.pose import machine_turn
from gougeform.machine.standing import place_words
from gougeform.mesh.solid import Solid, build_solid
from gougeform.present.palette import of_grind, words
from gougeform.show.holding import BAR, Held, held
from gougeform.show.scene import Camera, Label, Moment, Scene, Segments, Thing, moved
from gougeform.show.tool import TOLERANCE_MM, TOOL, after, places, share, steel

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

FRAMES = 100
_WHEEL = "At the wheel. The bright line is where the wheel touches now; what has its colour is ground by then."
_CLEAR = "Nothing but the steel that is ground touches the wheel. Guard and rest are not looked at here."
TURN_PER_FRAME = np.radians(4.0)
"""How far the wheel has turned from one frame to the next; a real one turns too fast to be seen."""
SIZE = (1920, 1080)
_JUMP = 0.2  # of a path: neighbouring vertices cut by poses further apart lie on two sides of a ridge
_END = 1e-4  # of a path: where the wheel stops it grinds an area; its border is drawn
_ABOVE_MM = 170.0  # how much of the set-up is seen from above
_MAIN, _SIDE, _TOP = (40, 190, 1180, 760), (1260, 190, 620, 420), (1260, 655, 620, 295)


def at_wheel(gouge: Gouge, *, frames: int = FRAMES, tolerance: float = TOLERANCE_MM) -> Scene:
    """The scene of a tool at its wheel, `frames` of them shared out among its grinds.

    What stands in the wheel shows red, and the scene's last line says so. Raises InputError where it cannot be meshed.
    """
    passes = gouge.ground.passes
    bodies: dict[str, Thing] = {}
    made: list[Moment] = []
    for number, one in enumerate(passes):
        stage = after(gouge, number + 1)
        solid = build_solid(stage, tolerance)
        where = places(stage, solid, number)
        name = TOOL if number + 1 == len(passes) else f"{TOOL} after grind {number + 1}"
        tool = steel(solid, number + 1, name, number + share(one, where))
        machine = held(gouge, number, -float(solid.vertices[solid.heel, 2].min()))
        names = {body.name: _own_name(body, bodies, number) for body in (tool, *machine.bodies)}
        bodies |= {names[body.name]: replace(body, name=names[body.name]) for body in (tool, *machine.bodies)}
        count = frames * (number + 1) // len(passes) - frames * number // len(passes)
        s = np.linspace(float(one.path.knots[0]), float(one.path.knots[-1]), count)
        lit = contact_lines(one, solid, solid.surface == number, where, s)
        moves = machine.rig.motions(one.path.pose(s), machine.lift)
        made += _frames(
            machine, name, names, s, lit, number + share(one, s), len(made), _words(gouge, number, s, moves)
        )
    worst = int(np.argmax([frame.deep for frame in made]))
    part = max((k for k, frame in enumerate(made) if frame.now <= len(passes) - 0.35), default=0)
    return Scene(
        title=gouge.recipe.title or gouge.recipe.name or "Ground tool",
        lines=(_WHEEL, _stands(made)),
        bodies=tuple(bodies.values()),
        views=_views(gouge, bodies, made),
        frames=tuple(made),
        up=np.array([0.0, 0.0, 1.0]),
        knob="place along the path",
        size=SIZE,
        first=worst if made[worst].red else part,
    )


def _stands(frames: list[Moment]) -> str:
    """Whether anything stands in the wheel, and where it is deepest: one sentence."""
    worst = max(frames, key=lambda frame: frame.deep)
    where = worst.words.split("     ")[0]
    return f"This set-up cannot stand: {worst.labels[0].words} ({where})." if worst.red else _CLEAR


def _own_name(body: Thing, bodies: Mapping[str, Thing], number: int) -> str:
    """Its name, with the grind's number where an earlier grind's body of that name looks different."""
    other = bodies.get(body.name)
    same = other is None or all(
        a.points.shape == b.points.shape and np.allclose(a.points, b.points)
        for a, b in zip(body.surfaces, other.surfaces, strict=True)
    )
    return body.name if same else f"{body.name} of grind {number + 1}"


def _frames(
    machine: Held,
    tool: str,
    names: Mapping[str, str],
    s: Floats,
    touched: list[Floats],
    now: Floats,
    begun: int,
    said: list[str],
) -> list[Moment]:
    poses, gaps = machine.poses(s) | {tool: machine.tool(s)}, machine.gaps(s)
    out = []
    for k in range(len(s)):
        at = {names[name]: pose[k] for name, pose in poses.items()}
        if machine.radius:
            turn = np.eye(4)
            turn[:3, :3] = machine_turn(-TURN_PER_FRAME * (begun + k))
            at[names["wheel"]] = turn
        lit = moved(at[tool], touched[k].reshape(-1, 3)).reshape(-1, 2, 3)
        red = sorted((float(mm[k]), name, near[k]) for name, (mm, near) in gaps.items() if mm[k] < 0)
        out.append(
            Moment(
                at,
                now=float(now[k]),
                lines=(Segments("contact line", lit, 7.0, through=True),) if len(lit) else (),
                labels=tuple(Label(f"{name} is {-mm:.1f} mm in the wheel", spot, "touches") for mm, name, spot in red),
                red=frozenset(names[tool if name == BAR else name] for _, name, _ in red),
                deep=-red[0][0] if red else 0.0,
                words=said[k],
            )
        )
    return out


def _words(gouge: Gouge, number: int, s: Floats, moves: Mapping[str, Floats]) -> list[str]:
    """What each frame shows: the grind, the place on its path, and the jig's motions."""
    meanings = [of_grind(k) for k in range(len(gouge.ground.passes))]
    grind, path = words(meanings)[number], gouge.ground.passes[number].path
    out = []
    for k, place in enumerate(s):
        told = [f"{key.split('_')[0]} {v[k]:+.0f}{'°' if key.endswith('deg') else ' mm'}" for key, v in moves.items()]
        out.append(f"{grind}, {place_words(path, float(place))}     {'  '.join(told)}")
    return out


def contact_lines(one: Pass, solid: Solid, mine: NDArray[np.bool_], where: Floats, s: Floats) -> list[Floats]:
    """For places s (n,) of a grind's path the line where the wheel touches: (k, 2, 3) mm in the tool frame.

    These are the points of the ground surface whose winning place is s: found between the vertices of its faces `mine`
    (m,), whose own winning places are `where`, and set on the wheel's surface at that pose exactly.
    """
    faces, value = solid.faces[mine], where
    first, last = one.path.knots[[0, -1]]
    corner = value[faces]
    faces = faces[np.ptp(corner, axis=1) < _JUMP * (last - first)]
    flat, corner = solid.vertices[:, :2][faces], value[faces]
    out = []
    for place in np.clip(s, first + _END * (last - first), last - _END * (last - first)):
        above = corner > place
        mixed = np.flatnonzero(above.any(1) & ~above.all(1))
        # The one corner that is alone on its side, and the two sides that leave it.
        alone = np.where(above[mixed].sum(1) == 1, above[mixed].argmax(1), (~above[mixed]).argmax(1))
        ends = []
        for step in (1, 2):
            other = (alone + step) % 3
            a, b = corner[mixed, alone], corner[mixed, other]
            t = ((place - a) / (b - a))[:, None]
            ends.append((1 - t) * flat[mixed, alone] + t * flat[mixed, other])
        out.append(on_wheel(one, np.concatenate(ends).reshape(2, -1, 2).swapaxes(0, 1), float(place)))
    return out


def on_wheel(one: Pass, flat: Floats, place: float) -> Floats:
    """(…, 3) mm: where lines along the bar at section points (…, 2) enter the wheel at one place of a path."""
    p = flat.reshape(-1, 2)
    if not len(p):
        return np.zeros((*flat.shape[:-1], 3))
    at = one.path.pose(np.full(len(p), place))
    origin = np.stack([p[:, 0], p[:, 1], np.full(len(p), -one.setback)])
    z = one.wheel.crossing(at.place(origin), np.ascontiguousarray(at.turn[:, 2]))[0]
    good = np.isfinite(z).reshape(-1, 2).all(1) if flat.ndim == 3 else np.isfinite(z)
    points = np.column_stack([p, z]).reshape(*flat.shape[:-1], 3)
    return points[good]


def _views(gouge: Gouge, bodies: Mapping[str, Thing], frames: list[Moment]) -> tuple[Camera, ...]:
    """The whole set-up at an angle; the bevel as the wheel sees it; from above."""
    nose = frames[-len(frames) // (2 * len(gouge.ground.passes))]
    tool = next(name for name in nose.poses if name.startswith(TOOL))
    at = nose.poses[tool]
    tip = moved(at, np.array([0.0, gouge.section.y_floor, 0.0]))
    back = at[:3, 2]
    out = _outward(gouge, tip)
    wheel = {name for name in bodies if name.startswith(("wheel", "spindle"))}
    seen = [name for name in nose.poses if not name.startswith(("the handle", "the ferrule", tool))]
    cloud = np.concatenate(
        [moved(nose.poses[name], s.points) for name in seen for s in bodies[name].surfaces]
        + [tip[None], (tip - 130.0 * back)[None]]
    )
    eye = np.array([0.42, -0.86, 0.30])
    main = _fitted("at an angle", eye, np.array([0.0, 0.0, 1.0]), cloud, _MAIN)
    upright = np.cross(out, [0.0, 1.0, 0.0])
    upright *= np.sign(upright[2]) or 1.0
    # The ground face in every place of the path, as the wheel sees it.
    ground = np.concatenate([s.points for s in bodies[tool].surfaces if s.meaning not in ("steel", "flute")])
    face = np.concatenate([moved(f.poses[tool], ground[::7]) for f in frames[::4] if tool in f.poses])
    bevel = _fitted("as the wheel sees it", -out, upright, face, _SIDE, frozenset(wheel), labels=False)
    near = np.concatenate([tip[None]] + [moved(at, c) for c in _near(bodies, nose)])
    middle = (near.min(0) + near.max(0)) / 2
    above = Camera("from above", np.eye(3)[0], np.eye(3)[1], middle, _TOP[2] / _ABOVE_MM, _TOP)
    return main, bevel, above


def _outward(gouge: Gouge, tip: Floats) -> Floats:
    """(3,): the wheel's normal at the nose, in the machine frame."""
    if not gouge.ground.passes[-1].wheel.curvature:
        return machine_turn(gouge.settings[-1].pivot_angle or 0.0) @ np.array([1.0, 0.0, 0.0])
    flat = tip * [1.0, 0.0, 1.0]
    return np.asarray(flat / np.linalg.norm(flat))


def _near(bodies: Mapping[str, Thing], frame: Moment) -> list[Floats]:
    """What is fixed to the tool near its head, in the tool's frame: the clamp, if there is one."""
    return [s.points for name in frame.poses if name.startswith("the clamp") for s in bodies[name].surfaces]


def _fitted(
    name: str,
    eye: Floats,
    up: Floats,
    cloud: Floats,
    box: tuple[int, int, int, int],
    without: frozenset[str] = frozenset(),
    labels: bool = True,
) -> Camera:
    """A view from a direction that shows all points as large as fits its box."""
    eye = eye / np.linalg.norm(eye)
    right = np.cross(up, eye)
    right /= np.linalg.norm(right)
    up = np.cross(eye, right)
    seen = np.stack([cloud @ right, cloud @ up], -1)
    low, high = seen.min(0), seen.max(0)
    scale = float((0.94 * np.array(box[2:]) / (high - low)).min())
    middle = (low + high) / 2
    return Camera(
        name,
        right,
        up,
        middle[0] * right + middle[1] * up + (cloud.mean(0) @ eye) * eye,
        scale,
        box,
        without,
        labels=labels,
    )
