"""References for errors: a tool with other knots, hollows by looking everywhere, and tools of all kinds by numbers."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from gougeform.grind.ground import Ground
from gougeform.machine.sweep import Steady, Traced
from solids import FOOT, ROD, TABLE


@dataclass(frozen=True)
class SteadyWith(Steady):
    """A steady path with as many knots as asked."""

    count: int = 65

    @property
    def knots(self):
        return np.linspace(-self.roll_max, self.roll_max, self.count)


def with_knots(gouge, count=None, times=4):
    """The gouge with `count` knots on each path, or with the gaps between its own divided by `times`."""
    passes = []
    for one in gouge.ground.passes:
        path, knots = one.path, one.path.knots
        n = count or times * (len(knots) - 1) + 1
        if isinstance(path, Traced):
            path = replace(path, knots=np.linspace(knots[0], knots[-1], n))
        else:
            path = SteadyWith(path.axis, path.through, path.turn0, path.shift0, path.roll_max, n)
        passes.append(replace(one, path=path))
    return replace(gouge, ground=Ground(tuple(passes)))


def dense_hollows(gouge, edge, stations, places=201):
    """Where bevels are furthest from their chords, by looking at even places and then closer round the furthest.

    Returns the distances (k,), above zero where the bevel is hollow, chord lengths (k,), and which bevels are one line
    from edge to heel or crease: for the others no distance means anything.
    """
    point, plane = edge.point[:, stations], edge.plane[:, stations]
    chord = edge.bevel_end[0][:, stations] - point
    length = np.linalg.norm(chord, axis=0)
    along = chord / length
    up = np.cross(plane, along, axis=0)
    up *= np.where((up * edge.normal[:, stations]).sum(0) < 0, -1.0, 1.0)

    def depth(t):
        below = 0.1 * length
        begin = point[:, :, None] + (t * length[:, None])[None] * along[:, :, None] - (below * up)[:, :, None]
        lines = np.broadcast_to(up[:, :, None], begin.shape).reshape(3, -1)
        return below[:, None] - gouge.ground.cut(begin.reshape(3, -1), lines, from_origin=True).z.reshape(t.shape)

    row, step = np.arange(len(length)), 1 / (places - 1)
    t = np.tile(np.linspace(0, 1, places), (len(length), 1))
    f = depth(t)
    with np.errstate(invalid="ignore"):
        jump = np.abs(np.diff(f, axis=1)).max(1)
        whole = np.isfinite(f).all(1) & (jump < 6 * step * length) & (np.abs(f[:, -1]) < 1e-4)
    best, at = np.zeros(len(length)), np.full(len(length), 0.5)
    for _ in range(4):
        f = np.where(np.isfinite(f), f, 0.0)
        k = np.abs(f).argmax(1)
        better = np.abs(f[row, k]) > np.abs(best)
        best, at = np.where(better, f[row, k], best), np.where(better, t[row, k], at)
        t = np.clip(at[:, None] + step * np.linspace(-1, 1, 21), 0, 1)
        step /= 10
        f = depth(t)
    return best, length, whole


def random_table(rng: np.random.Generator) -> dict:
    """A recipe such as people might type in; not each can be ground."""
    size = float(rng.uniform(5, 20))
    kind = rng.choice(["round", "square", "sharp", "points", "bumpy"])
    if kind == "round":
        bar = {"outline": "round", "diameter_mm": size}
    elif kind in ("square", "sharp"):
        radius = 0.0 if kind == "sharp" else float(rng.uniform(0.02, 0.5)) * size
        bar = {"outline": "square", "side_mm": size, "corner_radius_mm": radius}
    else:
        n = int(rng.integers(5, 60))
        angle = np.sort(rng.uniform(0, 2 * np.pi, n)) if kind == "bumpy" else (np.arange(n) + 0.3) * 2 * np.pi / n
        r = size / 2 * (1 + (rng.uniform(-0.004, 0.004, n) if kind == "bumpy" else 0))
        points = np.stack([r * np.sin(angle), r * np.cos(angle)], -1)
        bar = {"outline": "points", "points_mm": points.tolist()}
    bar["length_mm"] = float(rng.uniform(8, 25)) * size
    depth = float(rng.uniform(0.15, 0.65))
    flute = {"web_mm": (1 - depth) * size, "length_mm": float(rng.uniform(0.2, 0.7)) * bar["length_mm"]}
    shape = rng.choice(["arc", "parabola", "ellipse", "vee", "points"])
    if shape == "arc":
        flute |= {"shape": "arc", "radius_mm": float(rng.uniform(0.2, 0.6)) * size}
    elif shape == "parabola":
        flute |= {"shape": "parabola", "floor_radius_mm": float(rng.uniform(0.1, 0.5)) * size}
    elif shape == "ellipse":
        half = float(rng.uniform(0.2, 0.45)) * size
        flute |= {"shape": "ellipse", "half_width_mm": half, "floor_radius_mm": float(rng.uniform(0.3, 1.0)) * half}
    elif shape == "vee":
        flute |= {
            "shape": "vee",
            "floor_radius_mm": float(rng.uniform(0.05, 0.3)) * size,
            "flank_angle_deg": float(rng.uniform(10, 60)),
        }
    else:
        x = np.linspace(0, 0.42 * size, int(rng.integers(4, 12)))
        y = x**2 / (2 * rng.uniform(0.2, 0.4) * size) + rng.uniform(-0.002, 0.002, len(x)) * size * (x > 0)
        flute |= {"shape": "points", "points_mm": np.stack([x, y], -1).tolist()}
    if rng.random() < 0.3:
        flute["run_out_mm"] = float(rng.uniform(0.3, 3)) * size
    wheel = {
        "diameter_mm": float(rng.uniform(100, 300)),
        "width_mm": float(rng.uniform(20, 50)),
        "corner_radius_mm": float(rng.choice([0.0, 1.0, 3.0])),
    }
    if rng.random() < 0.15:
        wheel = {"kind": "belt", "width_mm": 50.0}
    which = rng.choice(["foot", "rod", "table"])
    angle = float(rng.uniform(25, 60))
    jig = dict({"foot": FOOT, "rod": ROD, "table": TABLE}[which], nose_angle_deg=angle)
    if which == "foot":
        jig["arm_cant_deg"] = float(rng.uniform(20, 60))
    if which == "rod":
        jig["hinge_cant_deg"] = float(rng.uniform(0, 45))
    if which == "foot" or rng.random() < 0.6:
        grind = [{"path": "traced", "wing_length_mm": float(rng.uniform(0.3, 1.3)) * size}]
        if rng.random() < 0.4:
            grind[0]["shoulder"] = float(rng.uniform(0.5, 1))
    else:
        grind = [{"path": "steady", "roll_max_deg": float(rng.uniform(40, 120))}]
    for _ in range(int(rng.choice([0, 1, 2], p=[0.45, 0.4, 0.15]))):
        angle *= float(rng.uniform(0.6, 0.95))
        grind.append({"nose_angle_deg": angle, "land_mm": float(rng.uniform(0.02, 0.4)) * size})
    return {"bar": bar, "flute": flute, "wheel": wheel, "jig": jig, "grind": grind}
