"""Roots in brackets, with known slopes: functions whose roots are known, and what a bracket must survive."""

from __future__ import annotations

import numpy as np

from gougeform.numerics.roots import newton_roots

BELOW = {"width": 1e-14, "small": 1e-12}


def found(function, low, high, **more):
    """Roots, and how often the functions were looked up after the ends."""
    looks = []

    def value(which, x):
        looks.append(len(x))
        return function(which, x)

    n = np.arange(len(low))
    return newton_roots(value, low, high, function(n, low), function(n, high), **(BELOW | more)), len(looks)


def test_a_cubic_is_its_own_first_guess():
    """x³ = c, c from 0.1 to 0.9: the cubic through the ends is the function."""
    c = np.linspace(0.1, 0.9, 9)
    root, looks = found(lambda i, x: (x**3 - c[i], 3 * x**2), np.full(9, 0.2), np.full(9, 1.0))
    np.testing.assert_allclose(root, np.cbrt(c), rtol=0, atol=1e-12)
    assert looks <= 3


def test_smooth_functions_take_few_looks():
    """Root of cos(x) = c x; arbitrary c, checked by putting it back in."""
    c = np.linspace(0.2, 5, 50)
    root, looks = found(lambda i, x: (np.cos(x) - c[i] * x, -np.sin(x) - c[i]), np.zeros(50), np.full(50, 1.5))
    assert np.abs(np.cos(root) - c * root).max() < 1e-12
    assert looks <= 4


def test_missing_slopes_only_cost_time():
    c = np.linspace(0.1, 0.9, 9)
    root, looks = found(lambda i, x: (np.exp(x) - 1 - c[i], np.full_like(x, np.nan)), np.zeros(9), np.ones(9))
    np.testing.assert_allclose(root, np.log1p(c), rtol=0, atol=1e-11)
    assert looks < 100


def test_a_kink_and_a_missing_surface():
    """|x - 0.3| - 0.2 falls and rises; a function that is infinite beyond 0.6 still has its change of sign."""
    c = np.array([0.1, 0.5])
    root, _ = found(
        lambda i, x: (np.abs(x - 0.3) - 0.2, np.sign(x - 0.3)), np.array([0.0, 0.25]), np.array([0.25, 1.0])
    )
    np.testing.assert_allclose(root, c, rtol=0, atol=1e-12)
    root, _ = found(
        lambda i, x: (np.where(x > 0.6, np.inf, x - 0.55), np.where(x > 0.6, np.nan, 1.0)), np.zeros(1), np.ones(1)
    )
    np.testing.assert_allclose(root, 0.55, rtol=0, atol=1e-12)


def test_ends_where_neither_surface_is_met():
    """Only inside 0.2 … 0.8 are there values: cos(x) = x + 0.1, once from each side."""

    def function(which, x):
        there = np.abs(x - 0.5) < 0.3
        value = np.where(there, np.cos(x) - x - 0.1, np.where(x < 0.5, np.inf, -np.inf))
        return value, np.where(there, -np.sin(x) - 1, np.nan)

    root, _ = found(function, np.array([0.0, 0.1]), np.array([1.0, 0.9]))
    np.testing.assert_allclose(np.cos(root), root + 0.1, rtol=0, atol=1e-12)


def test_a_jump_is_bracketed():
    root, _ = found(lambda i, x: (np.where(x < 0.7, -1.0, 1.0), np.zeros_like(x)), np.zeros(1), np.ones(1))
    np.testing.assert_allclose(root, 0.7, rtol=0, atol=1e-13)


def test_an_end_that_is_the_root_is_taken():
    root, looks = found(lambda i, x: (x - 1.0, np.ones_like(x)), np.zeros(2), np.ones(2))
    np.testing.assert_array_equal(root, 1.0)
    assert looks == 0
