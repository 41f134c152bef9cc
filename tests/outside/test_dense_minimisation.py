"""scipy.optimize on the jigs' own formulas: poses by a general root finder, the surface by a general minimiser.

Nothing of the program is used but the recipe's numbers. The placements are written out with plain rotation matrices
in the machine's frame, the wheel about its own centre; the wanted edge is the rational Bézier. Where a foot's or
rod's three motions hold the edge on the wheel is found by `root`, the pivot's distance by the law of cosines, and the
height of the surface over a place by `minimize_scalar` over the path. Derived; the frames are this project's own.
"""

import numpy as np
import pytest
from scipy.optimize import brentq, minimize_scalar, root

from gougeform.grind.gouge import shape
from gougeform.measure.edge import measure_edge, station_table
from gougeform.recipe.change import changed
from gougeform.recipe.reading import from_table

SOURCE = "scipy.optimize on the jigs' formulas · derived"


def about_y(a):
    c, s = np.cos(a), np.sin(a)
    return np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]])


def about_z(a):
    c, s = np.cos(a), np.sin(a)
    return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])


def about(axis, a):
    x, y, z = axis
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    return np.eye(3) + np.sin(a) * cross + (1 - np.cos(a)) * cross @ cross


BASE = np.array([[0.0, 0, -1], [-1, 0, 0], [0, 1, 0]])


class Grind:
    """One traced grind of the shared recipe's round bar and flute, from the numbers in its table."""

    def __init__(self, made, nose_deg):
        jig, wheel = made["jig"], made["wheel"]
        self.radius, self.kind, self.nose_deg = wheel["diameter_mm"] / 2, jig["kind"], nose_deg
        self.flute = made["flute"]["radius_mm"]
        self.floor = made["flute"]["web_mm"] - made["bar"]["diameter_mm"] / 2
        self.nose = np.array([0, self.floor, 0])
        back = jig["projection_mm"] + jig["hinge_back_mm"]
        if self.kind == "foot":
            cant = np.radians(jig["arm_cant_deg"])
            arm = jig["arm_length_mm"]
            self.held = np.array([0, -(jig["hinge_drop_mm"] + arm * np.sin(cant)), -(back + arm * np.cos(cant))])
            from_pivot = self.nose - self.held
        else:
            cant = np.radians(jig["hinge_cant_deg"])
            self.held = np.array([0, -jig["hinge_drop_mm"], -back])
            self.axis, self.shoe = np.array([0, np.sin(cant), np.cos(cant)]), np.array([0, jig["shoe_mm"], 0])
            from_pivot = self.nose - self.held + self.shoe
        # Law of cosines for the pivot's distance.
        r, slope = np.linalg.norm(from_pivot), np.arctan2(from_pivot[1], from_pivot[2])
        at_nose = np.radians(nose_deg) + np.pi / 2 - slope
        far = np.sqrt(self.radius**2 + r**2 - 2 * self.radius * r * np.cos(at_nose))
        high = jig["height_mm"]
        self.pivot = np.array([np.sqrt(far**2 - high**2), 0, high])
        grind = made["grind"][0]
        fullness = grind.get("fullness", np.sqrt(2) - 1)
        self.weight, self.shoulder = fullness / (1 - fullness), grind.get("shoulder", 0.8)
        self.wing = grind["wing_length_mm"]
        # Lip: where the flute's circle leaves the bar's.
        b, a, d = made["bar"]["diameter_mm"] / 2, self.flute, self.floor + self.flute
        y = (b * b - a * a + d * d) / (2 * d)
        self.lip = np.sqrt(b * b - y * y)
        self.known = {0.0: self.at_nose()}

    def placed(self, motions, points):
        """Tool points (…, 3) in the machine's frame, and the rotation."""
        if self.kind == "foot":
            roll, dip, swing = motions
            turn = about_z(swing) @ about_y(dip) @ BASE @ about_z(roll)
            return self.pivot + (points - self.held) @ turn.T, turn
        roll, dip, slide = motions
        first = about_y(dip) @ BASE
        turn = first @ about(self.axis, roll)
        return self.pivot + [0, slide, 0] + first @ self.shoe + (points - self.held) @ turn.T, turn

    def outline(self, s):
        """Point of the wanted edge, for any s: one conic a side."""
        t, w = abs(s), self.weight
        den = (1 - t) ** 2 + 2 * w * t * (1 - t) + t * t
        x = np.sign(s) * self.lip * (2 * w * t * (1 - t) * self.shoulder + t * t) / den
        return np.array([x, self.floor + self.flute - np.sqrt(self.flute**2 - x * x), -self.wing * t * t / den])

    def tangent(self, s):
        h = 1e-3 if abs(s) < 0.5 else -1e-3 * np.sign(s)
        if s == 0:
            return np.array([1.0, 0, 0])
        way = np.sign(s) if abs(s) < 0.5 else -np.sign(s)  # not across the nose, not past the lip
        h = 1e-3 * way
        parts = np.array([self.outline(s + k * h) for k in range(7)])
        weights = np.array([-147, 360, -450, 400, -225, 72, -10]) / 60
        t = weights @ parts / h
        return t / np.linalg.norm(t)

    def at_nose(self):
        """The motions at the nose: dip by bracketing; of the places where it touches, the one with the asked angle."""
        steps = np.radians(np.linspace(-89, 89, 90))

        def gap(dip):
            p, _ = self.placed((0, dip, 0), self.nose)
            return np.hypot(p[0], p[2]) - self.radius

        value = [gap(a) for a in steps]
        for a, b, one, two in zip(steps[:-1], steps[1:], value[:-1], value[1:], strict=True):
            if one * two < 0:
                dip = brentq(gap, a, b, xtol=1e-15)
                p, turn = self.placed((0, dip, 0), self.nose)
                steel = -(turn.T @ [p[0], 0, p[2]]) / self.radius
                if abs(np.degrees(np.arccos(-steel[1])) - self.nose_deg) < 1e-6 and steel[2] > 0:
                    return np.array([0.0, dip, 0.0])
        raise AssertionError("the nose does not touch under that angle")

    def motions(self, s):
        """The three motions that hold the edge's place s on the middle of the wheel's face, tangent to it."""
        if s in self.known:
            return self.known[s]
        point, along = self.outline(s), self.tangent(s)

        def off(motions):
            p, turn = self.placed(motions, point)
            t = turn @ along
            return [np.hypot(p[0], p[2]) - self.radius, (p[0] * t[0] + p[2] * t[2]) / self.radius, p[1]]

        near = min(self.known, key=lambda k: abs(k - s))
        while abs(near - s) > 0.06:  # follow the thread from the nose
            near = round(near + 0.05 * np.sign(s - near), 3)
            self.motions(near)
        found = root(off, self.known[near], tol=1e-12).x
        assert np.abs(off(found)).max() < 1e-9
        self.known[s] = found
        return found

    def enters(self, s, x, y):
        """Where the line over (x, y) enters the full face at place s, and the steel's normal there in the tool."""
        origin, turn = self.placed(self.motions(s), np.array([x, y, 0.0]))
        d = turn[:, 2]
        a, b = d[0] ** 2 + d[2] ** 2, origin[0] * d[0] + origin[2] * d[2]
        disc = b * b - a * (origin[0] ** 2 + origin[2] ** 2 - self.radius**2)
        if disc <= 0:
            return np.inf, None
        z = (-b - np.sqrt(disc)) / a
        p = origin + z * d
        return z, -(turn.T @ [p[0], 0, p[2]]) / self.radius

    def height(self, x, y):
        """The least of those over the path, and its normal."""
        coarse = np.round(np.linspace(-1, 1, 41), 3)
        z = [self.enters(s, x, y)[0] for s in coarse]
        k = int(np.argmin(z))
        low, high = coarse[max(k - 1, 0)], coarse[min(k + 1, 40)]
        best = minimize_scalar(lambda s: self.enters(s, x, y)[0], bounds=(low, high), method="bounded",
                               options={"xatol": 1e-9})  # fmt: skip
        ends = [(self.enters(s, x, y)[0], s) for s in (low, high, best.x)]
        return self.enters(min(ends)[1], x, y)


CASES = {
    "foot": {},
    "foot-relief": {"wheel.diameter_mm": 150.0, "grind.0.wing_length_mm": 8.0},
    "rod": {"wheel.diameter_mm": 250.0},
    "rod-relief": {},
}


def edited(table, base, edits):
    made = table(base)
    for name, value in edits.items():
        at = made
        *path, last = name.split(".")
        for part in path:
            at = at[int(part) if part.isdigit() else part]
        at[last] = value
    return made


@pytest.mark.parametrize("base", CASES)
def test_surface_angles_and_motions(table, agree, base):
    made = edited(table, base, CASES[base])
    gouge = shape(changed(from_table(table(base)), CASES[base]))
    edge = measure_edge(gouge, 41)
    first = Grind(made, made["jig"]["nose_angle_deg"])
    setting = gouge.settings[0]
    agree("centre distance, law of cosines by hand", setting.centre_distance, np.linalg.norm(first.pivot), 1e-11, "mm")
    grinds = [(first, 0.0)]
    if base.endswith("relief"):
        second = Grind(made, made["grind"][1]["nose_angle_deg"])
        land = made["grind"][1]["land_mm"]

        def past(y):
            return np.hypot(y - first.floor, first.height(0.0, y)[0]) - land

        y = brentq(past, first.floor - land, first.floor - 1e-3, xtol=1e-11)
        back = first.height(0.0, y)[0] - second.height(0.0, y)[0]
        agree("how far the relief is held back for its land", gouge.ground.passes[1].setback, back, 1e-10, "mm")
        grinds.append((second, back))

    def height(x, y):
        found = [(z + back, n) for g, back in grinds for z, n in [g.height(x, y)]]
        return min(found, key=lambda pair: pair[0])

    table_of = station_table(gouge, edge)
    for k in (3, 11, 20, 27, 36):
        x, y, z = edge.point[:, k]
        h, normal = height(x, y)
        agree("edge's place along the bar, general minimiser", z, h, 1e-11, "mm")
        flute = np.array([-x, first.floor + first.flute - y, 0]) / first.flute
        wedge = 180 - np.degrees(np.arccos(flute @ normal))
        agree("edge angle, general minimiser", edge.wedge[k], wedge, 1e-5, "deg")
        s = edge.cut.s[k]
        roll, dip, third = first.motions(float(s))
        ours = [table_of["roll_deg"][k], table_of["dip_deg"][k]]
        agree("roll and dip along the edge, general root finder", ours, np.degrees([roll, dip]), 1e-8, "deg")
        if first.kind == "foot":
            agree("swing along the edge, general root finder", table_of["swing_deg"][k], np.degrees(third), 1e-8, "deg")
        else:
            agree("slide along the edge, general root finder", table_of["slide_mm"][k], third, 1e-9, "mm")
    for j in np.linspace(20, edge.heel_line.shape[1] - 21, 5).astype(int):
        x, y, z = edge.heel_line[:, j]
        agree("heel's place along the bar, general minimiser", z, height(x, y)[0], 1e-9, "mm")
    for x, y in [(0.5, 0.0), (-2.0, -2.0), (3.1, -1.0)]:
        z = gouge.ground.heights(np.array([[x, y]])).z[0]
        agree("height of the face, general minimiser", z, height(x, y)[0], 1e-10, "mm")
