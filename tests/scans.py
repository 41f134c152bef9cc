"""Scans of our own tools: the front of the mesh in even triangles, noise on every point, turned anyhow, with holes."""

import numpy as np

_FRONT = 5.0  # bar sizes of the tool that are scanned


def scanned(solid, rng, *, noise=0.0, spacing=0.2, holes=0, front=_FRONT, still=False):
    """(vertices (n, 3), faces (m, 3)): sides of about `spacing` mm, in a random pose (`still`: as it is), open behind.

    Points are those of the solid's own mesh, cut finer, one for each cube of that size, as a scanner thins them. noise:
    standard deviation of every coordinate, mm. holes: how many spots of 0.3 to 1 mm radius are missing.
    """
    from manifold3d import Manifold, Mesh

    size = float(np.ptp(solid.vertices[:, 0]))
    whole = Manifold(Mesh(solid.vertices.astype(np.float32), solid.faces.astype(np.uint32)))
    end = -front * size
    made = whole.trim_by_plane((0.0, 0.0, 1.0), end).refine_to_length(spacing).to_mesh()
    v, f = np.asarray(made.vert_properties, float)[:, :3], np.asarray(made.tri_verts, np.intp)
    f = f[v[f][..., 2].max(1) > end + 1e-4]
    turn, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    turn = np.eye(3) if still else turn * np.sign(np.linalg.det(turn))
    v = v @ turn.T
    cell = np.floor((v - v.min(0)) / (0.9 * spacing)).astype(np.int64) @ [1, 1 << 20, 1 << 40]
    kept = rng.permutation(len(v))  # any one of a cube's points stands for it
    _, first, inverse = np.unique(cell[kept], return_index=True, return_inverse=True)
    to = np.empty(len(v), np.intp)
    to[kept] = inverse.reshape(-1)
    v, f = v[kept[first]], to[f]
    f = f[(f[:, 0] != f[:, 1]) & (f[:, 1] != f[:, 2]) & (f[:, 2] != f[:, 0])]
    f = f[np.unique(np.sort(f, 1), axis=0, return_index=True)[1]]
    middle = v[f].mean(1)
    for _ in range(holes):
        far = np.linalg.norm(middle - middle[rng.integers(len(middle))], axis=1) > rng.uniform(0.3, 1.0)
        f, middle = f[far], middle[far]
    return v + rng.normal(0, noise, v.shape) + (0.0 if still else rng.uniform(-50, 50, 3)), f
