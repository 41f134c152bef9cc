"""Hollow grinding: depth of a bevel of chord c, and the angle at the edge below the chord's.

Derived from the sagitta s = R − √(R² − c²/4) (Machinery's Handbook 31, p. 79, text seen).
"""

import numpy as np
import pytest

from gougeform.grind.gouge import shape
from gougeform.measure.edge import measure_edge
from gougeform.read.recipe import changed, from_table


def nose_bevel(table, base, radius, chord_angle, chord=8.0, **edits):
    """A bevel at the nose whose chord is `chord` long, by choice of web and nose angle; and its measures."""
    below = np.arcsin(chord / (2 * radius))
    made = changed(
        from_table(table(base)),
        {
            "bar.diameter_mm": 12.7,
            "flute.radius_mm": 5.0,
            "flute.web_mm": chord * np.sin(chord_angle),
            "wheel.diameter_mm": 2.0 * radius,
            "jig.nose_angle_deg": float(np.degrees(chord_angle - below)),
            **edits,
        },
    )
    edge = measure_edge(shape(made))
    return edge, edge.nose


@pytest.mark.parametrize(
    ("radius", "depth"), [(75.0, 0.106742626589), (100.0, 0.0800320256256), (125.0, 0.0640163923940)]
)
@pytest.mark.parametrize("base", ["foot", "rod", "table"])
def test_hollow_depth(table, base, radius, depth):
    more = {"grind.0.wing_length_mm": 4.0} if base != "table" else {}
    if base != "table":
        more["jig.height_mm"] = 0.0
    edge, k = nose_bevel(table, base, radius, np.radians(40), **more)
    assert edge.bevel[k] == pytest.approx(8.0, abs=2e-9)
    assert radius - np.sqrt(radius**2 - 16) == pytest.approx(depth, rel=1e-9)
    # At the nose the envelope touches the wheel along the middle plane only where the path is the pose at the nose.
    assert edge.hollow[k] == pytest.approx(depth, abs=2e-9)


def test_the_angle_at_the_edge_is_below_the_chords(table):
    """β_edge = β_chord − asin(c/2R): 40°, c 8, R 100: 37.7075572240."""
    edge, k = nose_bevel(table, "foot", 100.0, np.radians(40), **{"grind.0.wing_length_mm": 4.0})
    assert edge.wedge[k] == pytest.approx(37.7075572240, abs=1e-9)
    across, along = edge.heel[:, k] - edge.point[:, k], np.array([0, 0, -1.0])
    assert np.degrees(np.arccos(across @ along / np.linalg.norm(across))) == pytest.approx(40.0, abs=1e-8)
