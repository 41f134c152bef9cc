"""ISO 3002-1, tool-in-hand system: normal and orthogonal angles of ground edges.

The ISO text itself was not seen. Seen: course notes on metal cutting, eqs. 1.6 (α + β + γ = 90° in one plane) and
1.10 (tan γn = tan γo cos λs, cot αn = cot αo cos λs), and the FOSSEE textbook companion 3250, Ex. 4.11 and another.

The planes are built here from their definitions: P_r square to the assumed cutting velocity v, which stands still in
the tool; P_s through edge and v; P_o square to both; P_n square to the edge. The angles are read between lines that
those planes cut out of the simulated surfaces: points of the bevel in the plane, differences of points of the flute.
No normal of the program is in them.
"""

import numpy as np
import pytest

from gougeform.grind.ground import Ground, Pass
from gougeform.machine.solid import WheelSolid
from gougeform.measure.edge import measure_edge
from gougeform.reach.body import build_body
from gougeform.reach.posture import Postures, placed, places_at
from gougeform.recipe.reading import from_table
from gougeform.work.files import load_work
from still import ground_by, still

SOURCE = "ISO 3002-1 by course notes eqs. 1.6, 1.10 · seen"
FOSSEE = "FOSSEE textbook companion 3250 · seen"

FORWARD = np.array([-25.0, 48.0, -36.0, 16.0, -3.0]) / 12  # slope at the first of five places, error of fourth order
STEP = 0.004  # mm between them: small, since close to a lip the path's last pose takes over not far from the edge
TIGHT = 1e-6  # deg

SQUARE = {"outline": "square", "side_mm": 10.0, "corner_radius_mm": 1.0, "length_mm": 150.0}


def unit(a):
    return a / np.linalg.norm(a, axis=0)


def dot(a, b):
    return (a * b).sum(0)


def across(a, b):
    return np.cross(a, b, axis=0)


class Planes:
    """P_o or P_n at n places of an edge: normal p, v's direction in it, and w, square to P_s and into the tool."""

    def __init__(self, v, edge, into, rake, square):
        """square: P_n, square to the edge; else P_o. into, rake: (3, n) ways into the steel and along the flute."""
        w = across(edge, v)
        self.w = unit(w * np.sign(dot(w, rake)))
        self.v = unit(v - dot(v, edge) * edge) if square else v
        self.p = edge if square else unit(edge - dot(edge, v) * v)
        self.into = into

    def inward(self, line):
        """The line's direction from the edge into the steel."""
        return line * np.sign(dot(line, self.into))

    def rake(self, r):
        """γ (deg) of the flute's trace r."""
        return np.degrees(np.arctan2(-dot(r, self.v), dot(r, self.w)))

    def clearance(self, b):
        """α (deg) of the bevel's trace b."""
        return np.degrees(np.arctan2(dot(b, self.w), -dot(b, self.v)))

    def flute_trace(self, section, u):
        """The flute's line in the planes: differences along the flute, and the bar's direction."""
        h = 1e-3
        f = np.zeros((3, len(u)))
        f[:2] = (
            np.einsum("k,kni->in", [1, -8, 8, -1], [section.flute_point(u + k * h) for k in (-2, -1, 1, 2)]) / 12 / h
        )
        return self.inward(unit(-self.p[2] * f + dot(self.p, f) * np.array([[0.0], [0], [1]])))

    def bevel_trace(self, ground, point, roughly):
        """The bevel's line in the planes: five of its points, found along lines there; `roughly` its direction."""
        a = self.inward(unit(roughly - dot(roughly, self.p) * self.p))
        out = -self.inward(across(self.p, a))
        high, place = [np.zeros(point.shape[1])], []  # the edge's own point
        for k in range(1, 5):
            below = STEP * k / 8  # that a line begins below the bevel: in the steel, which is thin here
            cut = ground.cut(point + k * STEP * a - below * out, out, from_origin=True)
            high.append(cut.z - below)
            place.append(cut.s)
        return unit(a + np.tensordot(FORWARD, np.array(high), 1) / STEP * out), np.array(place)


CASES = [
    ("foot", {}),
    ("foot-relief", {}),
    ("foot", {"bar": SQUARE}),
    ("rod", {}),
    ("rod-relief", {}),
    ("rod", {"bar": SQUARE}),
    ("table", {}),
    ("table-steady", {}),
    ("rod-steady", {"jig.hinge_cant_deg": 20.0}),
    ("foot", {"wheel": {"kind": "belt", "width_mm": 50.0}, "jig.arm_cant_deg": 30.0}),
]


@pytest.mark.parametrize(("base", "edits"), CASES, ids=[f"{base}-{i}" for i, (base, _) in enumerate(CASES)])
def test_along_a_whole_ground_edge(tool, agree, base, edits):
    """One direction of cut for the whole edge: λ runs from 0 at the nose to what the wings make of it."""
    gouge = tool(base, edits)
    edge = measure_edge(gouge, 101)
    # A fifth place on either side of the nose is left to the middle plane, where rolling may leave a kink.
    some = np.setdiff1d(np.arange(5, 96, 3), edge.nose)
    u, point = edge.u[some], edge.point[:, some]
    k, clearance = edge.nose, np.radians(6.0)
    down = unit(edge.heel[:, k] - edge.point[:, k])
    side = np.array([1.0, 0, 0])
    v = -np.cos(clearance) * down - np.sin(clearance) * np.cross(side, down) * np.sign(np.cross(side, down)[2])
    v = np.repeat(v[:, None], len(some), 1)
    # The edge's direction from its neighbours: both surfaces hold there, the flute and a height on it.
    tangent = edge_direction(gouge, u)
    agree("edge tangent, by differences of edge points", edge.tangent[:, some], tangent, 1e-6, "1")
    into = -np.concatenate([gouge.section.flute_normal(u).T, np.zeros((1, len(u)))]) - edge.normal[:, some]
    inclination = np.degrees(np.arcsin(dot(tangent, v)))
    back = np.zeros((3, len(u)))
    back[:2] = gouge.section.flute_normal(u).T
    back = across(tangent, back)
    back *= np.sign(dot(back, into))
    found, fine = {}, np.ones(len(u), bool)
    for name in "no":
        planes = Planes(v, tangent, into, back, name == "n")
        flute = planes.flute_trace(gouge.section, u)
        bevel, place = planes.bevel_trace(gouge.ground, point, across(tangent, edge.normal[:, some]))
        # Where two parts of the path meet in a ridge just behind the edge there is no one line.
        fine &= np.abs(place - edge.cut.s[some]).max(0) < 0.02
        wedge = np.degrees(np.arctan2(np.linalg.norm(across(flute, bevel), axis=0), dot(flute, bevel)))
        found[name] = planes.rake(flute), planes.clearance(bevel), wedge
        fine &= np.maximum(*np.abs(found[name][:2])) < 89  # the relations are between tangents
    assert fine.sum() > 24
    (gn, an, bn), (go, ao, bo) = ([values[fine] for values in found[name]] for name in "no")
    some, cos = some[fine], np.cos(np.radians(inclination[fine]))
    agree("normal wedge angle, between lines cut out of the surfaces in P_n", edge.wedge[some], bn, TIGHT, "deg")
    agree("αn + βn + γn = 90°, βn the reported edge angle", an + edge.wedge[some] + gn, 90, TIGHT, "deg")
    agree("tan γn = tan γo cos λs along whole edges", gn, atan(tan(go) * cos), 1e-8, "deg")
    agree("cot αn = cot αo cos λs along whole edges", an, atan(tan(ao) / cos), TIGHT, "deg")
    ours = 90 - atan(tan(ao) / cos) - atan(tan(go) * cos)
    agree("reported edge angle from αo, γo and λs alone", edge.wedge[some], ours, TIGHT, "deg")
    assert np.abs(bo - edge.wedge[some]).max() > 0.1  # so the two wedge angles can be told apart
    assert np.ptp(inclination) > 8


def tan(deg):
    return np.tan(np.radians(deg))


def atan(value):
    return np.degrees(np.arctan(value))


def edge_direction(gouge, u):
    """(3, n): along the edge by growing u, from points on flute and ground at five places on one side of each."""
    h = 1e-3 * np.sign(u)  # away from the nose, so that a kink there does not count
    line = []
    for k in range(5):
        at = gouge.section.flute_point(u + k * h)
        line.append(np.stack([*at.T, gouge.ground.heights(at).z]))
    return unit(np.tensordot(FORWARD, np.array(line), 1) / h)


def faces(gamma_o, alpha_o, inclination):
    """Edge, rake normal and flank normal for v = z and P_s = the plane x = 0, from the angles in P_o (deg)."""
    g, a, lam = np.radians([gamma_o, alpha_o, inclination])
    edge = np.array([0.0, np.cos(lam), np.sin(lam)])
    rake = unit(np.cross([np.cos(g), 0, -np.sin(g)], edge))
    flank = unit(np.cross([np.sin(a), 0, -np.cos(a)], edge))
    return edge, rake * np.sign(rake[2]), -flank * np.sign(flank[0])


def ground_flat(table, edge, rake, flank):
    """A vee's straight side as rake face and a flat bevel with the same angle between them, ground and measured.

    Returns the edge's measures on that side, and v (the frame's z) as it lies in the tool.
    """
    made = table("foot")
    made["flute"] = {
        "shape": "vee", "floor_radius_mm": 0.5, "flank_angle_deg": 40.0, "web_mm": 5.0, "length_mm": 60.0
    }  # fmt: skip
    recipe = from_table(made)
    section = ground_by(recipe, Ground(())).section
    side = np.append(section.flute_normal(np.array([section.u_right]))[0], 0.0)
    best, turned = -1.0, np.eye(3)
    for psi in np.radians(np.arange(0, 360, 5.0)):  # any turn about the flute's normal will do
        start = np.cross(side, [0.0, 0, 1])
        start = np.cos(psi) * start + np.sin(psi) * np.cross(side, start)
        here = np.column_stack([side, start, np.cross(side, start)])
        there = np.column_stack([rake, edge, np.cross(rake, edge)])
        turn = here @ there.T
        if (turn @ flank)[2] > best:
            best, turned = (turn @ flank)[2], turn
    m, v = turned @ flank, turned @ [0.0, 0, 1]
    along = unit(np.cross(m, [0.3, 0.7, 0.2]))
    nose = np.array([0.0, section.y_floor, 0.0])
    belt = Ground((Pass(still(-m, along, [m @ nose, 0, 0]), WheelSolid(0.0, 500.0, 0.0)),))
    measured = measure_edge(ground_by(recipe, belt), 41)
    return measured, measured.u > 0.9 * section.u_right, v


def test_a_worked_edge_ground_and_measured(table, agree):
    """γo 20, λ 30, αo 8: γn 17.4952407570, αn 9.21774892428, βn 63.2870103187."""
    edge, on_side, v = ground_flat(table, *faces(20, 8, 30))
    agree("edge angle of a flat bevel with γo 20, αo 8, λs 30", edge.wedge[on_side], 63.2870103187, 1e-9, "deg")
    lam = np.degrees(np.arcsin(np.abs(v @ edge.tangent[:, on_side])))
    agree("inclination λs of the ground edge of that case", lam, 30, 1e-11, "deg")
    agree(
        "normal rake γn of the ground edge of that case",
        90 - edge.wedge[on_side] - 9.21774892428,
        17.4952407570,
        1e-10,
        "deg",
    )


@pytest.mark.parametrize(
    ("back", "side", "approach", "wanted"),
    [
        (6, 10, 30, {"gn": 11.5991424809}),
        (8, 4, 15, {"go": 5.93281105884, "lam": 6.71020823563, "gn": 5.89245732506}),
    ],
)
def test_worked_text_examples_ground_and_measured(table, agree, back, side, approach, wanted):
    """Back rake, side rake and side cutting edge angle make the rake plane; the flank stands at αn 7 here."""
    tp, tf, cs = np.tan(np.radians(back)), np.tan(np.radians(side)), np.radians(approach)
    rake = unit(np.array([tf, tp, 1.0]))  # axes: side, back, v
    level = np.array([-np.sin(cs), np.cos(cs), 0.0])
    along = unit(level - (rake @ level) / rake[2] * np.array([0.0, 0, 1]))
    into = np.array([np.cos(cs), np.sin(cs), 0.0])
    w = np.cross(along, [0.0, 0, 1])
    w = unit(w * np.sign(w @ into))
    square = unit(np.array([0.0, 0, 1]) - along[2] * along)
    flank = -np.cos(np.radians(7)) * w - np.sin(np.radians(7)) * square
    edge, on_side, v = ground_flat(table, along, rake, flank)
    gn = 90 - edge.wedge[on_side] - 7
    agree("normal rake of ground edges, worked text examples", gn, wanted["gn"], 1e-8, "deg", source=FOSSEE)
    if "lam" in wanted:
        lam = np.degrees(np.arcsin(np.abs(v @ edge.tangent[:, on_side])))
        agree("inclination of a ground edge, worked text example", lam, wanted["lam"], 1e-10, "deg", source=FOSSEE)
        go = atan(tan(gn) / np.cos(np.radians(lam)))
        agree("orthogonal rake of a ground edge, worked text example", go, wanted["go"], 1e-10, "deg", source=FOSSEE)


@pytest.mark.parametrize("base", ["foot", "rod-relief"])
def test_working_angles_of_placed_tools(tool, agree, base):
    """The tool in use: clearance and inclination of ISO 3002-1's working system, read off tools placed on turned wood.

    Placed coordinates are along the lathe, outward in the half plane of the place, and along the wood's way there.
    """
    gouge = tool(base)
    body, edge = build_body(gouge), measure_edge(gouge)
    meridian = load_work("finial")
    places = places_at(meridian, *meridian.places(30))
    random, n = np.random.default_rng(3002), 300
    place, k = random.integers(0, len(places), n), random.integers(30, 371, n)
    asked = Postures(
        place,
        body.arc[k],
        random.uniform(-1.2, 1.2, n),
        random.uniform(0, 0.6, n),
    )
    turn, shift = placed(body, places, asked)
    u = edge.u[k]
    tangent = np.einsum("nij,jn->in", turn, edge_direction(gouge, u))
    out = np.concatenate([places.normal[asked.place], np.zeros((n, 1))], 1).T
    way = np.array([[0.0], [0.0], [1.0]])
    at = np.einsum("nij,jn->in", turn, edge.point[:, k]) + shift.T
    agree("edge of placed tools on the wood", at[:2], places.point[asked.place].T, 1e-11, "mm")
    agree(
        "placed tools are not stretched",
        turn @ turn.transpose(0, 2, 1),
        np.broadcast_to(np.eye(3), turn.shape),
        1e-11,
        "1",
    )
    level = np.degrees(np.arcsin(dot(tangent, out)))
    agree("edge of placed tools in the wood's tangent plane", level, 0, 1e-6, "deg")
    lam = np.degrees(np.arcsin(dot(tangent, way)))
    agree("inclination λs of placed tools", np.abs(lam), np.abs(np.degrees(asked.lam)), 1e-6, "deg")
    normal = np.einsum("nij,jn->in", turn, edge.normal[:, k])
    # Between two planes that share the edge, read in the plane square to it.
    clearance = np.degrees(np.arctan2(np.linalg.norm(across(normal, -out), axis=0), -dot(normal, out)))
    agree("working clearance of placed tools", clearance, np.degrees(asked.alpha), 1e-6, "deg")
