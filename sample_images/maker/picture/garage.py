"""The garage around the car: floor, walls, shelves, tools, and what holds car and card up.

World frame, mm, for the left-hand side (mirrored for the right).
"""
import numpy as np

from ..mechanics.rigid import turn, unit, vec
from ..mechanics.states import FLOOR_R
from .shapes import box, hull, lathe, rod, sheet, smooth_path, tube


def floor_z(x, y):
    """Height of the floor at x, y."""
    n = FLOOR_R[:, 2]
    return -(n[0] * x + n[1] * y) / n[2]


def room(parts):
    """Floor, walls and ceiling."""
    gx, gy = np.meshgrid(np.linspace(-6500, 3800, 12), np.linspace(-3200, 5200, 12))
    parts.add(sheet(np.stack([gx, gy, floor_z(gx, gy)], -1)), "concrete")
    for a, b, m in (((-6500, -3000), (3800, -3000), "wall"), ((3600, -3200), (3600, 5200), "brick"),
                    ((-6300, 5200), (-6300, -3200), "wall")):
        parts.add(sheet(np.array([[(a[0], a[1], z), (b[0], b[1], z)] for z in (-100.0, 2700.0)])), m)
    parts.add(sheet(np.array([[(-6500, y, 2700), (3800, y, 2700)] for y in (-3200.0, 5200.0)])), "ceiling")
    parts.add(box((-1500, -2980, 60), (9600, 30, 150), None, 2), "grey tool")


def stains(parts):
    """Old oil on the floor."""
    rng = np.random.default_rng(12)
    for x, y, size in ((520, 1090, 120), (470, 1230, 38), (-820, 930, 90), (150, 520, 150), (-60, 1350, 26)):
        a = np.linspace(0, 2 * np.pi, 90, endpoint=False)
        r = size * (1 + sum(
            rng.uniform(0.03, 0.22) / k**0.7 * np.sin(k * a + rng.uniform(0, 6)) for k in range(2, 9)))
        px, py = x + r * np.cos(a), y + 0.75 * r * np.sin(a)
        V = np.vstack([np.column_stack([px, py, floor_z(px, py) + 0.5]), [[x, y, floor_z(x, y) + 0.5]]])
        k = np.arange(90)
        parts.add((V, np.column_stack([np.full(90, 90), k, (k + 1) % 90])), "oil")


def _goods(parts, rng, x0, x1, y, z, depth, along_x=True):
    mats = [
        "cardboard", "blue plastic", "green tin", "red tool", "white tin", "yellow plastic", "grey tool",
        "cardboard"
    ]
    at = x0
    while at < x1 - 120:
        w, h, d = rng.uniform(90, 330), rng.uniform(80, 300), rng.uniform(0.5, 0.9) * depth
        m = mats[rng.integers(len(mats))]
        p = (at + w / 2, y) if along_x else (y, at + w / 2)
        size = (w, d, h) if along_x else (d, w, h)
        if rng.random() < 0.3:
            parts.add(rod((*p, z), (*p, z + h), min(w, d) / 2.2, 28), m)
        else:
            parts.add(box((*p, z + h / 2), size, turn((0, 0, 1), rng.uniform(-0.12, 0.12)), 4), m)
        at += w + rng.uniform(10, 90)


def furniture(parts):
    """Shelves along the far wall, a bench at the front wall, clutter on the floor."""
    stains(parts)
    rng = np.random.default_rng(5)
    for x0 in (-3900, -1900, 200):
        for x in (x0, x0 + 1800):
            for y in (-2930, -2500):
                parts.add(box((x, y, 1000), (40, 40, 2000), None, 2), "grey tool")
        for z in (120, 620, 1120, 1620):
            parts.add(box((x0 + 900, -2715, z), (1800, 460, 24), None, 2), "plywood")
            _goods(parts, rng, x0 + 40, x0 + 1780, -2700, z + 12, 380)
    parts.add(box((3240, 400, 880), (640, 3200, 50), None, 4), "wood")
    for y in (-1100, 400, 1900):
        parts.add(box((3020, y, 430), (70, 70, 860), None, 3), "wood")
        parts.add(box((3480, y, 430), (70, 70, 860), None, 3), "wood")
    parts.add(box((3240, 400, 260), (600, 3100, 24), None, 3), "wood")
    _goods(parts, rng, -1050, 1950, 3240, 905, 420, False)
    _goods(parts, rng, -1050, 1950, 3240, 272, 420, False)
    for x, y, a, s, m in ((930, 330, 0.3, (420, 220, 230), "red tool"), (1420, -300, -0.2, (360, 300, 260),
                                                                         "cardboard"),
                          (-1010, -1500, 0.5, (500, 330, 300), "cardboard"), (1750, 820, 0.1, (330, 330, 420),
                                                                              "blue plastic")):
        parts.add(box((x, y, floor_z(x, y) + s[2] / 2), s, turn((0, 0, 1), a), 8), m)
    parts.add(box((930, 330, floor_z(930, 330) + 236), (300, 24, 24), turn((0, 0, 1), 0.3), 6), "grey tool")
    z = floor_z(1050, 1010)
    parts.add(lathe([(0, 6), (105, 6), (140, 260), (144, 262), (140, 268), (100, 14), (0, 14)],
                    (1050, 1010, z), (0, 0, 1), 48),
              "white tin",
              crease_deg=30)
    path = [(2400, 1500), (1500, 1250), (900, 1480), (420, 1180), (-150, 1320), (-800, 1120), (-1500, 1500),
            (-2600, 1300)]
    cable = smooth_path([(x, y, floor_z(x, y) + 6) for x, y in path], 160)
    parts.add(tube(cable, 5.5, 10), "yellow plastic")
    for _k, (x, y, a) in enumerate(((330, 930, 0.4), (395, 985, 0.9), (-640, 1010, 2.3))):
        d = vec(np.cos(a), np.sin(a), 0)
        p = vec(x, y, floor_z(x, y) + 9)
        parts.add(
            hull([
                p + s * 95 * d + q * 9 * vec(-d[1], d[0], 0) + vec(0, 0, h) for s in (-1, 1) for q in (-1, 1)
                for h in (-4, 4)
            ]), "zinc")
        parts.add(rod(p + 95 * d - vec(0, 0, 6), p + 95 * d + vec(0, 0, 6), 19, 6), "zinc", crease_deg=20)


def loose_wheel(parts):
    """The wheel that was taken off, lying on the floor."""
    c = vec(660, -130, floor_z(660, -130) + 92)
    s = np.linspace(0, np.pi, 30)
    parts.add(lathe(np.column_stack([186 + 114 * np.sin(s)**0.4, -88 * np.cos(s)]), c, (0, 0, 1), 96), "tyre")
    parts.add(lathe([(0, 40), (50, 44), (120, 52), (184, 78), (190, 84)], c, (0, 0, 1), 72), "alloy")


def stand(parts, top):
    """A three-legged stand under the sill; top (3,) is the saddle's place."""
    z = floor_z(top[0], top[1])
    h = top[2] - z
    parts.add(rod((top[0], top[1], z + 0.42 * h), (top[0], top[1], top[2] - 12), 19, 28), "zinc")
    parts.add(rod((top[0], top[1], z + 0.40 * h), (top[0], top[1], z + 0.76 * h), 27, 32),
              "red tool",
              crease_deg=30)
    parts.add(box((top[0], top[1], top[2] - 7), (96, 58, 14), None, 3), "zinc")
    for s in (-1, 1):
        parts.add(box((top[0] + s * 43, top[1], top[2] + 4), (10, 58, 26), None, 3), "zinc")
    feet = []
    for k in range(3):
        a = np.radians(70 + 120 * k)
        foot = vec(top[0] + 150 * np.cos(a), top[1] + 150 * np.sin(a), z + 8)
        parts.add(rod((top[0], top[1], z + 0.66 * h), foot, 15, 18), "red tool")
        parts.add(rod(foot - (0, 0, 8), foot + (0, 0, 3), 34, 28), "grey tool", crease_deg=30)
        feet.append(foot + (0, 0, 50))
    for k in range(3):
        parts.add(
            rod(feet[k] * (0.8, 0.8, 1) + top * (0.2, 0.2, 0),
                feet[k - 1] * (0.8, 0.8, 1) + top * (0.2, 0.2, 0), 6, 12), "red tool")


def bottle_jack(parts, under):
    """A bottle jack on a timber block, its ram up to `under` (3,)."""
    x, y, z0 = under[0], under[1], floor_z(under[0], under[1])
    parts.add(box((x, y, z0 + 45), (240, 170, 90), turn((0, 0, 1), 0.12), 3), "wood")
    z = z0 + 90
    parts.add(box((x, y, z + 9), (130, 112, 18), None, 4), "red tool")
    body = min(150.0, under[2] - z - 34)
    parts.add(
        lathe([(0, 0), (46, 0), (48, 6), (48, body - 12), (40, body), (0, body)], (x, y, z + 16), (0, 0, 1),
              48), "red tool")
    parts.add(rod((x, y, z + 10), (x, y, under[2] - 8), 17, 28), "alloy")
    parts.add(rod((x, y, under[2] - 12), (x, y, under[2]), 27, 32), "grey tool", crease_deg=30)
    parts.add(rod((x + 62, y + 20, z + 16), (x + 62, y + 20, z + 80), 13, 20), "red tool")
    parts.add(rod((x + 62, y + 20, z + 60), (x + 330, y + 150, z + 150), 9, 16), "zinc")


def crate(parts, card, bottom_z=0.0):
    """What the card leans on: a plywood crate behind and below it."""
    n = -card.R[:, 2]
    flat = unit(n * (1, 1, 0))
    side = vec(-flat[1], flat[0], 0)
    edge = card(vec(126, 196, 4))
    z = floor_z(edge[0], edge[1])
    pts = []
    for s in (-150, 150):
        for d in (-190, 34):
            p = edge + s * side + d * flat
            pts += [vec(p[0], p[1], z), vec(p[0], p[1], edge[2] - 6)]
    parts.add(hull(pts), "plywood")
    for s in (-70, 80):
        a = card(vec(126 + s, 60, 8))
        b = edge + s * side - 170 * flat
        parts.add(rod(a, vec(b[0], b[1], edge[2] - 4), 7, 14), "wood")
