"""Distances to solids of revolution: values an exact boundary-representation kernel agrees with; and skew cylinders."""

import numpy as np
import pytest

from gougeform.work.distance import Wood
from gougeform.work.files import from_table


def work(*points):
    start, *rest = [list(map(float, p)) for p in points]
    return from_table({"start_mm": start, "piece": [{"shape": "line", "to_mm": p} for p in rest]})


def test_points_near_a_turned_body():
    """Meridian (0,0) (30,0) (40,20) (20,50) (0,50) as (rho, z); derived, an exact kernel agrees."""
    wood = Wood(work((0, 30), (20, 40), (50, 20)))
    got = wood.of_points(np.array([[30.0, 50.0, 10.0], [-5.0, 0.0, 60.0]]))
    assert got == pytest.approx([14.6913970599, 29.0688837075], abs=1e-9)
    assert wood.meridian.volume() == pytest.approx(165457.213089, abs=1e-6)


def test_skew_cylinders():
    """Radii 6 and 10, axes 30 apart and square to each other: 30 - 6 - 10 = 14."""
    wood = Wood(work((-100, 10), (100, 10)))
    phi = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    along = np.linspace(-20, 20, 41)
    phi, along = (a.ravel() for a in np.meshgrid(phi, along))
    points = np.stack([6 * np.cos(phi), 30 + 6 * np.sin(phi), along], -1)
    assert wood.of_points(points).min() == pytest.approx(14.0, abs=1e-9)
