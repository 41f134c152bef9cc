"""Hollow grinding: depth of a bevel of chord c, and the angle at the edge below the chord's.

Derived from the sagitta s = R − √(R² − c²/4) (Machinery's Handbook 31, p. 79, text seen).
"""

import numpy as np
import pytest

from gougeform.grind.gouge import shape
from gougeform.measure.edge import measure_edge
from gougeform.recipe.change import changed
from gougeform.recipe.reading import from_table

SOURCE = "s = R − √(R² − c²/4): Machinery's Handbook 31, p. 79 · derived"


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


WORKED = {75.0: 0.106742626589, 100.0: 0.0800320256256, 125.0: 0.0640163923940}  # chord 8 mm


@pytest.mark.parametrize("radius", [50.0, 62.5, 75.0, 90.0, 100.0, 125.0, 150.0, 200.0, 500.0])
@pytest.mark.parametrize("chord", [5.0, 8.0, 10.0])
@pytest.mark.parametrize("base", ["foot", "rod", "table"])
def test_hollow_depth(table, agree, base, chord, radius):
    """A table over wheels of 100 to 400 mm and one of 1 m; the worked values among them."""
    more = {"grind.0.wing_length_mm": 2.0 if base == "table" else 4.0}
    if base != "table":
        more |= {"jig.height_mm": 0.0, "jig.projection_mm": 90.0}
    edge, k = nose_bevel(table, base, radius, np.radians(40), chord, **more)
    formula = radius - np.sqrt(radius**2 - chord**2 / 4)
    if chord == 8.0 and radius in WORKED:
        assert formula == pytest.approx(WORKED[radius], rel=1e-9)
    # At the nose the envelope touches the wheel along the middle plane only where the path is the pose at the nose.
    agree("hollow depth at the nose, nine wheels, three chords", edge.hollow[k], formula, 1e-11, "mm")
    agree("bevel length at the nose: the chord asked for", edge.bevel[k], chord, 1e-11, "mm")
    below = 40 - np.degrees(np.arcsin(chord / 2 / radius))
    agree("edge angle at the nose: chord's angle less asin(c/2R)", edge.wedge[k], below, 1e-11, "deg")


def test_the_angle_at_the_edge_is_below_the_chords(table, agree):
    """β_edge = β_chord − asin(c/2R): 40°, c 8, R 100: 37.7075572240."""
    edge, k = nose_bevel(table, "foot", 100.0, np.radians(40), **{"grind.0.wing_length_mm": 4.0})
    agree("edge angle below a chord of 40°, worked value", edge.wedge[k], 37.7075572240, 1e-9, "deg")
    across, along = edge.heel[:, k] - edge.point[:, k], np.array([0, 0, -1.0])
    chord = np.degrees(np.arccos(across @ along / np.linalg.norm(across)))
    agree("chord's own angle, from edge to heel", chord, 40.0, 1e-11, "deg")


@pytest.mark.parametrize("radius", [75.0, 100.0, 125.0])
def test_the_land_of_a_relief_is_hollow_too(table, agree, radius):
    """The land is a chord of the first wheel; what is left of the heel behind it, one of the relief's."""
    edits = {"wheel.diameter_mm": 2 * radius, "grind.1.land_mm": 2.5}
    edge = measure_edge(shape(changed(from_table(table("foot-relief")), edits)))
    k = edge.nose
    agree("land at the nose with a relief", edge.land[k], 2.5, 1e-11, "mm")
    formula = radius - np.sqrt(radius**2 - 2.5**2 / 4)
    agree("hollow of the land at the nose", edge.hollow[k], formula, 1e-11, "mm")


def test_a_belt_leaves_no_hollow(table, agree):
    """R without end: s = 0, and the edge has the chord's angle."""
    edits = {"wheel": {"kind": "belt", "width_mm": 50.0}, "jig.arm_cant_deg": 30.0}
    edge = measure_edge(shape(changed(from_table(table("foot")), edits)))
    agree("hollow depth at the nose from a belt", edge.hollow[edge.nose], 0.0, 1e-11, "mm")
    web = edge.bevel[edge.nose] * np.sin(np.radians(edge.wedge[edge.nose]))
    agree("web under the nose from bevel and edge angle of a belt", web, 6.5, 1e-11, "mm")
