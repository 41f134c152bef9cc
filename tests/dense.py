"""An independent, slow way to end a ray in the steel: many poses, then a golden section on the place along the path.

It shares nothing with `gougeform.grind.ground` and `gougeform.machine.wheel`: the wheel is written from its centre, and
no derivative is used. Only the poses come from the package; `test_paths.py` holds those against the jigs' own formulas.
"""

from __future__ import annotations

import numpy as np

GOLDEN = (np.sqrt(5) - 1) / 2


def _slab(o, d, half):
    """Entry and exit of lines into |coordinate| <= half."""
    with np.errstate(divide="ignore", invalid="ignore"):
        a, b = (-half - o) / d, (half - o) / d
    still = d == 0
    inside = np.abs(o) <= half
    near = np.where(still, np.where(inside, -np.inf, np.inf), np.minimum(a, b))
    return near, np.where(still, np.where(inside, np.inf, -np.inf), np.maximum(a, b))


def _cylinder(o, d, radius):
    """Entry and exit of lines into the round cylinder about Y whose centre is the origin."""
    a, b = d[0] ** 2 + d[2] ** 2, o[0] * d[0] + o[2] * d[2]
    c = o[0] ** 2 + o[2] ** 2 - radius**2
    with np.errstate(divide="ignore", invalid="ignore"):
        root = np.sqrt(b * b - a * c)
        near, far = (-b - root) / a, (-b + root) / a
    miss = ~(b * b - a * c > 0)
    return np.where(miss, np.inf, near), np.where(miss, -np.inf, far)


def _half_space(o, d):
    """Entry and exit of lines into X <= 0: a belt."""
    with np.errstate(divide="ignore"):
        z = -o[0] / d[0]
    return np.where(d[0] < 0, z, -np.inf), np.where(d[0] < 0, np.inf, z)


def _distance(p, wheel):
    """Distance of points from the rounded wheel (rim frame), written from its centre; negative well inside."""
    c = wheel.corner_radius
    if wheel.curvature == 0:
        e = p[0] + c
    else:
        radius = 1 / wheel.curvature
        e = np.hypot(p[0] + radius, p[2]) - (radius - c)
    f = np.abs(p[1]) - (wheel.half_width - c)
    return np.hypot(np.maximum(e, 0), np.maximum(f, 0)) + np.minimum(np.maximum(e, f), 0) - c


def entry(o, d, wheel):
    """(z_in, z_out) of lines o + z·d, (3, …) rim frame, for the whole wheel with its rounded corners."""
    if wheel.curvature == 0:
        face_in, face_out = _half_space(o, d)
    else:
        radius = 1 / wheel.curvature
        centred = np.stack([o[0] + radius, o[1], o[2]])
        face_in, face_out = _cylinder(centred, d, radius)
    side_in, side_out = _slab(o[1], d[1], wheel.half_width)
    z, out = np.maximum(face_in, side_in), np.minimum(face_out, side_out)
    z, out = np.where(z < out, z, np.inf), np.where(z < out, out, -np.inf)
    # The sharp box is entered first; the rounded solid inside it later, by the sign of the distance, convex on a line.
    if wheel.corner_radius > 0:
        with np.errstate(invalid="ignore"):
            p = o + np.where(np.isfinite(z), z, 0.0) * d
        i = np.flatnonzero(np.isfinite(z).ravel() & (_distance(p, wheel).ravel() > 1e-13))
        if len(i):
            oo, dd = o.reshape(3, -1)[:, i], np.broadcast_to(d, o.shape).reshape(3, -1)[:, i]
            lo, hi = z.ravel()[i], np.minimum(out.ravel()[i], z.ravel()[i] + 1e4)
            a, b = lo.copy(), hi.copy()
            for _ in range(80):
                one, two = b - GOLDEN * (b - a), a + GOLDEN * (b - a)
                left = _distance(oo + one * dd, wheel) < _distance(oo + two * dd, wheel)
                a, b = np.where(left, a, one), np.where(left, two, b)
            deep = (a + b) / 2
            hit = _distance(oo + deep * dd, wheel) < 0
            a, b = lo.copy(), deep
            for _ in range(70):
                m = (a + b) / 2
                outside = _distance(oo + m * dd, wheel) > 0
                a, b = np.where(outside, m, a), np.where(outside, b, m)
            flat = z.ravel().copy()
            flat[i] = np.where(hit, b, np.inf)
            far = out.ravel().copy()
            far[i] = np.where(hit, far[i], -np.inf)
            z, out = flat.reshape(z.shape), far.reshape(out.shape)
        out = _exit(o, d, z, out, wheel)
    return z, out


def _exit(o, d, z, out, wheel):
    """The same for the exit: from the sharp box's back to the rounded solid's."""
    d = np.broadcast_to(d, o.shape).reshape(3, -1)
    o, z, out = o.reshape(3, -1), z.ravel(), out.copy()
    far = out.ravel()
    with np.errstate(invalid="ignore"):
        p = o + np.where(np.isfinite(z) & np.isfinite(far), far, 0.0) * d
    i = np.flatnonzero(np.isfinite(z) & np.isfinite(far) & (_distance(p, wheel) > 1e-13))
    if len(i):
        a, b = z[i], far[i]
        x, y = a.copy(), b.copy()
        for _ in range(60):
            one, two = y - GOLDEN * (y - x), x + GOLDEN * (y - x)
            left = _distance(o[:, i] + one * d[:, i], wheel) < _distance(o[:, i] + two * d[:, i], wheel)
            x, y = np.where(left, x, one), np.where(left, two, y)
        a = (x + y) / 2
        for _ in range(60):
            m = (a + b) / 2
            outside = _distance(o[:, i] + m * d[:, i], wheel) > 0
            a, b = np.where(outside, a, m), np.where(outside, m, b)
        far[i] = a
    return out


def _lines(one, origin, direction, s, from_origin):
    """(…,) z_in of lines (3, …) at places s (…,)."""
    pose = one.path.pose(s.ravel())
    o = origin - np.array([0, 0, one.setback]).reshape(3, *[1] * s.ndim)
    o, d = (np.broadcast_to(a, (3, *s.shape)).reshape(3, -1) for a in (o, direction))
    moved = np.einsum("ijn,jn->in", pose.turn, o) + pose.shift
    turned = np.einsum("ijn,jn->in", pose.turn, d)
    z, out = entry(moved, turned, one.wheel)
    return np.where(from_origin & (out < 0), np.inf, z).reshape(s.shape)


def dense_cut(one, origin, direction, *, poses=801, from_origin=False):
    """(n,) where lines (3, n) end under one pass, by `poses` poses and a golden section in every promising valley."""
    first, last = one.path.knots[0], one.path.knots[-1]
    s = np.linspace(first, last, poses)
    n = origin.shape[1]
    z = np.empty((n, poses))
    pose = one.path.pose(s)
    base = origin - np.array([0, 0, one.setback])[:, None]
    for k in range(0, n, 64):
        part = slice(k, k + 64)
        o = np.einsum("ijp,jn->inp", pose.turn, base[:, part]) + pose.shift[:, None]
        d = np.einsum("ijp,jn->inp", pose.turn, direction[:, part])
        z[part], out = entry(o, d, one.wheel)
        if from_origin:
            z[part][out < 0] = np.inf
    best = z.min(1)
    pad = np.pad(z, ((0, 0), (1, 1)), constant_values=np.inf)
    low = (z <= pad[:, :-2]) & (z <= pad[:, 2:]) & np.isfinite(z)
    with np.errstate(invalid="ignore"):
        low &= z <= best[:, None] + 1e-3
    row, at = np.nonzero(low)
    if len(row):
        a, b = s[np.maximum(at - 1, 0)], s[np.minimum(at + 1, poses - 1)]
        o, d = origin[:, row], direction[:, row]
        value = z[row, at]
        for _ in range(45):
            x, y = b - GOLDEN * (b - a), a + GOLDEN * (b - a)
            fx, fy = (_lines(one, o, d, t, from_origin) for t in (x, y))
            value = np.minimum(value, np.minimum(fx, fy))
            left = fx < fy
            a, b = np.where(left, a, x), np.where(left, y, b)
        np.minimum.at(best, row, value)
    return best


def dense_heights(ground, points, *, poses=801):
    """(n,) h(x, y) under all grinds at section points (n, 2)."""
    origin = np.stack([points[:, 0], points[:, 1], np.zeros(len(points))])
    direction = np.broadcast_to(np.array([0.0, 0.0, 1.0])[:, None], origin.shape)
    return np.min([dense_cut(one, origin, direction, poses=poses) for one in ground.passes], axis=0)


def points_in(section, count, seed=0):
    """(count, 2) points of the steel's section, some of them right on flute and outline."""
    rng = np.random.default_rng(seed)
    size = float(np.abs(section.outline.start).max())
    found = np.zeros((0, 2))
    while len(found) < count:
        p = rng.uniform(-size, size, (4 * count, 2))
        found = np.vstack([found, p[in_steel(section, p)]])
    edge = section.flute_point(np.linspace(section.u_left, section.u_right, count // 4))
    heel = section.outline.point(np.linspace(section.v_left, section.v_right, count // 4))
    return np.vstack([edge, heel, found[: count - len(edge) - len(heel)]])


def in_steel(section, p):
    """(n,) true where points lie inside the outline and outside the polygon that flute and lips enclose."""
    from shapely import contains_xy
    from shapely.geometry import Polygon

    u = np.linspace(section.u_left, section.u_right, 801)
    flute = section.flute_point(u)
    top = np.abs(flute).max() * 3
    lips = flute[[-1, 0]]
    hollow = Polygon(np.vstack([flute, [[lips[0, 0], top], [lips[1, 0], top]]])).buffer(0)
    return section.outline.contains(p) & ~contains_xy(hollow, p[:, 0], p[:, 1])


def of_points(wood, points):
    """(n,) mm: distances to the wood of points (n, 3) with the lathe's axis along the first coordinate."""
    return wood.distance(points[:, 0], np.hypot(points[:, 1], points[:, 2]))
