"""29 CFR 1910.215(a)(4) and (b)(9), wheel speed v = πDn against the speed printed on the wheel (ANSI B7.1), M2 steel.

Regulation, speed rule and the service centres' data sheets: text seen. They touch the cautions that stand beside every
setting, and the mass of steel removed.
"""

import re

import numpy as np
import pytest

from gougeform.grind.gouge import shape
from gougeform.measure.measures import measure, result
from gougeform.present.cautions import STRONG, cautions
from gougeform.recipe.change import changed
from gougeform.recipe.reading import from_table, load

SOURCE = "29 CFR 1910.215(a)(4), (b)(9) · seen"
SPEED = "v = πDn, ANSI B7.1's rule · seen"
STEEL = "M2 data sheets of service centres · seen"
FOOT_PER_MIN = 0.3048 / 60  # m/s


def spoken(table, **wheel):
    return cautions(changed(from_table(table("foot")), {f"wheel.{k}": v for k, v in wheel.items()}))


@pytest.mark.parametrize(
    ("diameter", "rpm", "speed"),
    [(203.2, 3450, 7225.66 * FOOT_PER_MIN), (200.0, 2850, 29.845), (150.0, 2850, np.pi * 0.15 * 2850 / 60)],
)
def test_wheel_speed(table, agree, diameter, rpm, speed):
    """8 in at 3450 rpm: 7225.66 ft/min; 200 mm at 2850 rpm: 29.845 m/s. As said to a person, with one digit."""
    recipe = changed(from_table(table("foot")), {"wheel.diameter_mm": diameter, "wheel.rpm": rpm})
    agree("speed of the wheel's face", recipe.grinds[0].wheel.speed_m_s, speed, 5e-4, "m/s", source=SPEED)
    said = re.search(r"runs at ([0-9.]+) m/s", " ".join(cautions(recipe)))
    agree("speed said beside the settings", float(said[1]), speed, 0.05, "m/s", source=SPEED)


def test_a_wheel_above_its_rating_is_warned_of_first(table):
    """8 in at 3450 rpm runs over a wheel rated 6500 ft/min; rated 7500 it does not."""
    assert spoken(table, diameter_mm=203.2, rpm=3450, rated_m_s=6500 * FOOT_PER_MIN)[0].startswith(STRONG)
    assert not spoken(table, diameter_mm=203.2, rpm=3450, rated_m_s=7500 * FOOT_PER_MIN)[0].startswith(STRONG)


@pytest.mark.parametrize("name", ["finial-round-10-relief-foot", "baluster-square-10-plain-rod"])
def test_gaps_said_beside_the_settings(agree, name):
    """Rest at most 1/8 in, tongue guard at most 1/4 in; the metric numbers are those, rounded to 0.1 mm."""
    text = " ".join(cautions(load(name)))
    for what, inches in (("tool rest", 1 / 8), ("tongue guard", 1 / 4)):
        top, low, metric = re.search(rf"{what} at most (\d)/(\d) in \(([0-9.]+) mm\)", text).groups()
        agree("gaps at rest and tongue guard, as said", int(top) / int(low), inches, 1e-12, "in")
        agree("gaps at rest and tongue guard, as said in mm", float(metric), inches * 25.4, 0.051, "mm")


def test_heat_said_beside_the_settings(agree):
    """High-speed steel is tempered at 540 °C or higher and softens quickly above about 600 °C."""
    text = " ".join(cautions(load("finial-round-10-relief-foot")))
    said = float(re.search(r"above about (\d+) °C", text)[1])
    agree("temperature at which high-speed steel softens, as said", said, 600, 0, "°C", source=STEEL)


def test_density_and_stiffness_of_the_library_steel(agree):
    """M2: 8.14 to 8.16 g/cm³, 190 to 210 GPa; what is removed weighs volume times density."""
    recipe = load("finial-round-10-fingernail-foot")
    steel = recipe.bar.steel
    agree("density of the library's high-speed steel", steel.density_g_cm3, 8.15, 0.01, "g/cm³", source=STEEL)
    agree("modulus of the library's high-speed steel", steel.young_gpa, 200, 10, "GPa", source=STEEL)
    found = result(measure(shape(recipe)), [])
    weighs = found["steel_removed_mm3"] * 8.15e-3
    agree("mass of steel removed", found["steel_removed_g"], weighs, 0.0013, "1", relative=True, source=STEEL)
