"""Triangle shapes.  Every maker returns (V, F): vertices (n, 3) in mm and faces (m, 3) of indices."""
import numpy as np
from scipy.spatial import ConvexHull

from ..mechanics.rigid import shortest_turn, unit


def _grid_faces(rows, cols, wrap=False):
    """Faces of a rows x cols grid of vertices; wrap joins the last column to the first."""
    r, c = np.meshgrid(np.arange(rows - 1), np.arange(cols if wrap else cols - 1), indexing="ij")
    a = (r * cols + c).ravel()
    b = (r * cols + (c + 1) % cols).ravel()
    d, e = a + cols, b + cols
    return np.concatenate([np.column_stack([a, b, e]), np.column_stack([a, e, d])])


def sheet(grid):
    """A surface through a grid of points (rows, cols, 3)."""
    grid = np.asarray(grid, float)
    return grid.reshape(-1, 3), _grid_faces(*grid.shape[:2])


def smooth_path(points, n=60):
    """(n, 3) points along a Catmull-Rom curve through the given points."""
    p = np.asarray(points, float)
    p = np.vstack([2 * p[0] - p[1], p, 2 * p[-1] - p[-2]])
    out = []
    for s in np.linspace(0, len(p) - 3 - 1e-9, n):
        k, t = int(s), s - int(s)
        a, b, c, d = p[k:k + 4]
        out.append(0.5 * (2 * b + (c - a) * t + (2 * a - 5 * b + 4 * c - d) * t ** 2
                          + (3 * b - a - 3 * c + d) * t ** 3))
    return np.array(out)


def tube(path, radius, sides=18, flat=None):
    """A closed tube along path (n, 3); radius one number or (n,); flat squeezes it along a direction.

    flat: (direction, factor) scales the section along that direction.
    """
    path = np.asarray(path, float)
    r = np.broadcast_to(np.asarray(radius, float), len(path))
    tangent = np.gradient(path, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1)[:, None]
    side = np.cross(tangent[0], (0.3, 0.5, 0.81))
    side = unit(side)
    ang = np.linspace(0, 2 * np.pi, sides, endpoint=False)
    rings = []
    for k in range(len(path)):
        if k:
            side = shortest_turn(tangent[k - 1], tangent[k]) @ side
        other = np.cross(tangent[k], side)
        ring = r[k] * (np.cos(ang)[:, None] * side + np.sin(ang)[:, None] * other)
        if flat is not None:
            d = unit(flat[0])
            ring = ring + (flat[1] - 1) * (ring @ d)[:, None] * d
        rings.append(path[k] + ring)
    V = np.vstack(rings + [path[:1], path[-1:]])
    F = _grid_faces(len(path), sides, wrap=True)
    n, last = len(path) * sides, (len(path) - 1) * sides
    k = np.arange(sides)
    caps = [np.column_stack([np.full(sides, n), (k + 1) % sides, k]),
            np.column_stack([np.full(sides, n + 1), last + k, last + (k + 1) % sides])]
    return V, np.vstack([F] + caps)


def rod(a, b, radius, sides=24):
    """A straight cylinder from a to b."""
    return tube(np.array([a, b], float), radius, sides)


def lathe(profile, origin, axis, sides=96):
    """profile (n, 2) of (radius, height along axis) turned about the axis through origin."""
    profile = np.asarray(profile, float)
    axis = unit(axis)
    u = unit(np.cross(axis, (0.31, 0.2, 0.93) if abs(axis[2]) < 0.9 else (1, 0, 0)))
    w = np.cross(axis, u)
    ang = np.linspace(0, 2 * np.pi, sides, endpoint=False)
    around = np.cos(ang)[:, None] * u + np.sin(ang)[:, None] * w
    grid = (np.asarray(origin, float) + profile[:, 1, None, None] * axis
            + profile[:, 0, None, None] * around)
    return grid.reshape(-1, 3), _grid_faces(len(profile), sides, wrap=True)


def ball(centre, radius, sides=24):
    """A sphere."""
    a = np.linspace(-np.pi / 2, np.pi / 2, sides // 2 + 1)
    return lathe(np.column_stack([radius * np.cos(a), radius * np.sin(a)]), centre, (0, 0, 1), sides)


def hull(points):
    """The convex hull of points (n, 3)."""
    points = np.asarray(points, float)
    h = ConvexHull(points)
    F = h.simplices.copy()
    normal = np.cross(points[F[:, 1]] - points[F[:, 0]], points[F[:, 2]] - points[F[:, 0]])
    flip = np.einsum("ij,ij->i", normal, h.equations[:, :3]) < 0
    F[flip] = F[flip][:, ::-1]
    return points, F


def box(centre, size, R=None, bevel=2.0):
    """A box with bevelled edges; size full lengths; R (3, 3) its axes as columns."""
    h = np.asarray(size, float) / 2
    b = min(bevel, h.min() * 0.9)
    corners = []
    for sx in (-1, 1):
        for sy in (-1, 1):
            for sz in (-1, 1):
                s = np.array([sx, sy, sz])
                for k in range(3):
                    corners.append(s * (h - b * (np.arange(3) != k)))
    R = np.eye(3) if R is None else R
    return hull(np.asarray(centre, float) + np.array(corners) @ R.T)


def coil(a, b, radius, turns, wire, n_per_turn=30, sides=12):
    """A coil spring from a to b with flattened end turns; wire is the wire's radius."""
    a, b = np.asarray(a, float), np.asarray(b, float)
    axis = unit(b - a)
    u = unit(np.cross(axis, (1, 0.2, 0)))
    w = np.cross(axis, u)
    s = np.linspace(0, 1, int(turns * n_per_turn))
    lift = np.interp(s, [0, 0.7 / turns, 1 - 0.7 / turns, 1], [0, 0.03, 0.97, 1])
    ang = 2 * np.pi * turns * s
    path = a + lift[:, None] * (b - a) + radius * (np.cos(ang)[:, None] * u + np.sin(ang)[:, None] * w)
    return tube(path, wire, sides)


def corner_normals(V, F, crease_deg=38.0):
    """Normals (m, 3, 3) for each face's corners: smooth, except across edges sharper than crease_deg."""
    n = np.cross(V[F[:, 1]] - V[F[:, 0]], V[F[:, 2]] - V[F[:, 0]])
    length = np.linalg.norm(n, axis=1)
    face = n / np.maximum(length, 1e-12)[:, None]
    flatv = F.ravel()
    owner = np.repeat(np.arange(len(F)), 3)
    order = np.argsort(flatv, kind="stable")
    count = np.bincount(flatv, minlength=len(V))
    start = np.concatenate([[0], np.cumsum(count)[:-1]])
    reps = count[flatv]
    mine = np.repeat(np.arange(len(flatv)), reps)
    inside = np.arange(len(mine)) - np.repeat(np.cumsum(reps) - reps, reps)
    other = owner[order[start[flatv[mine]] + inside]]
    near = np.einsum("ij,ij->i", face[owner[mine]], face[other]) > np.cos(np.radians(crease_deg))
    total = np.zeros((len(flatv), 3))
    for k in range(3):
        total[:, k] = np.bincount(mine[near], n[other[near], k], len(flatv))
    size = np.linalg.norm(total, axis=1)[:, None]
    total = np.where(size > 1e-12, total / np.maximum(size, 1e-12), face[owner])
    return total.reshape(-1, 3, 3)
