"""Shapes of the suspension: control arm, knuckle, brake, coil-over, bar, link and hose.

Everything is drawn for the left corner in the chassis frame (mm).  Parts that ride on one
body are drawn at their rest place; parts between two bodies where they are now.
"""
import numpy as np

from ..mechanics.rigid import turn, unit, vec
from .shapes import ball, box, coil, hull, lathe, rod, smooth_path, tube


def _lerp(a, b, s):
    return a + s * (b - a)


def control_arm(parts, r):
    """Lower arm with bushes, web, ball joint and the tab that holds the link's stud; r: rest joints."""
    f, b, o = r["arm_pivot_front"], r["arm_pivot_rear"], r["arm_ball_joint"]
    for p, bow in ((f, 12), (b, -8)):
        path = smooth_path([p, _lerp(p, o, 0.35) + (bow, 0, -6),
                            _lerp(p, o, 0.75) + (bow * 0.5, 0, -3), o], 24)
        parts.add(tube(path, np.linspace(15, 19, 24), 18, ((0, 0, 1), 0.72)), "forged", "arm")
    plate = []
    for dz in (-4, 4):
        for s in (0.45, 0.92):
            plate += [_lerp(f, o, s) + (0, 0, dz), _lerp(b, o, s) + (0, 0, dz)]
    parts.add(hull(plate), "forged", "arm")
    axis = unit(f - b)
    for p in (f, b):
        parts.add(rod(p - 21 * axis, p + 21 * axis, 23, 32), "forged", "arm")
        parts.add(rod(p - 26 * axis, p + 26 * axis, 17, 28), "rubber", "arm")
        parts.add(rod(p - 44 * axis, p + 44 * axis, 6.5), "zinc", "chassis")
        for s in (-1, 1):
            parts.add(rod(p + s * 33 * axis, p + s * 42 * axis, 11, 6), "zinc", "chassis", crease_deg=20)
            parts.add(box(p + s * 30 * axis + vec(0, -24, 2), (6, 84, 58)), "black steel", "chassis")
    parts.add(lathe([(0, -26), (19, -26), (24, -20), (24, 8), (20, 12), (12, 26), (0, 26)], o, (0, 0, 1), 40),
              "cast", "arm")
    foot = r["link_foot"]
    leg = _lerp(f, o, 0.585)
    tab = []
    for dy in (5.5, 11.5):
        ring = [foot + 15 * vec(np.cos(a), 0, np.sin(a)) for a in np.linspace(0, 2 * np.pi, 16)]
        tab += [p + (0, dy, 0) for p in ring]
        tab += [vec(leg[0] - 14, foot[1] + dy, leg[2] - 4), vec(leg[0] + 26, foot[1] + dy, leg[2] - 4)]
    parts.add(hull(tab), "black steel", "arm", crease_deg=25)
    lower = r["damper_foot"]
    for s in (-1, 1):
        parts.add(box(lower + (s * 20, 0, -8), (6, 34, 48)), "forged", "arm")


def knuckle(parts, r):
    """Upright, hub, disc and caliper at the rest place."""
    o, u, h = r["arm_ball_joint"], r["upper_ball_joint"], r["hub"]
    path = smooth_path([o + (0, 0, 8), o + (-2, -6, 55), (0, 688, 255), (0, 680, 330), (-10, 668, 420), u],
                       40)
    parts.add(tube(path, np.interp(np.linspace(0, 1, 40), [0, .3, .55, .8, 1], [17, 24, 30, 20, 15]), 22,
                   ((0, 1, 0), 0.75)), "cast", "knuckle")
    parts.add(lathe([(0, -72), (40, -72), (46, -64), (46, -40), (38, -34), (0, -34)], h, (0, 1, 0), 56),
              "cast", "knuckle")
    parts.add(tube(smooth_path([(-8, 684, 262), (-60, 690, 246), r["tie_rod_outer"]], 20),
                   np.linspace(17, 12, 20), 16), "cast", "knuckle")
    parts.add(lathe([(0, -24), (60, -24), (62, -22), (62, -14), (60, -12), (33, -11), (31, -8), (31, -2),
                     (29, 0), (0, 1)], h, (0, 1, 0), 72), "cast", "knuckle")
    parts.add(lathe([(0, 0), (24, 0), (26, 2), (25, 8), (15, 11), (0, 12)], h, (0, 1, 0), 48), "zinc",
              "knuckle")
    parts.add(lathe([(66, -12), (68, -13), (68, -32), (110, -32), (111, -33), (111, -40),
                     (109, -41), (92, -41), (92, -45), (109, -45), (111, -46), (111, -53), (110, -54),
                     (62, -54), (60, -34), (60, -13), (66, -12)], h, (0, 1, 0), 128),
              "disc",
              "knuckle",
              crease_deg=30)
    for k in range(4):
        a = np.radians(40 + 90 * k)
        c = h + vec(49 * np.cos(a), 0, 49 * np.sin(a))
        parts.add(rod(c + (0, -14, 0), c + (0, 20, 0), 6, 16), "zinc", "knuckle")
    a = np.radians(119)
    R = np.column_stack([vec(-np.sin(a), 0, np.cos(a)), vec(0, 1, 0), vec(-np.cos(a), 0, -np.sin(a))])
    c = h + 94 * vec(np.cos(a), 0, np.sin(a))
    parts.add(box(c + (0, 3, 0), (112, 40, 54), R, 9), "caliper", "knuckle")
    parts.add(box(c + (0, -74, 0), (86, 62, 52), R, 9), "caliper", "knuckle")
    parts.add(box(c - 34 * R[:, 2] + (0, -36, 0), (104, 120, 18), R, 6), "caliper", "knuckle")
    parts.add(rod(c + (0, -104, 0), c + (0, -118, 0), 22, 32), "caliper", "knuckle")
    for s in (-1, 1):
        e = c + s * 44 * R[:, 0]
        parts.add(rod(e + (0, -126, 0), e + (0, -30, 0), 8, 18), "zinc", "knuckle")
    parts.add(box(c + (0, 23.5, 0), (64, 2, 20), R, 1), "black steel", "knuckle")


def upper_arm(parts, r):
    """Upper wishbone of round tube."""
    f, b, u = r["upper_pivot_front"], r["upper_pivot_rear"], r["upper_ball_joint"]
    axis = unit(f - b)
    for p in (f, b):
        parts.add(rod(p, u, 10, 18), "black steel", "upper")
        parts.add(rod(p - 18 * axis, p + 18 * axis, 18, 28), "black steel", "upper")
        parts.add(rod(p - 24 * axis, p + 24 * axis, 11, 20), "rubber", "upper")
        parts.add(box(p + (0, -14, 0), (58, 30, 44)), "underbody", "chassis")
    parts.add(lathe([(0, -16), (17, -16), (19, -10), (19, 12), (14, 16), (0, 16)], u, (0, 0, 1), 32), "cast",
              "upper")


def coil_over(parts, top, foot):
    """Spring and damper between its ends as they are now."""
    d = unit(top - foot)
    parts.add(rod(foot + 8 * d, foot + 225 * d, 23, 36), "damper")
    parts.add(rod(foot + 220 * d, top, 8, 18), "alloy")
    side = unit(np.cross(d, (0, 1, 0)))
    parts.add(rod(foot - 19 * side, foot + 19 * side, 16, 28), "damper")
    for at, rad in ((150, 52), (162, 46)):
        parts.add(rod(foot + at * d, foot + (at + 9) * d, rad, 48), "alloy", crease_deg=30)
    length = np.linalg.norm(top - foot)
    seat = length - 18
    parts.add(rod(foot + seat * d, top, 54, 48), "black steel", crease_deg=30)
    parts.add(coil(foot + 178 * d, foot + (seat - 6) * d, 42, 6.2, 6.2), "spring")
    parts.add(lathe([(0, 0), (18, 0), (21, 14), (17, 22), (20, 34), (14, 46), (0, 46)],
                    foot + (seat - 50) * d, d, 32), "rubber")


def anti_roll_bar(parts, r):
    """Bar from its eye through the arm and bush across the car, and the bush's bracket."""
    b, e, axis = r["bar_bush"], r["bar_eye"], r["bar_axis"]
    arm = [e + (15, 8.5, -1), e + (45, 2, -5), e + (110, -13, -17), b + (-36, 23, 4), b + (-10, 16, 1),
           b + 1 * axis, b - 40 * axis]
    path = np.vstack([smooth_path(arm, 60), b - 400 * axis, b - 990 * axis])
    parts.add(tube(path, 11, 22), "bar paint", "bar")
    flat = []
    for dy in (4, 13):
        flat += [e + vec(17 * np.cos(a), dy, 17 * np.sin(a)) for a in np.linspace(0, 2 * np.pi, 20)]
        flat += [e + (34, dy, 6), e + (34, dy, -12)]
    parts.add(hull(flat), "bar paint", "bar", crease_deg=30)
    m = b - 24 * axis
    parts.add(rod(m - 18 * axis, m + 18 * axis, 21, 32), "rubber", "chassis")
    for s in (-1, 1):
        parts.add(rod(m + (s * 14 - 2) * axis, m + (s * 14 + 2) * axis, 23.5, 36), "black steel", "chassis")
    parts.add(box(m + (0, -2, -26), (66, 34, 12)), "black steel", "chassis")
    parts.add(hull([m + (s * 30, q, -30) for s in (-1, 1) for q in (-16, 12)]
                   + [vec(x, y, 215) for x in (268, 350) for y in (330, 368)]), "black steel", "chassis")
    parts.add(box(b + (0, 3, -27), (16, 62, 3), None, 1), "zinc", "chassis")
    parts.add(box(b + (0, 33, -13), (16, 2.5, 30), None, 1), "zinc", "chassis")


def drop_link(parts, foot, eye, bar_stud, foot_stud):
    """Link between foot and eye as they are now; studs point outboard (unit vectors)."""
    d = unit(eye - foot)
    length = np.linalg.norm(eye - foot)
    parts.add(rod(foot + 17 * d, eye - 17 * d, 6.5, 20), "zinc")
    for p, s, n in ((foot, 1, foot_stud), (eye, -1, bar_stud)):
        parts.add(ball(p, 14.5, 28), "zinc")
        parts.add(rod(p + 12 * s * d, p + 36 * s * d, 9.5, 22), "zinc")
        parts.add(rod(p + 34 * s * d, p + 41 * s * d, 11, 6), "zinc", crease_deg=20)
        parts.add(lathe([(13, 0), (15, 3), (12, 7), (8, 9)], p + 1 * n, n, 28), "rubber")
        parts.add(rod(p, p + 31 * n, 5, 16), "zinc")
    mid = foot + 0.49 * length * d
    parts.add(rod(mid - 9 * d, mid + 9 * d, 9.5, 22), "alloy")


def steering(parts, inner, outer):
    """Tie rod with its bellows and the rack."""
    d = unit(outer - inner)
    parts.add(rod(inner, outer, 7, 16), "black steel")
    n = 26
    s = np.linspace(0, 1, n)
    parts.add(lathe(np.column_stack([23 - 9 * s + 3 * np.cos(np.arange(n) * np.pi), 4 + 116 * s]),
                    inner - 20 * d, d, 30),
              "rubber",
              crease_deg=20)
    parts.add(rod(outer - 46 * d, outer, 11, 18), "zinc")
    parts.add(ball(outer, 16, 24), "cast")
    parts.add(rod(inner - 10 * d, vec(inner[0], -390, inner[2]), 25, 28), "cast")


def brake_hose(parts, curve, bracket):
    """Hose of radius 5 along its centreline, with its end fittings."""
    k = np.arange(len(curve))
    under_wrap = np.min([np.abs(k - at * (len(curve) - 1)) for at in (0.24, 0.53, 0.80)], axis=0)
    parts.add(tube(curve, np.where(under_wrap < 11, 3.4, 5.0), 20), "hose")     # pressed in by the wraps
    parts.add(tube(curve[:10], 6.6, 6), "brass", crease_deg=20)
    parts.add(tube(curve[-9:], 6.6, 6), "brass", crease_deg=20)
    parts.add(box(bracket + (0, -6, 2), (34, 26, 4), None, 1), "black steel")
    pipe = smooth_path(
        [bracket, bracket + (2, -12, 40), bracket + (-60, -20, 90), bracket + (-180, -10, 140)], 30)
    parts.add(tube(pipe, 2.4, 10), "brass")


def wheel(parts, h):
    """Tyre, rim and spokes at the rest place, for the car on its wheels."""
    c = h + (0, -36, 0)
    s = np.linspace(0, np.pi, 25)
    wall = np.column_stack([186 + 104 * np.sin(s) ** 0.45, -84 * np.cos(s) * (1 + 0.10 * np.sin(s) ** 2)])
    tread = [(299.5, -66), (301, -30), (297, -28.5), (297, -25.5), (301, -24), (301, -2.5), (297, -1.5),
             (297, 1.5), (301, 2.5), (301, 24), (297, 25.5), (297, 28.5), (301, 30), (299.5, 66)]
    prof = np.array([p for p in wall if p[1] < -60 and p[0] < 298] + tread
                    + [p for p in wall if p[1] > 60 and p[0] < 298])
    parts.add(lathe(prof, c, (0, 1, 0), 160), "tyre", "knuckle", crease_deg=32)
    parts.add(
        lathe([(181, -80), (188, -82), (182, -70), (168, -60), (164, 30), (178, 62), (190, 80), (194, 84),
               (190, 87), (182, 82), (172, 66), (160, 34)], c, (0, 1, 0), 120), "alloy", "knuckle")
    for k in range(5):
        R = turn((0, 1, 0), np.radians(72 * k + 12))
        bar = []
        for y0, rad, half in ((24, 38, 30), (44, 38, 24), (48, 174, 15), (62, 176, 11)):
            for q in (-1, 1):
                bar.append(c + R @ vec(q * half, y0, rad))
        parts.add(hull(bar), "alloy", "knuckle", crease_deg=22)
    parts.add(
        lathe([(28, 20), (52, 24), (64, 36), (62, 46), (46, 48), (34, 44), (31, 38), (31, 20)], c, (0, 1, 0),
              72), "alloy", "knuckle")
    for k in range(4):
        a = np.radians(40 + 90 * k)
        n = c + vec(46 * np.cos(a), 0, 46 * np.sin(a))
        parts.add(rod(n + (0, 40, 0), n + (0, 56, 0), 8.5, 6), "zinc", "knuckle", crease_deg=20)


def all_gear(parts, rest, now, curve, motions, fitted_wheel):
    """Every moving part of the left-hand corner; rest and now: joint dictionaries, chassis frame."""
    control_arm(parts, rest)
    knuckle(parts, rest)
    upper_arm(parts, rest)
    anti_roll_bar(parts, rest)
    bar_stud = motions["bar"].R @ unit(vec(0.10, 0.99, 0.03))
    foot_stud = motions["arm"].R @ unit(vec(0.14, 0.98, 0.10))
    between = type(parts)()
    coil_over(between, now["damper_top"], now["damper_foot"])
    drop_link(between, now["link_foot"], now["bar_eye"], bar_stud, foot_stud)
    steering(between, now["tie_rod_inner"], now["tie_rod_outer"])
    brake_hose(between, curve, now["hose_bracket"])
    parts.rows += [row[:3] + ("chassis",) + row[4:] for row in between.rows]
    if fitted_wheel:
        wheel(parts, rest["hub"])
