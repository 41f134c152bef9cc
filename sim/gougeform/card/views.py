"""The drawings of the card: wheel, jig and tool from the side to a round scale, and the tool's own views at 1:1."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gougeform.card.page import INK, PALE, QUIET, STEEL, Page
from gougeform.grind.gouge import Gouge
from gougeform.machine.pose import machine_turn
from gougeform.measure.crease import creases
from gougeform.measure.edge import Edge

Floats = NDArray[np.float64]
Place = Callable[[Floats], Floats]

CHECK_BAR_MM = 50.0
_SCALES = (
    1.0,
    1.5,
    2.0,
    2.5,
    3.0,
    4.0,
    5.0,
    6.0,
    8.0,
    10.0,
    12.0,
    15.0,
    20.0,
    25.0,
    30.0,
    40.0,
    50.0,
    75.0,
    100.0,
    200.0,
    500.0,
)
_FREE_LIFT = np.radians(25.0)  # where on the wheel the contact is drawn where the recipe leaves it free
_AXIS = 38.0  # mm of the hinge's axis drawn
_BEYOND = 34.0  # mm of bar drawn behind hinge or fingers
_DASH = (0, (4, 2))


@dataclass(frozen=True, eq=False)
class SideView:
    """Everything in the wheel's middle plane, machine frame, mm: X toward the person, Z up. None where there is none.

    tool: (n, 2) outline. clamp: a place on the clamp face. pivots: (grind, place) where grinds differ in it. thick: how
    far a pivot reaches toward the wheel from its place. axis: (2,) another place on the axis of the hinge.
    """

    radius: float | None
    tool: Floats
    bar_axis: Floats
    nose: Floats
    clamp: Floats | None
    clamp_box: Floats | None
    hinge: Floats | None
    pivots: tuple[tuple[int, Floats], ...]
    support: Floats | None
    thick: float = 0.0
    axis: Floats | None = None


def side_view(gouge: Gouge, edge: Edge) -> SideView:
    """The first grind, its nose on the wheel, and the places of pocket or rod for every grind."""
    grind, k = gouge.recipe.grinds[0], gouge.ground.passes[0].wheel.curvature
    placed = on_machine(gouge)
    section, fields = gouge.section, grind.jig
    drawn = fields.drawn(section)
    reach = fields.projection_mm if drawn.hinge is None else max(fields.projection_mm, -float(drawn.hinge[1]))
    behind = reach + _BEYOND
    tool = placed(_side_outline(gouge, edge, behind))
    axis = placed(np.array([[0.0, 4.0], [0.0, -behind - 6.0]]))
    body, clamp = placed(drawn.body), placed(drawn.face[None])[0]
    hinge = None if drawn.hinge is None else placed(drawn.hinge[None])[0]
    box, support = (body, None) if fields.clamps else (None, body)
    pivots: list[tuple[int, Floats]] = []
    for number, s in enumerate(gouge.settings):
        if s.rim_distance is None or s.pivot_angle is None:
            continue
        far = s.rim_distance + (1 / gouge.ground.passes[number].wheel.curvature if k else 0.0)
        at = far * np.array([np.cos(s.pivot_angle), np.sin(s.pivot_angle)])
        if all(np.linalg.norm(at - other) > 0.05 for _, other in pivots):
            pivots.append((number, at))
    nose = placed(np.array([[section.y_floor, 0.0]]))[0]
    around = 1 / k if k else None
    hung = None if drawn.axis is None or drawn.hinge is None else placed((drawn.hinge + _AXIS * drawn.axis)[None])[0]
    return SideView(around, tool, axis, nose, clamp, box, hinge, tuple(pivots), support, fields.pivot_thick_mm, hung)


def on_machine(gouge: Gouge) -> Place:
    """From (n, 2) y, z in the tool's middle plane to (n, 2) X, Z on the machine, mm, the first grind's nose ground."""
    one, setting = gouge.ground.passes[0], gouge.settings[0]
    k = one.wheel.curvature
    free = _FREE_LIFT if k else 0.0
    lift = free if setting.pivot_angle is None else setting.pivot_angle
    pose = one.path.pose(np.array([0.0]))
    turn = machine_turn(lift) @ pose.turn[:, :, 0]
    shift = machine_turn(lift) @ (pose.shift[:, 0] + np.array([1 / k if k else 0.0, 0.0, 0.0]))

    def placed(yz: Floats) -> Floats:
        points = np.column_stack([np.zeros(len(yz)), yz])
        # The finished nose is z = 0; a steady grind has taken the tool back from where it first touched.
        return (points @ turn.T + shift)[:, [0, 2]]

    return placed


def _side_outline(gouge: Gouge, edge: Edge, behind: float) -> Floats:
    """(n, 2) mm: y and z of the tool seen from its right side: wing, lip, back end, underside, heel, bevel."""
    section = gouge.section
    wing = edge.wing(1)
    y = np.linspace(section.outline.on_middle_plane(below=True), section.y_floor, 25)
    z = gouge.ground.heights(np.stack([np.zeros(25), y], -1)).z
    return np.concatenate(
        [
            np.stack([edge.point[1, wing], edge.point[2, wing]], -1),
            [[section.lip_plane, edge.point[2, wing][-1]]],
            [[section.lip_plane, -behind], [section.underside, -behind]],
            np.stack([y, z], -1),
        ]
    )


def draw_side(page: Page, view: SideView, box: tuple[float, float, float, float], names: dict[str, str]) -> float:
    """Draw the side view in a box (left, low, right, high; layout units) and return its scale, 1 : that.

    names: words on the dimensions: "rim0", "rim1" … for each grind's place, "projection", "height", "contact",
    "cant" between a foot jig's arm and its bar, "axis" between a rod jig's hinge and bar.
    """
    u = page.unit
    left, low, right, high = (value * u for value in box)
    points = [view.tool, view.nose[None], *(p[None] for _, p in view.pivots)]
    if view.clamp_box is not None:
        points.append(view.clamp_box)
    if view.support is not None:
        points.append(view.support)
    r = view.radius
    wheel = np.array([[-r, -r], [r, r]]) if r is not None else np.array([[-14.0, -30.0], [0.0, 60.0]])
    every = np.concatenate([*points, wheel])
    small, large = every.min(0) - [0, 4.0], every.max(0) + 4.0
    room = np.array([right - left - 7 * u, high - low - 9 * u])
    scale = next((s for s in _SCALES if ((large - small) / s <= room).all()), _SCALES[-1])
    middle = np.array([(left + right) / 2, (low + high) / 2])

    def put(p: Floats) -> Floats:
        return middle + (np.asarray(p, float) - (small + large) / 2) / scale

    with page.clipped((left, low), (right, high)):
        _draw_wheel(page, view, put, scale)
        _draw_tool(page, view, put, scale)
        _draw_dimensions(page, view, put, names)
    return scale


def _draw_wheel(page: Page, view: SideView, put: Place, scale: float) -> None:
    if view.radius is None:
        face = put(np.array([[0.0, -60.0], [0.0, 90.0]]))
        page.line_mm(face, 1.4)
        page.line_mm(face - [6.0 / scale, 0], 0.5, color=QUIET)
        return
    centre = put(np.zeros(2))
    page.circle_mm(centre, view.radius / scale, 1.3, facecolor="#f2f2f2")
    cross = 2.2 * page.unit
    for d in (np.array([cross, 0.0]), np.array([0.0, cross])):
        page.line_mm([centre - d, centre + d], 0.6)
    page.circle_mm(centre, 0.45 * page.unit, 0.5, facecolor=INK)


def _draw_tool(page: Page, view: SideView, put: Place, scale: float) -> None:
    if view.support is not None:
        page.shape_mm(put(view.support), 0.8, facecolor=PALE)
    page.shape_mm(put(view.tool), 0.9, facecolor=STEEL)
    page.line_mm(put(view.bar_axis), 0.35, linestyle=(0, (8, 2, 2, 2)), color=QUIET)
    if view.clamp_box is not None and view.hinge is not None:
        page.shape_mm(put(view.clamp_box), 1.0, facecolor="white")
        first = view.pivots[0][1]
        page.line_mm(put(np.stack([view.hinge, first])), 2.6, color=INK, solid_capstyle="round")
        page.line_mm(put(np.stack([view.hinge, first])), 1.5, color="white", solid_capstyle="round")
        page.circle_mm(put(view.hinge), 0.8 * page.unit, 0.8, facecolor="white")
    for number, at in view.pivots:
        page.circle_mm(put(at), 1.15 * page.unit, 1.0, facecolor=INK if number == 0 else "white")


def _draw_dimensions(page: Page, view: SideView, put: Place, names: dict[str, str]) -> None:
    u = page.unit
    if view.clamp is not None and "projection" in names:
        # Measured along the bar: the nose is carried over to the clamp face's side of it.
        way = view.bar_axis[0] - view.bar_axis[1]
        way = way / np.linalg.norm(way)
        start = view.nose
        end = view.nose + way * ((view.clamp - view.nose) @ way)
        side = 1 if np.cross(np.append(end - start, 0), np.append([0.0, 1.0], 0))[2] > 0 else -1
        page.dimension_mm(put(start), put(end), names["projection"], away=7.5 * u, side=side)
    if view.hinge is not None and "cant" in names:
        back, arm = view.bar_axis[1] - view.bar_axis[0], view.pivots[0][1] - view.hinge
        _draw_cant(page, view.hinge, back, arm, put, names["cant"])
    if view.hinge is not None and view.axis is not None and "axis" in names:
        ahead, way = view.bar_axis[0] - view.bar_axis[1], view.axis - view.hinge
        page.line_mm(put(np.stack([view.hinge - 0.4 * way, view.axis])), 0.5, linestyle=(0, (8, 2, 2, 2)))
        _draw_cant(page, view.hinge, ahead, way, put, names["axis"])
    aside = 1 if view.thick else 0  # or the figure beside a short distance would stand on the pivot
    for count, (number, at) in enumerate(view.pivots):
        rim = at * (view.radius / np.linalg.norm(at)) if view.radius is not None else at * [0.0, 1.0]
        # Later grinds stand beside the first one, on the side where the tool is not.
        way = at - rim
        near = at - view.thick * way / np.linalg.norm(way)
        side = -1 if way[0] * (view.nose - rim)[1] > way[1] * (view.nose - rim)[0] else 1
        page.dimension_mm(put(rim), put(near), names[f"rim{number}"], away=6.5 * u * (count + aside), side=side)
    if view.radius is not None and view.pivots:
        centre, at = np.zeros(2), view.pivots[0][1]
        page.line_mm(put(np.stack([centre, at])), 0.35, linestyle=_DASH, color=QUIET)
        page.line_mm(put(np.stack([centre, view.nose])), 0.35, linestyle=_DASH, color=QUIET)
        page.line_mm(put(np.array([[0.0, 0.0], [0.55 * view.radius, 0.0]])), 0.35, color=QUIET)
        if "height" in names and abs(at[1]) > 12:
            x = -0.16 * view.radius
            page.line_mm(put(np.array([[x, at[1]], [at[0], at[1]]])), 0.3, color=QUIET)
            page.line_mm(put(np.array([[x, 0.0], [0.0, 0.0]])), 0.3, color=QUIET)
            page.dimension_mm(put(np.array([x, 0.0])), put(np.array([x, at[1]])), names["height"])
        if "contact" in names:
            turn = np.arctan2(view.nose[1], view.nose[0])
            phi = np.linspace(0.0, turn, 40)
            arc = 0.5 * view.radius * np.stack([np.cos(phi), np.sin(phi)], -1)
            page.line_mm(put(arc), 0.5)
            middle = 0.5 * view.radius * np.array([np.cos(turn / 2), np.sin(turn / 2)])
            x, y = put(middle) - np.array([u, 0.0])
            plate = {"facecolor": "#f2f2f2", "edgecolor": "none", "pad": 0.6}
            style: Any = {"ha": "right", "va": "center", "fontweight": "bold", "bbox": plate}
            page.text_mm(x, y, names["contact"], 6.0, **style)


def _draw_cant(page: Page, hinge: Floats, back: Floats, arm: Floats, put: Place, words: str) -> None:
    """The angle at the hinge (2,) from the bar's direction, toward the handle or the tip, to arm or axis (2,), mm."""
    first, last = np.arctan2(back[1], back[0]), np.arctan2(arm[1], arm[0])
    phi = first + np.linspace(0.0, (last - first + np.pi) % (2 * np.pi) - np.pi, 40)
    radius = 0.5 * float(np.linalg.norm(arm))
    around = np.stack([np.cos(phi), np.sin(phi)], -1)
    page.line_mm(put(hinge + np.outer([0.0, 1.1 * radius], around[0])), 0.35, color=QUIET)
    page.line_mm(put(hinge + radius * around), 0.5)
    x, y = put(hinge + radius * around[20]) + 1.2 * page.unit * around[20]
    plate = {"facecolor": "white", "edgecolor": "none", "pad": 0.6}
    # Beyond the arc, whichever way that is.
    out: Any = {"ha": "left" if around[20][0] > 0 else "right", "va": "bottom" if around[20][1] > 0 else "top"}
    page.text_mm(x, y, words, 6.0, **out, fontweight="bold", bbox=plate)


def draw_plan(page: Page, gouge: Gouge, edge: Edge, x: float, y: float, behind: float) -> None:
    """The edge from above at 1:1, nose down at (x, y) in mm: edge, heel, crease, sides."""
    lines = edge.heel_line
    low, high = -gouge.section.outline.support((-1.0, 0.0)), gouge.section.outline.support((1.0, 0.0))

    def put(p: Floats, q: Floats) -> Floats:
        return np.stack([x + p, y - q], -1)

    for at in (low, high):
        side = int(np.abs(lines[0] - at).argmin())
        page.line_mm(put(np.array([at, at]), np.array([lines[2, side], -behind])), 0.6)
    page.line_mm(put(lines[0], lines[2]), 0.5, linestyle=(0, (3, 1.5)), color=QUIET)
    for curve in creases(gouge):
        page.line_mm(put(curve.point[0], curve.point[2]), 0.5, linestyle=(0, (1, 1)), color=INK)
    for k in (0, -1):
        page.line_mm(put(np.array([edge.point[0, k]] * 2), np.array([edge.point[2, k], -behind])), 0.4)
    page.line_mm(put(edge.point[0], edge.point[2]), 1.3)
    page.line_mm(put(np.zeros(2), np.array([2.0, -behind])), 0.3, linestyle=(0, (8, 2, 2, 2)), color=QUIET)


def draw_section(page: Page, gouge: Gouge, x: float, y: float) -> None:
    """The bar's section at 1:1, looking at the tip, axis at (x, y) in mm."""
    page.shape_mm(gouge.section.ring(241) + np.array([x, y]), 1.0, facecolor=STEEL)
    page.line_mm([(x - 1.5, y), (x + 1.5, y)], 0.3, color=QUIET)
    page.line_mm([(x, y - 1.5), (x, y + 1.5)], 0.3, color=QUIET)


def draw_middle(page: Page, gouge: Gouge, edge: Edge, x: float, y: float, behind: float) -> None:
    """The middle plane at 1:1, nose to the right: bar axis on y, nose at x (mm)."""
    section = gouge.section
    down = np.linspace(section.y_floor, section.outline.on_middle_plane(below=True), 81)
    z = gouge.ground.heights(np.stack([np.zeros(81), down], -1)).z
    ring = np.concatenate([np.stack([z, down], -1), [[-behind, down[-1]], [-behind, section.y_floor]]])
    page.shape_mm(ring + np.array([x, y]), 1.0, facecolor=STEEL)
    wing = edge.wing(1)
    page.line_mm(np.stack([x + edge.point[2, wing], y + edge.point[1, wing]], -1), 0.9)
    lip = np.array([[edge.point[2, wing][-1], edge.point[1, wing][-1]], [-behind, edge.point[1, wing][-1]]])
    page.line_mm(lip + np.array([x, y]), 0.4)


def draw_angles(page: Page, edge: Edge, box: tuple[float, float, float, float]) -> None:
    """The edge angle along both wings in a box (left, low, right, high; layout units), nose in the middle."""
    left, low, right, high = box
    step = 5.0 if np.ptp(edge.wedge) < 25 else 10.0 if np.ptp(edge.wedge) < 60 else 20.0
    bottom, top = np.floor(edge.wedge.min() / step) * step, np.ceil(edge.wedge.max() / step) * step
    top = max(top, bottom + step)

    def across(share: Any) -> Any:
        return (left + right) / 2 + share * (right - left) / 2

    def up(angle: Any) -> Any:
        return low + (angle - bottom) / (top - bottom) * (high - low)

    for angle in np.arange(bottom, top + step / 2, step):
        page.line([(left, up(angle)), (right, up(angle))], 0.25, color=PALE)
        page.text(left - 0.8, up(angle) - 0.7, f"{angle:g}°", 5.0, ha="right", color=QUIET)
    for share, words in ((-1.0, "left lip"), (0.0, "nose"), (1.0, "right lip")):
        page.line([(across(share), low), (across(share), low - 0.9)], 0.4)
        page.text(across(share), low - 3.0, words, 5.0, ha="center", color=QUIET)
    for share in (-0.5, 0.5):
        page.line([(across(share), low), (across(share), low - 0.6)], 0.3)
    page.line([(left, low), (right, low)], 0.5)
    page.text(left, high + 1.0, "edge angle along both wings", 5.3, color=QUIET)
    arc = edge.arc - edge.arc[edge.nose]
    arc = np.where(arc < 0, -arc / arc[0], arc / arc[-1])
    page.line(np.stack([across(arc), up(edge.wedge)], -1), 1.1)


def draw_check_bar(page: Page, x: float, y: float) -> None:
    """A bar of CHECK_BAR_MM from (x, y) mm to the right: one straight line, ticks every 10 mm beside it."""
    page.line_mm([(x, y), (x + CHECK_BAR_MM, y)], 1.0)
    for mm in range(0, int(CHECK_BAR_MM) + 1, 5):
        page.line_mm([(x + mm, y), (x + mm, y + (2.2 if mm % 10 == 0 else 1.2))], 0.5)
