"""Off-centre work against the circle itself, turned step by step."""

import numpy as np
import pytest

from gougeform.command import main
from gougeform.errors import InputError
from gougeform.reach.offcentre import OffCentre


def test_swing_and_travel_of_a_turned_circle():
    """A circle's points turned about the offset axis: where it crosses a fixed ray, and its normal there."""
    work = OffCentre(20.0, 6.0)
    turn = np.radians(np.arange(0, 360, 7.0))
    for angle in turn:
        centre = 6 * np.array([np.cos(angle), np.sin(angle)])
        # On the ray along x: |(s, 0) - centre| = 20.
        s = centre[0] + np.sqrt(400 - centre[1] ** 2)
        normal = (np.array([s, 0.0]) - centre) / 20
        assert work.distance(np.array([angle]))[0] == pytest.approx(s)
        assert work.tilt(np.array([angle]))[0] == pytest.approx(-np.arcsin(normal[1]))
    dense = np.linspace(0, 2 * np.pi, 100_001)
    assert np.abs(work.tilt(dense)).max() == pytest.approx(work.swing, abs=1e-8)
    assert np.ptp(work.distance(dense)) == pytest.approx(work.travel, abs=1e-8)


@pytest.mark.parametrize("bevel", [0.5, 2.0, 5.0, 12.0])
def test_lift_of_a_straight_bevel(bevel):
    """Raise a straight bevel, tilted by the swing, until none of its points is in the circle."""
    work = OffCentre(20.0, 6.0)
    x = np.linspace(0, bevel, 20_001)
    along, down = x * np.cos(work.swing), -x * np.sin(work.swing)
    need = np.sqrt(np.maximum(400 - along**2, 0)) - 20 - down
    assert work.lift(np.array([bevel]))[0] == pytest.approx(need.max(), abs=1e-6)


def test_no_offset_lifts_nothing_and_a_shorter_land_lifts_less():
    assert OffCentre(20.0, 0.0).lift(np.array([1.0, 10.0])).tolist() == [0.0, 0.0]
    lift = OffCentre(30.0, 10.0).lift(np.array([0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0]))
    assert (np.diff(lift) >= 0).all()
    assert lift[-1] == lift[-2] == pytest.approx(30 / np.cos(np.arcsin(1 / 3)) - 30)


@pytest.mark.parametrize(("radius", "offset"), [(0, 0), (-1, 0), (5, 5), (5, -1), (np.nan, 0), (5, np.inf)])
def test_refused(radius, offset):
    with pytest.raises(InputError):
        OffCentre(radius, offset)


def test_command(capsys):
    assert main(["offcentre", "--radius", "20", "--offset", "6", "--json"]) == 0
    import json

    out = json.loads(capsys.readouterr().out)
    assert out["tangent_swing_deg"] == pytest.approx(17.4576, abs=1e-4)
    assert main(["offcentre", "--radius", "20", "--offset", "26"]) == 2
    assert "keep the lathe's axis inside" in capsys.readouterr().err.lower()
    assert main(["offcentre", "--radius", "20", "--offset", "6", "--recipe", "finial-round-10-relief-foot"]) == 0
    assert "land of the tool" in capsys.readouterr().out
