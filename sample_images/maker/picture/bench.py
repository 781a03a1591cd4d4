"""The card on a workbench, for the photos that teach the lens."""
import numpy as np

from ..mechanics.rigid import Rigid, turn, vec
from . import prints
from .parts import Parts
from .render import Scene
from .shapes import box, hull, lathe, rod, sheet, smooth_path, tube
from .staging import print_face, rect_light

CARD = Rigid(np.diag([1.0, -1.0, -1.0]), vec(-126, 84, 0))     # lying flat, seen from above, z up


def bench_scene():
    """Scene of the card lying on the bench among tools; the card is print 0."""
    p = Parts()
    for k in range(5):
        p.add(box((0, -420 + 210 * k, -24), (2400, 207, 40), None, 2), "plywood" if k % 2 else "wood")
    p.add(sheet(np.array([[(-2500, 1500, z), (2500, 1500, z)] for z in (-900.0, 1700.0)])), "wall")
    for x in (-2500.0, 2500.0):
        p.add(sheet(np.array([[(x, y, z) for y in (-3000.0, 1500.0)] for z in (-900.0, 1900.0)])), "wall")
    p.add(sheet(np.array([[(x, y, 1900) for x in (-2500.0, 2500.0)] for y in (-3000.0, 1500.0)])), "ceiling")
    p.add(sheet(np.array([[(x, -3000, z) for x in (-2500.0, 2500.0)] for z in (-900.0, 1900.0)])), "wall")
    p.add(sheet(np.array([[(x, y, -900) for x in (-3000.0, 3000.0)] for y in (-3000.0, 1500.0)])), "concrete")
    p.add(box((-370, 260, 40), (210, 150, 90), turn((0, 0, 1), 0.3), 6), "red tool")
    p.add(rod((330, 230, -3), (330, 230, 95), 46, 40), "green tin", crease_deg=30)
    p.add(box((420, -60, 18), (150, 100, 44), turn((0, 0, 1), -0.5), 4), "cardboard")
    p.add(lathe([(22, 0), (36, 0), (36, 24), (22, 24), (22, 0)], (-300, -150, -4), (0, 0, 1), 48),
          "yellow plastic")
    p.add(rod((-260, -270, 5), (60, -330, 5), 9, 16), "zinc")
    p.add(
        tube(
            smooth_path([(260, -330, 3), (330, -240, 3), (420, -290, 3), (520, -180, 3), (700, -260, 3)], 60),
            4, 12), "rubber")
    p.add(hull([(x, y, z) for x, y in ((150, 240), (180, 330), (-40, 300), (-30, 345)) for z in (-4, 12)]),
          "blue plastic")
    print_face(p, CARD, prints.CARD_PAPER_MM, 0, rows=64)
    lights = [rect_light((1600, -500, 1100), (-1, 0.3, -0.5), 1300, 1200, np.array([0.95, 1.05, 1.2]) * 3.0),
              rect_light((-700, 300, 1700), (0, 0, -1), 1400, 90, np.array([1.05, 1.0, 0.88]) * 14),
              rect_light((500, -1900, 1500), (0, 0.8, -0.6), 1200, 900, np.array([1.0, 1.0, 1.0]) * 1.0)]
    return Scene(p.soup({}), [], CARD, lights)
