"""The wheel as a convex solid, and where a straight line enters and leaves it.

Rim frame: origin on the wheel's face where the line from the wheel's centre toward the pocket (or rod) cuts it, X
outward along that line, Y along the wheel's axis, Z up. With the curvature k = 1 / radius the face is

    X + k (X² + Z²) / 2 = 0

so that a belt is simply k = 0, and a wheel of 1e7 mm loses no digits. Vectors come as (3, …) arrays.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FACE, CORNER, SIDE = 0, 1, 2
SURFACES = ("face", "corner", "side")

_PARALLEL = 1e-9  # the sine of an angle so small is none
_LONG = 1e9  # mm: stands for infinity where a line never leaves a belt


@dataclass(frozen=True)
class WheelSolid:
    """curvature: 1/mm, 0 for a belt; half_width and corner_radius: mm."""

    curvature: float
    half_width: float
    corner_radius: float

    @property
    def flat(self) -> float:
        """Half the width of the face without its rounded corners, mm."""
        return self.half_width - self.corner_radius

    def face_normal(self, p: Floats) -> Floats:
        """(3, …): the face's outward normal at points p (3, …) on it; of length 1 exactly there."""
        k = self.curvature
        out = np.zeros(p.shape)  # filled row by row: quicker than stacking
        np.add(1, k * p[0], out=out[0])
        np.multiply(k, p[2], out=out[2])
        return out

    def height(self, p: Floats) -> Floats:
        """Signed distance (…,) mm of points p from the face (corners and sides left out), stable for k → 0."""
        k = self.curvature
        q = p[0] + k * (p[0] ** 2 + p[2] ** 2) / 2
        return 2 * q / (1 + np.sqrt(np.maximum(1 + 2 * k * q, 0.0)))

    def face_roots(self, ox: Floats, oz: Floats, dx: Floats, dz: Floats) -> tuple[Floats, Floats]:
        """Where lines o + z·d enter and leave the full cylinder (or half space): (z_in, z_out), +inf/-inf if never."""
        k = self.curvature
        b = dx * (1 + k * ox) + k * oz * dz
        c = 2 * ox + k * (ox * ox + oz * oz)
        if k == 0.0:
            with np.errstate(divide="ignore", invalid="ignore"):
                z = -c / (2 * b)
            inside = (b > 0) | ((b == 0) & (c < 0))
            out = np.where((b < 0) | ((b == 0) & (c < 0)), np.inf, np.where(b > 0, z, -np.inf))
            return np.where(b < 0, z, np.where(inside, -np.inf, np.inf)), out
        a = k * (dx * dx + dz * dz)
        disc = b * b - a * c
        root = np.sqrt(np.maximum(disc, 0.0))
        with np.errstate(divide="ignore", invalid="ignore"):
            # Of the two roots the one without cancellation first; the other from their product c / a.
            z_in = np.where(b < 0, c / (root - b), -(b + root) / a)
            z_out = np.where(b < 0, (root - b) / a, -c / (b + root))
        miss = ~(disc > 0)
        z_in, z_out = np.where(miss, np.inf, z_in), np.where(miss, -np.inf, z_out)
        within = (a == 0) & (c < 0)  # along the axis and inside: never in, never out
        return (np.where(within, -np.inf, z_in), np.where(within, np.inf, z_out)) if within.any() else (z_in, z_out)

    def crossing(self, o: Floats, d: Floats) -> tuple[Floats, Floats, Floats, NDArray[np.int8]]:
        """Where lines o + z·d (both (3, n)) enter and leave the whole wheel, sides and rounded corners included.

        Returns z_in and z_out (n,) mm (inf and -inf where the line misses), the outward normal at entry (3, n)
        and the surface entered (n,): FACE, CORNER or SIDE.
        """
        z_face, out_face = self.face_roots(o[0], o[2], d[0], d[2])
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            one = (-self.half_width - o[1]) / d[1]
            two = (self.half_width - o[1]) / d[1]
        still = d[1] == 0
        inside = np.abs(o[1]) <= self.half_width
        z_side = np.where(still, np.where(inside, -np.inf, np.inf), np.minimum(one, two))
        out_side = np.where(still, np.where(inside, np.inf, -np.inf), np.maximum(one, two))
        z_in, z_out = np.maximum(z_face, z_side), np.minimum(out_face, out_side)
        hit = z_in < z_out
        surface = np.where(z_side > z_face, SIDE, FACE).astype(np.int8)
        with np.errstate(invalid="ignore"):
            p = o + np.where(hit, z_in, 0.0) * d
        normal = np.where(
            surface == SIDE,
            np.stack([np.zeros_like(z_in), -np.sign(d[1]), np.zeros_like(z_in)]),
            self.face_normal(p),
        )
        near = hit & (np.abs(p[1]) > self.flat) & (self.height(p) > -self.corner_radius)
        if self.corner_radius > 0 and near.any():
            i = np.flatnonzero(near)
            z, n, ok = self._corner(o[:, i], d[:, i], z_in[i])
            z_in[i] = np.where(ok, z, np.inf)
            normal[:, i] = n
            surface[i] = CORNER
            hit[i] = ok & (z < z_out[i])
        if self.corner_radius > 0:
            with np.errstate(invalid="ignore"):
                p = o + np.where(hit, np.clip(z_out, -_LONG, _LONG), 0.0) * d
            i = np.flatnonzero(hit & (np.abs(p[1]) > self.flat) & (self.height(p) > -self.corner_radius))
            if len(i):
                z, _, ok = self._corner(o[:, i], -d[:, i], -z_out[i])
                z_out[i] = np.where(ok, -z, z_out[i])
        return np.where(hit, z_in, np.inf), np.where(hit, z_out, -np.inf), normal, surface

    def _corner(self, o: Floats, d: Floats, z: Floats) -> tuple[Floats, Floats, NDArray[np.bool_]]:
        """Entry into the rounded corner, from a start z that lies outside it.

        The distance to a convex solid along a line is convex, so Newton from outside cannot step past the root.
        """
        r = self.corner_radius
        for _ in range(60):
            f, n = self._corner_distance(o + z * d)
            slope = (n * d).sum(0)
            step = np.where((slope < 0) & (f > 0), -f / np.where(slope < 0, slope, -1.0), 0.0)
            z = z + step
            if not (np.abs(step) > 1e-13 * (1 + np.abs(z))).any():
                break
        f, n = self._corner_distance(o + z * d)
        return z, n, f < 1e-9 * max(r, 1.0)

    def _corner_distance(self, p: Floats) -> tuple[Floats, Floats]:
        """Distance (n,) of points from the rounded solid and its gradient (3, n), outside the core."""
        h = self.height(p)
        radial = self.face_normal(p)
        radial = radial / np.linalg.norm(radial, axis=0)
        e = np.maximum(h + self.corner_radius, 0.0)
        s = np.maximum(np.abs(p[1]) - self.flat, 0.0)
        far = np.maximum(np.hypot(e, s), 1e-300)
        n = radial * (e / far)
        n[1] = np.sign(p[1]) * s / far
        return far - self.corner_radius, n

    def distance(self, p: Floats) -> tuple[Floats, Floats]:
        """Signed distance (n,) mm of points p (3, n) from the whole wheel, below 0 inside, and its gradient (3, n)."""
        out, across = self.height(p) + self.corner_radius, np.abs(p[1]) - self.flat
        corner = (out > 0) & (across > 0)
        far = np.where(corner, np.hypot(out, across), np.maximum(out, across))
        radial = self.face_normal(p)
        size = np.maximum(np.hypot(radial[0], radial[2]), 1e-300)
        with np.errstate(invalid="ignore", divide="ignore"):
            share = np.where(corner, out / far, out >= across), np.where(corner, across / far, out < across)
        return far - self.corner_radius, np.stack(
            [radial[0] / size * share[0], np.sign(p[1]) * share[1], radial[2] / size * share[0]]
        )

    def furthest(self, way: Floats, near: Floats) -> Floats:
        """(3, n): the places of the wheel, less its rounded edge, that lie furthest along unit vectors `way` (3, n).

        Of a whole line or disc of such places the one nearest to points `near` (3, n). Not for a belt, which has none.
        """
        radius, across = 1 / self.curvature - self.corner_radius, np.hypot(way[0], way[2])
        off = np.stack([near[0] + 1 / self.curvature, near[2]])
        radial = np.where(across > _PARALLEL, way[::2] / np.maximum(across, _PARALLEL) * radius, off)
        long = np.hypot(*radial)
        radial *= np.minimum(1.0, radius / np.maximum(long, 1e-300))
        y = np.where(np.abs(way[1]) > _PARALLEL, np.sign(way[1]) * self.flat, np.clip(near[1], -self.flat, self.flat))
        return np.stack([radial[0] - 1 / self.curvature, y, radial[1]])
