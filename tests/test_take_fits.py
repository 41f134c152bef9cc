"""Points of known curves come back as those curves, with an uncertainty that holds."""

import math

import numpy as np
import pytest

from gougeform.bar.curves import EllipseCurve, ParabolaCurve, VeeCurve
from gougeform.bar.outline import round_outline, square_outline
from gougeform.errors import InputError
from gougeform.take.fits import fit_flute, fit_outline

CURVES = [
    ("arc", EllipseCurve(4, 4), 1.2, {"radius_mm": 4}),
    ("ellipse", EllipseCurve(4, 7), 1.1, {"half_width_mm": 4, "floor_radius_mm": 16 / 7}),
    ("parabola", ParabolaCurve(3, 9), 4.0, {"floor_radius_mm": 3}),
    ("vee", VeeCurve(1.5, math.radians(35), 9), 5.0, {"floor_radius_mm": 1.5, "flank_angle_deg": 35}),
]


def laid(points, angle, shift):
    c, s = math.cos(angle), math.sin(angle)
    return points @ np.array([[c, s], [-s, c]]) + shift


def flute_points(curve, end, n=160):
    u = np.linspace(-end, end, n)
    x, y = curve.point(np.abs(u))
    return np.column_stack([np.where(u < 0, -x, x), y])


@pytest.mark.parametrize(("kind", "curve", "end", "fields"), CURVES, ids=[c[0] for c in CURVES])
@pytest.mark.parametrize("noise", [0.0, 0.01])
def test_a_flute_comes_back_as_what_it_is(kind, curve, end, fields, noise):
    rng = np.random.default_rng(5)
    p = flute_points(curve, end)
    best = fit_flute(laid(p + rng.normal(0, noise, p.shape), 0.03, [1.2, -0.7]))[0]
    assert best.kind == kind
    for name, true in fields.items():
        assert best.fields[name].value == pytest.approx(true, abs=max(2 * best.fields[name].off, 1e-6), rel=0), name
    assert best.fields.keys() == fields.keys()
    assert best.rms < max(1.3 * noise, 1e-5)
    assert best.middle[0].value == pytest.approx(1.2, abs=0.2)  # an arc may be turned about its own centre


def test_uncertainty_holds_in_95_of_100():
    rng = np.random.default_rng(8)
    held = []
    for _ in range(60):
        p = flute_points(EllipseCurve(4, 4), 1.2, 60)
        fit = next(f for f in fit_flute(p + rng.normal(0, 0.02, p.shape)) if f.kind == "arc")
        held.append(fit.fields["radius_mm"].covers(4.0))
    assert 0.85 <= np.mean(held) <= 1.0


def test_neighbours_that_err_together_count_less():
    rng = np.random.default_rng(3)
    p = flute_points(EllipseCurve(4, 4), 1.2, 200)
    wave = np.convolve(rng.normal(0, 0.05, 230), np.ones(31) / 31, "valid")
    normal = (p - [0, 4]) / np.linalg.norm(p - [0, 4], axis=1)[:, None]
    alone = next(f for f in fit_flute(p + normal * rng.normal(0, wave.std(), 200)[:, None]) if f.kind == "arc")
    together = next(f for f in fit_flute(p + normal * wave[:, None]) if f.kind == "arc")
    assert together.fields["radius_mm"].off > 2 * alone.fields["radius_mm"].off


def test_smooth_points_where_no_formula_lies():
    x = np.linspace(-4, 4, 161)
    p = np.column_stack([x, 0.06 * x**2 + 0.004 * x**4])
    fits = fit_flute(p)
    assert fits[0].kind == "points"
    # The recipe's own spline through them is the curve.
    own = fits[0].points
    assert own[0] == pytest.approx([0, 0])
    assert np.abs(own[:, 1] - (0.06 * own[:, 0] ** 2 + 0.004 * own[:, 0] ** 4)).max() < 2e-3


@pytest.mark.parametrize(
    ("kind", "outline", "fields"),
    [
        ("round", round_outline(10), {"diameter_mm": 10}),
        ("square", square_outline(10, 1.2), {"side_mm": 10, "corner_radius_mm": 1.2}),
    ],
)
def test_an_outline_comes_back_as_what_it_is(kind, outline, fields):
    rng = np.random.default_rng(2)
    p = outline.point(np.linspace(0, outline.count, 300, endpoint=False))
    fits = fit_outline(laid(p + rng.normal(0, 0.005, p.shape), 0.02, [3, 4]))
    assert fits[0].kind == kind
    for name, true in fields.items():
        assert fits[0].fields[name].covers(true) or fits[0].fields[name].value == pytest.approx(true, abs=0.01)
    assert [f.kind for f in fits].count("points") == 1


@pytest.mark.parametrize(
    ("points", "words"),
    [
        (np.zeros((0, 2)), "0 different points"),
        (np.ones((9, 2)), "1 different points"),
        ([[0, 0], [1, np.nan]], "finite"),
        ([1, 2, 3], "finite pairs"),
        (np.column_stack([np.arange(9.0), np.zeros(9)]), "go down from a lip"),
    ],
)
def test_bad_points_are_refused(points, words):
    with pytest.raises(InputError, match=words):
        fit_flute(np.asarray(points, float))
