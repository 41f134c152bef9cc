"""In the wood: the tool where it cuts, one place of the profile after the other, half of the wood cut away.

Scene frame: X along the lathe to the person's right, Y up, Z toward the person; the wood comes down there.
A posture may be turned about the lathe's axis at will; it stands at the height at which reach finds it best to hold.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gougeform.grind.gouge import Gouge
from gougeform.reach.posture import edge_points, placed
from gougeform.reach.result import Reach, part_name
from gougeform.show.scene import Camera, Label, Moment, Scene, Segments, Surface, Thing, moved, pose
from gougeform.show.solids import ball, box, chain, joined, rod, steps_round, surface, turned
from gougeform.show.tool import FERRULE, HANDLE, TOLERANCE_MM, TOOL, behind, outlines, tool_body
from gougeform.work.meridian import Meridian

Floats = NDArray[np.float64]

SIZE = (1920, 1080)
REST_RADIUS_MM = 3.0
_FLIP = np.diag([1.0, -1.0, -1.0, 1.0])
_RAISED = np.radians(38.0)  # how much further up the eye is for a hollow, to look into it
_BALL_MM = 0.7
_HATCH_MM = 4.0
_REST_MM = 90.0
_SHOWN_MM = 90.0  # of the bar, in the view over the whole
_MAIN, _CLOSE, _END = (40, 150, 1120, 800), (1200, 150, 680, 420), (1200, 620, 680, 330)


@dataclass(frozen=True, eq=False)
class AtLathe:
    """A tool at a place: poses (4, 4) of tool and wood in the scene; cut: the place (3,) mm.

    rest: (4, 4), None where the bar never crosses it. touch: (3,) or None. overhang: the two ends (2, 3) of what hangs
    over the rest, None as the rest.
    """

    place: int
    feed: int
    tool: Floats
    wood: Floats
    cut: Floats
    rest: Floats | None
    touch: Floats | None
    overhang: Floats | None


def round_the_axis(height: float) -> Floats:
    """(3, 3): from the place's own coordinates (along the lathe, outward, along the wood's motion) to the scene's."""
    s, c = np.sin(height), np.cos(height)
    return np.array([[1.0, 0.0, 0.0], [0.0, s, -c], [0.0, c, s]])


def posture(reach: Reach, place: int, feed: int) -> tuple[Floats, Floats, float]:
    """Turn (3, 3) and shift (3,) mm of the tool in a place's own coordinates, and the height of the cut (rad).

    All that is drawn of a posture comes from here; where no hand holds it, it is drawn at centre height.
    """
    which = reach.best.postures.take(np.array([reach.index(place, feed)]))
    turn, shift = placed(reach.body, reach.places, which)
    height = float(np.radians(reach.stance[place, feed, 0]))
    return turn[0], shift[0], height if np.isfinite(height) else 0.0


def standing(reach: Reach, place: int, feed: int) -> AtLathe:
    """The best posture of a place and feed, as it stands at the lathe."""
    gouge = reach.gouge
    turn, shift, height = posture(reach, place, feed)
    round_ = round_the_axis(height)
    at = pose(round_ @ turn, round_ @ shift)
    touch = None
    if reach.part[place, feed] >= 0:
        touch = moved(at, reach.touch[place, feed])
    over = float(reach.overhang[place, feed])
    rest = hang = None
    if np.isfinite(over):
        begin = float(edge_points(reach.body, reach.edge_place[place, feed][None])[0, 2])
        crossing = moved(at, np.array([0.0, 0.0, begin - over]))
        across = np.array([0.0, 0.0, 1.0]) if reach.places.mouth[place] else np.array([1.0, 0.0, 0.0])
        # The side of the rest that is next to the wood stands where the overhang is counted to.
        rest = pose(np.eye(3), crossing - REST_RADIUS_MM * at[:3, 2] + _below(gouge, at, across))
        top = gouge.section.lip_plane + 7.0
        hang = moved(at, np.array([[0.0, top, begin], [0.0, top, begin - over]]))
    w = round_ @ np.append(reach.places.point[place], 0.0)
    return AtLathe(place, feed, at, pose(round_, np.zeros(3)), w, rest, touch, hang)


def _below(gouge: Gouge, at: Floats, across: Floats) -> Floats:
    """(3,) mm: from the bar's axis to the middle of a round rest along `across` that the bar lies on."""
    down = np.cross(across, at[:3, 2])
    down *= -np.sign(down[1]) / np.linalg.norm(down)
    inner = at[:3, :3].T @ down
    return (gouge.section.outline.support((float(inner[0]), float(inner[1]))) + REST_RADIUS_MM) * down


def walk(reach: Reach) -> list[tuple[int, int]]:
    """(place, feed) along the whole profile: each stretch that is cut in one direction as one movement of the hand."""
    feeds, mouth = reach.either, reach.places.mouth
    change = np.flatnonzero((np.diff(feeds) != 0) | (np.diff(mouth) != 0)) + 1
    out: list[tuple[int, int]] = []
    for run in np.split(np.arange(len(feeds)), change):
        feed = int(feeds[run[0]])
        out += [(int(i), feed) for i in (run if feed == 0 else run[::-1])]
    return out


def in_wood(
    reach: Reach, *, at: tuple[int, int] | None = None, tolerance: float = TOLERANCE_MM, seconds: float = 5.0
) -> Scene:
    """The scene of a tool that walks along a profile; `at` is the (place, feed) that a still picture shows.

    Raises InputError where the tool cannot be meshed.
    """
    gouge = reach.gouge
    steps = walk(reach)
    stands = [standing(reach, *step) for step in steps]
    wood = wood_body(reach.meridian)
    # Inside a hollow the other half is kept, and the eye looks down into it.
    below = Thing("wood below", tuple(_flipped(s) for s in wood.surfaces), tuple(_flipped_line(n) for n in wood.lines))
    phi = np.linspace(0.0, 2 * np.pi, 121)
    ring = chain(np.stack([np.zeros(121), np.sin(phi), np.cos(phi)], -1))
    marks = (
        Thing("eye", ()),
        Thing("ring", (), (Segments("quiet", ring, 1.5),)),
        Thing("cut", (surface("edge", ball(_BALL_MM * 0.7, np.zeros(3))),)),
        Thing("touch", (surface("touches", ball(_BALL_MM, np.zeros(3))),)),
    )
    bodies = (tool_body(gouge, tolerance=tolerance), *behind(gouge), wood, below, *_rests(), *marks)
    frames = tuple(_frame(reach, one) for one in stands)
    chosen = at if at in steps else None
    first = steps.index(chosen) if chosen else _hardest(reach, steps)
    return Scene(
        title=gouge.recipe.title or gouge.recipe.name or "Ground tool",
        lines=(f"In the wood: {reach.meridian.title or 'the workpiece'}",),
        bodies=bodies,
        views=_views(reach, bodies, frames, stands),
        frames=frames,
        up=np.array([0.0, 1.0, 0.0]),
        knob="place along the profile",
        size=SIZE,
        seconds=seconds,
        first=first,
    )


def _hardest(reach: Reach, steps: list[tuple[int, int]]) -> int:
    """The place reached that needs the largest angle, of those the deepest; where none is reached, the easiest."""
    least = np.array([reach.alpha[step] for step in steps])
    order = np.array([i for i, _ in steps])
    if reach.reached.any():
        deep = reach.depth(reach.places.point[order])
        return int(np.where(reach.reached[order], least + 0.01 * deep, -1.0).argmax())
    return int(least.argmin())


def _frame(reach: Reach, one: AtLathe) -> Moment:
    i, feed = one.place, one.feed
    clear = bool(np.isfinite(reach.alpha[i, feed]))
    rho = float(reach.places.point[i, 1])
    mouth = bool(reach.places.mouth[i])
    poses = dict.fromkeys((TOOL, FERRULE, HANDLE), one.tool) | {
        "wood below" if mouth else "wood": one.wood,
        "cut": pose(one.wood[:3, :3], one.cut) @ (_FLIP if mouth else np.eye(4)),
        "ring": pose(rho * np.eye(3), np.array([one.cut[0], 0.0, 0.0])),  # a circle of 1 mm, drawn larger
        "eye": _raised(mouth),
    }
    lines: list[Segments] = []
    labels = [Label("the edge cuts here" if clear else "the edge is to cut here", one.cut)]
    if one.touch is not None:
        poses["touch"] = pose(np.eye(3), one.touch)
        name = part_name(int(reach.part[i, feed]))
        labels.append(Label(f"the {name} {'touches' if clear else 'is in the wood'} here", one.touch, "touches"))
    if one.rest is not None and one.overhang is not None:
        poses["rest inside" if mouth else "rest"] = one.rest
        tool_up = one.tool[:3, 1]
        ends = [np.stack([p - 5.0 * tool_up, p + 2.0 * tool_up]) for p in one.overhang]
        lines.append(Segments("ink", np.stack([one.overhang, *ends]), 3.0))
        labels.append(Label(f"overhang {reach.overhang[i, feed]:.0f} mm", one.overhang.mean(0)))
    return Moment(poses, now=float(i), lines=tuple(lines), labels=tuple(labels), words=_words(reach, one))


def _words(reach: Reach, one: AtLathe) -> str:
    i, feed = one.place, one.feed
    x, rho = reach.places.point[i]
    alpha = reach.alpha[i, feed]
    need = f"clearance angle {alpha:.1f}°" if np.isfinite(alpha) else "no posture is clear"
    if not alpha <= reach.terms.limit_deg + 1e-9:
        need = f"not reached: {need}"
    return f"x {x:.1f}, radius {rho:.1f} mm · {need} · {reach.held_words(i, feed)}"


def wood_body(meridian: Meridian) -> Thing:
    """Half of the wood, in coordinates along the lathe, outward, and along the wood's motion: the half it comes from.

    Its section is hatched.
    """
    outline = meridian.outline_points(40)
    points, faces = turned(outline, max(steps_round(float(outline[:, 1].max()), 0.01) // 2, 60), np.pi, -np.pi)
    skin = surface("wood", (points[:, [2, 0, 1]], faces))
    flat, triangles = _section(outline, meridian.ring)
    face = Surface("wood", flat, triangles, np.tile([0.0, 0.0, 1.0], (len(flat), 1)))
    rim = [chain(np.column_stack([outline[:, 0], sign * outline[:, 1], np.zeros(len(outline))])) for sign in (1, -1)]
    low, high = outline[:, 0].min() - 4.0, outline[:, 0].max() + 4.0
    axis = np.array([[[low, 0.0, 0.05], [high, 0.0, 0.05]]])
    lines = (
        Segments("quiet", np.concatenate(rim), 2.5),
        Segments("quiet", _hatching(outline), 1.0),
        Segments("quiet", axis, 1.5),
    )
    return Thing("wood", (skin, face), lines)


def _raised(mouth: bool) -> Floats:
    """(4, 4): what the view over the whole goes with: turned round the lathe's axis where it looks into a hollow."""
    c, s = np.cos(_RAISED), np.sin(_RAISED)
    return pose(np.array([[1.0, 0.0, 0.0], [0.0, c, s], [0.0, -s, c]]) if mouth else np.eye(3), np.zeros(3))


def _flipped(one: Surface) -> Surface:
    """The other half: as far on the other side of the section."""
    over = np.array([1.0, 1.0, -1.0])
    return Surface(one.meaning, one.points * over, one.faces[:, ::-1], one.normals * over)


def _flipped_line(one: Segments) -> Segments:
    return Segments(one.meaning, one.ends * [1.0, 1.0, -1.0], one.width)


def _section(outline: Floats, ring: bool) -> tuple[Floats, NDArray[np.intp]]:
    """The cut face on both sides of the axis as triangles."""
    import manifold3d

    flat: list[Floats] = []
    faces: list[NDArray[np.intp]] = []
    ring_points = outline[:-1] if ring or np.linalg.norm(outline[0] - outline[-1]) < 1e-9 else outline
    for sign in (1.0, -1.0):
        here = ring_points * [1.0, sign]
        # Anticlockwise, as the triangulation wants it: the chain has the wood on its right hand.
        here = here[::-1] if sign > 0 else here
        found = np.asarray(manifold3d.triangulate([here]), np.intp)
        faces.append(found + sum(len(p) for p in flat))
        flat.append(np.column_stack([here, np.zeros(len(here))]))
    return np.concatenate(flat), np.concatenate(faces)


def _hatching(outline: Floats) -> Floats:
    """(k, 2, 3): slanting lines over the cut face."""
    import shapely

    half = shapely.Polygon(outline).buffer(0)
    whole = shapely.union_all([half, shapely.affinity.scale(half, yfact=-1.0, origin=(0, 0))])
    low, high = outline[:, 0].min(), outline[:, 0].max()
    tall = float(outline[:, 1].max())
    begin = np.arange(low - 2 * tall, high + 2 * tall, _HATCH_MM * np.sqrt(2))
    rays = shapely.linestrings([[[x - tall, -tall], [x + tall, tall]] for x in begin])
    out = []
    for part in shapely.get_parts(shapely.intersection(rays, whole)):
        if part.geom_type == "LineString" and part.length > 1e-6:
            out.append(np.column_stack([np.asarray(part.coords), np.zeros(2)]))
    return np.array(out)


def _rests() -> list[Thing]:
    """The piece of the rest that the tool lies on, along the work and across a mouth: a round bar on a blade."""
    out = []
    for name, way in (("rest", 0), ("rest inside", 2)):
        ends = np.zeros((2, 3))
        ends[:, way] = -_REST_MM / 2, _REST_MM / 2
        blade = box(ends[0] - np.array([2.5, 25.0, 2.5]), ends[1] + np.array([2.5, 0.0, 2.5]))
        blade[0][:, way] *= 0.8
        mesh = joined(rod(REST_RADIUS_MM, *ends), blade)
        out.append(Thing(name, (surface("rest", mesh),), outlines(mesh)))
    return out


def _views(
    reach: Reach, bodies: tuple[Thing, ...], frames: tuple[Moment, ...], stands: list[AtLathe]
) -> tuple[Camera, ...]:
    """From the person's side at an angle; the section in true projection, close to the cut; along the lathe."""
    by_name = {body.name: body for body in bodies}
    swing = np.mean([-one.tool[0, 2] for one in stands])
    eye = np.array([0.62 if swing <= 0 else -0.62, 0.36, 1.0])
    outline = np.concatenate([s.points for s in by_name["wood"].surfaces])
    cloud = []
    for frame in frames[:: max(len(frames) // 12, 1)]:
        turn = frame.poses["eye"][:3, :3]
        wood = next(frame.poses[name] for name in ("wood", "wood below") if name in frame.poses)
        tip = frame.poses[TOOL][:3, 3] - np.outer((0.0, _SHOWN_MM), frame.poses[TOOL][:3, 2])
        cloud += [moved(wood, outline) @ turn, tip @ turn]
    main = _fit("from the person's side", eye, np.concatenate(cloud), _MAIN, "eye")
    across, up = np.eye(3)[:2]
    scale = _CLOSE[3] / 44.0
    close = Camera(
        "section through the lathe's axis, true projection",
        across, up, np.array([0.0, 4.0, 0.0]), scale, _CLOSE, frozenset({"rest", "rest inside", "ring"}), "cut",
    )  # fmt: skip
    girth = max(reach.meridian.box[1, 1], reach.rest.radius) + 12.0
    end = Camera(
        "along the lathe, without the wood",
        np.array([0.0, 0.0, 1.0]), np.array([0.0, 1.0, 0.0]), np.array([0.0, 0.0, 0.5 * girth]),
        min(_END[3] / (2 * girth), _END[2] / (3.4 * girth)), _END, frozenset({"wood", "wood below"}),
    )  # fmt: skip
    return main, close, end


def _fit(name: str, eye: Floats, cloud: Floats, box_: tuple[int, int, int, int], rides: str = "") -> Camera:
    eye = eye / np.linalg.norm(eye)
    right = np.cross([0.0, 1.0, 0.0], eye)
    right /= np.linalg.norm(right)
    up = np.cross(eye, right)
    seen = np.stack([cloud @ right, cloud @ up], -1)
    low, high = seen.min(0), seen.max(0)
    middle = (low + high) / 2
    scale = float((0.96 * np.array(box_[2:]) / (high - low)).min())
    return Camera(name, right, up, middle[0] * right + middle[1] * up, scale, box_, rides=rides, labels=True)
