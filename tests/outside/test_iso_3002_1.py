"""ISO 3002-1, tool-in-hand system: relations between orthogonal and normal angles.

The ISO text itself was not seen; course notes on metal cutting, eqs. 1.6 and 1.10, and the FOSSEE textbook companion
3250 (Ex. 4.11 and another) were: text seen. The planes are built here from their definitions: P_r square to the cutting
velocity v, P_s through edge and v, P_o square to both, P_n square to the edge.
"""

import numpy as np
import pytest

from gougeform.measure.edge import measure_edge


def unit(a):
    return a / np.linalg.norm(a, axis=0)


def angles(v, edge, rake, flank, into):
    """γo, αo, γn, αn, λs in degrees: v, edge tangent, outward normals of rake face and flank, and a way into the tool.

    All (3, n). In P_o and P_n angles are read between traces: of the rake face and P_r, of the flank and P_s.
    """
    v, edge = unit(v), unit(edge)
    w = np.cross(edge, v, axis=0)
    w = unit(w * np.sign((w * into).sum(0)))  # square to P_s, into the tool
    along = unit(v - (v * edge).sum(0) * edge)  # where P_s meets P_n

    def dot(a, b):
        return (a * b).sum(0)

    out = [np.arctan2(dot(rake, w), dot(rake, v)), np.arctan2(-dot(flank, v), -dot(flank, w))]
    out += [np.arctan2(dot(rake, w), dot(rake, along)), np.arctan2(-dot(flank, along), -dot(flank, w))]
    return [np.degrees(a) for a in [*out, np.arcsin(dot(edge, v))]]


def faces(gamma_o, alpha_o, inclination):
    """Edge, rake normal and flank normal for v = z and P_s = the plane x = 0, from the angles in P_o (deg)."""
    g, a, lam = np.radians([gamma_o, alpha_o, inclination])
    edge = np.array([[0.0], [np.cos(lam)], [np.sin(lam)]])
    rake = np.cross(np.array([[np.cos(g)], [0], [-np.sin(g)]]), edge, axis=0)
    flank = np.cross(np.array([[np.sin(a)], [0], [-np.cos(a)]]), edge, axis=0)
    rake, flank = (unit(n) for n in (rake, flank))
    return edge, rake * np.sign(rake[2]), -flank * np.sign(flank[0])


V, INTO = np.array([[0.0], [0.0], [1.0]]), np.array([[1.0], [0.0], [0.0]])


def test_worked_values():
    """γo 20, λ 30, αo 8: γn 17.4952407570, αn 9.21774892428, βn 63.2870103187."""
    edge, rake, flank = faces(20, 8, 30)
    go, ao, gn, an, lam = angles(V, edge, rake, flank, INTO)
    assert (go[0], ao[0], lam[0]) == pytest.approx((20, 8, 30), abs=1e-10)
    assert (gn[0], an[0]) == pytest.approx((17.4952407570, 9.21774892428), abs=1e-9)
    wedge = 180 - np.degrees(np.arccos((rake * flank).sum(0)))
    assert wedge[0] == pytest.approx(63.2870103187, abs=1e-9)


@pytest.mark.parametrize(
    ("back", "side", "approach", "wanted"),
    [
        (6, 10, 30, {"gn": 11.5991424809}),
        (8, 4, 15, {"go": 5.93281105884, "lam": 6.71020823563, "gn": 5.89245732506}),
    ],
)
def test_worked_text_examples(back, side, approach, wanted):
    """FOSSEE companion 3250: back rake, side rake and side cutting edge angle to γo, λs, γn; from the rake plane."""
    tp, tf, cs = np.tan(np.radians(back)), np.tan(np.radians(side)), np.radians(approach)
    rake = unit(np.array([[tf], [tp], [1.0]]))  # axes: side, back, v
    into = np.array([[np.cos(cs)], [np.sin(cs)], [0.0]])
    level = np.array([[-np.sin(cs)], [np.cos(cs)], [0.0]])
    edge = level - (rake * level).sum(0) / rake[2] * V
    go, _, gn, _, lam = angles(V, edge, rake, -into, into)
    found = {"go": go[0], "gn": gn[0], "lam": abs(lam[0])}
    for name, value in wanted.items():
        assert found[name] == pytest.approx(value, abs=1e-8)


@pytest.mark.parametrize("clearance", [0.5, 6.0])
@pytest.mark.parametrize("inclination", [-40.0, 0.0, 25.0])
@pytest.mark.parametrize("base", ["foot", "rod-relief", "table-steady"])
def test_along_a_whole_ground_edge(tool, base, clearance, inclination):
    """Every station: α + β + γ = 90° in P_n with β our wedge angle; tan γn = tan γo cos λs, cot αn = cot αo cos λs."""
    gouge = tool(base)
    edge = measure_edge(gouge, 101)
    flute = np.zeros((3, 101))
    flute[:2] = gouge.section.flute_normal(edge.u).T
    a, lam = np.radians([clearance, inclination])
    # From edge to heel in the bevel; then v as a workpiece would move, at that clearance and inclination.
    back = np.cross(edge.normal, edge.tangent, axis=0)
    back *= np.where((back * flute).sum(0) < 0, 1, -1)
    square = -np.cos(a) * back - np.sin(a) * edge.normal
    v = np.cos(lam) * square + np.sin(lam) * edge.tangent
    into = np.sin(a) * back - np.cos(a) * edge.normal
    go, ao, gn, an, ls = angles(v, edge.tangent, flute, edge.normal, into)
    np.testing.assert_allclose(ls, inclination, rtol=0, atol=1e-9)
    np.testing.assert_allclose(an, clearance, rtol=0, atol=1e-9)
    np.testing.assert_allclose(an + edge.wedge + gn, 90, rtol=0, atol=1e-9)

    def tan(deg):
        return np.tan(np.radians(deg))

    np.testing.assert_allclose(tan(gn), tan(go) * np.cos(lam), rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(1 / tan(an), np.cos(lam) / tan(ao), rtol=1e-9)
    # In P_o the sum holds too, with the wedge's trace there, which is another angle unless λ = 0.
    beta_o = 90 - ao - go
    if inclination:
        assert np.abs(beta_o - edge.wedge).max() > 0.05
    else:
        np.testing.assert_allclose(beta_o, edge.wedge, rtol=0, atol=1e-8)
