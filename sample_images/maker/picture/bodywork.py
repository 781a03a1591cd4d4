"""Shapes of the car's body around a front corner: wing, liner, sill, subframe, the rest in outline.

Left-hand side, chassis frame at ride height, mm.  The front bumper is off.
"""
import numpy as np

from ..mechanics.rigid import vec
from .shapes import box, hull, lathe, rod, sheet, smooth_path, tube

ARCH_CENTRE = vec(3, 0, 300)
ARCH_HALF_WIDTH, ARCH_HEIGHT = 386.0, 325.0


def skin_y(x, z):
    """How far out the body's skin is, mm."""
    y = 798 - 0.00030 * np.maximum(z - 640, 0) ** 2 - 0.00012 * np.maximum(x - 200, 0) ** 2
    return y - 7 * np.exp(-((z - 700) / 14.0) ** 2)


def arch_point(theta_deg, grow=0.0):
    """x, z on the wheel opening's edge at an angle from forward, grown outward by some mm."""
    t = np.radians(theta_deg)
    return (ARCH_CENTRE[0] + (ARCH_HALF_WIDTH + grow) * np.cos(t),
            ARCH_CENTRE[2] + (ARCH_HEIGHT + grow) * np.sin(t))


def wing(parts):
    """Front wing with its wheel opening and turned-in lip."""
    turns = [28, 45, 58, 118, 146, 192]
    outer = np.array([(900, 470), (900, 740), (820, 868), (-300, 905), (-572, 898), (-572, 236)], float)
    theta = np.unique(np.concatenate([np.linspace(28, 192, 110), turns]))
    ox, oz = np.interp(theta, turns, outer[:, 0]), np.interp(theta, turns, outer[:, 1])
    ix, iz = arch_point(theta)
    s = np.linspace(0, 1, 40)[:, None] ** 1.6
    x, z = ix + s * (ox - ix), iz + s * (oz - iz)
    parts.add(sheet(np.stack([x, skin_y(x, z), z], -1)), "paint", "chassis", crease_deg=60)
    lamp_y = skin_y(585.0, 735.0)
    parts.add(box((585, lamp_y + 1, 735), (92, 14, 36), None, 5), "amber", "chassis")
    parts.add(box((585, lamp_y - 2, 735), (104, 14, 48), None, 4), "seal", "chassis")
    edge = np.stack([ix, skin_y(ix, iz) - 3.5, iz], -1)
    parts.add(tube(edge, 3.4, 10), "paint", "chassis")
    inner = edge + (0, -24, 0)
    parts.add(sheet(np.stack([edge, inner])), "paint", "chassis", crease_deg=60)


def liner(parts):
    """Dark wheel-house: the arched liner, the inner wall and the spring turret."""
    theta = np.linspace(30, 190, 80)
    _x, _z = arch_point(theta, 14)
    ys = np.array([786, 740, 690, 620, 540, 440.0])
    dip = np.array([0, 12, 16, 16, 14, 10.0])[:, None]
    px, pz = arch_point(theta[None, :], 14 + dip)
    grid = np.stack([px, np.broadcast_to(ys[:, None], px.shape), pz], -1)
    parts.add(sheet(grid), "liner", "chassis", crease_deg=60)
    wall = np.array([[(x, 428, z) for x in np.linspace(-420, 640, 12)]
                     for z in (330, 400, 480, 560, 640, 760)], float)
    parts.add(sheet(wall), "underbody", "chassis")
    parts.add(lathe([(118, 90), (96, 0), (62, -6), (0, -6)], (-12, 505, 652), (0, 0, 1), 48), "underbody",
              "chassis")
    parts.add(hull([(x, y, z) for x in (-118, 98) for y in (420, 480) for z in (480, 700)]), "underbody",
              "chassis")
    parts.add(hull([(x, y, z) for x in (-1500, -262) for y in (350, 425) for z in (215, 420)]), "underbody",
              "chassis")
    parts.add(hull([(x, y, z) for x in (-262, 700) for y in (330, 425) for z in (330, 430)]), "underbody",
              "chassis")
    for x0 in (-160, 210):
        parts.add(box((x0, 430, 560), (26, 8, 200)), "underbody", "chassis")
    loom = smooth_path([(-360, 434, 540), (-250, 446, 610), (-130, 470, 622), (110, 470, 640),
                        (240, 440, 600), (420, 436, 520)], 60)
    parts.add(tube(loom, 7, 12), "rubber", "chassis")


def under(parts):
    """Subframe, engine in outline, floor, crash beam and radiator, symmetric about y = 0."""
    for s in (-1, 1):
        parts.add(box((55, s * 338, 184), (690, 62, 84), None, 8), "black steel", "chassis")
        parts.add(box((590, s * 378, 380), (420, 70, 96), None, 6), "underbody", "chassis")
        parts.add(hull([(x, s * y, z) for x in (-262, -160) for y in (310, 372) for z in (210, 330)]),
                  "black steel", "chassis")
    parts.add(box((20, 0, 158), (130, 640, 60), None, 8), "black steel", "chassis")
    parts.add(box((230, 30, 380), (430, 440, 330), None, 30), "cast", "chassis")
    parts.add(box((120, 0, 215), (240, 300, 90), None, 20), "forged", "chassis")
    parts.add(box((810, 0, 400), (60, 1180, 110), None, 8), "grey tool", "chassis")
    parts.add(box((690, 0, 470), (46, 620, 380), None, 4), "liner", "chassis")
    parts.add(box((-1400, 0, 205), (2260, 1440, 14), None, 2), "underbody", "chassis")
    parts.add(
        tube(smooth_path([(100, 120, 230), (-250, 90, 160), (-900, 80, 150), (-2300, 70, 170)], 40), 26, 20),
        "disc rust", "chassis")


def shell(parts, near):
    """Sill, door, glass, bonnet and rear quarter; near adds this side's details."""
    parts.add(
        hull([(x, y, z) for x in (-396, -1620)
              for y, z in ((776, 158), (776, 226), (760, 240), (690, 240), (690, 150), (768, 150))]), "paint",
        "chassis")
    x = np.linspace(-578, -1640, 40)
    z = np.linspace(242, 892, 24)
    gx, gz = np.meshgrid(x, z)
    parts.add(sheet(np.stack([gx, skin_y(gx, gz) - 1.0, gz], -1)), "paint", "chassis", crease_deg=60)
    parts.add(box((-575, 782, 560), (8, 12, 660), None, 1), "seal", "chassis")
    parts.add(box((-1100, 764, 899), (1080, 14, 12), None, 3), "seal", "chassis")
    gz2 = np.array([[905.0], [1290.0]])
    gx2 = np.stack([np.linspace(-640, -1640, 10), np.linspace(-900, -1600, 10)])
    parts.add(
        sheet(np.stack([gx2, np.broadcast_to(np.array([[756.0], [640.0]]), gx2.shape), gz2 + 0 * gx2], -1)),
        "glass", "chassis")
    parts.add(tube(np.array([(-560, 752, 905), (-840, 648, 1290), (-1700, 610, 1330)]), 24, 14), "paint",
              "chassis")
    qx, qz = np.meshgrid(np.linspace(-1648, -2900, 30), np.linspace(250, 895, 14))
    parts.add(sheet(np.stack([qx, skin_y(qx, qz), qz], -1)), "paint", "chassis")
    bx, by = np.meshgrid(np.linspace(900, -560, 30), np.linspace(-772, 772, 30))
    bz = 906 + 42 * (1 - (by / 772) ** 2) - 0.00011 * np.maximum(bx - 300, 0) ** 2
    parts.add(sheet(np.stack([bx, by, bz], -1)), "paint", "chassis", crease_deg=60)
    if near:
        parts.add(rod((-760, 786, 800), (-900, 786, 798), 12, 16), "seal", "chassis")
        parts.add(
            hull([(-640 + a, 792 + b, 940 + c) for a in (-40, 60) for b in (-60, 110) for c in (-40, 70)]),
            "paint", "chassis")


def rear_wheel(parts):
    """The rear wheel, which stays on the floor."""
    s = np.linspace(0, np.pi, 24)
    parts.add(
        lathe(np.column_stack([186 + 114 * np.sin(s)**0.4, -82 * np.cos(s)]), (-2330, 722, 300), (0, 1, 0),
              96), "tyre", "chassis")
    parts.add(lathe([(0, 40), (120, 52), (184, 74), (190, 80)], (-2330, 722, 300), (0, 1, 0), 72), "alloy",
              "chassis")


def body(parts):
    """The whole body for a left-hand corner."""
    wing(parts)
    liner(parts)
    under(parts)
    shell(parts, near=True)
    rear_wheel(parts)
