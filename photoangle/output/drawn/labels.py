"""Where a label goes in a picture: beside what it names, over nothing else, with a leader where it had to
move."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from photoangle.core.arrays import Array

Box = tuple[float, float, float, float]
_DIRECTIONS = 24


@dataclass
class Labels:
    """What is taken in a picture of (width, height) px: boxes (left, top, right, bottom)."""

    size: tuple[int, int]
    taken: list[Box] = field(default_factory=list)

    def keep_off(self, box: Box) -> None:
        """Take a box: a tag, say."""
        self.taken.append(box)

    def keep_off_line(self, a: Array, b: Array, width: float) -> None:
        """Take a line from ``a`` to ``b``, as boxes along it."""
        count = max(1, math.ceil(float(np.hypot(*(b - a))) / max(width, 1.0)))
        for t in (np.arange(count) + 0.5) / count:
            x, y = a + (b - a) * t
            self.taken.append((x - width / 2, y - width / 2, x + width / 2, y + width / 2))

    def place(self, around: Box, width: float, height: float) -> Box:
        """A free box of a size, as near to the box ``around`` as can be, and take it.

        Rings of places about it are tried outwards; where nothing is free, the one that covers least.
        """
        middle = (around[0] + around[2]) / 2, (around[1] + around[3]) / 2
        half = (around[2] - around[0] + width) / 2 + 3, (around[3] - around[1] + height) / 2 + 3
        best: tuple[float, Box] | None = None
        for ring in range(14):
            reach = ring * height * 0.6
            for k in range(_DIRECTIONS):
                # to the right first, then about
                turn = 2 * math.pi * (k // 2 + (k % 2) * (_DIRECTIONS // 2)) / _DIRECTIONS
                ux, uy = math.cos(turn), math.sin(turn)
                out = reach + min(half[0] / abs(ux) if ux else math.inf,
                                  half[1] / abs(uy) if uy else math.inf)
                x, y = middle[0] + ux * out - width / 2, middle[1] + uy * out - height / 2
                if not (2 <= x <= self.size[0] - width - 2 and 2 <= y <= self.size[1] - height - 2):
                    continue
                box = x, y, x + width, y + height
                covered = sum(_overlap(box, t) for t in self.taken)
                if covered == 0:
                    self.taken.append(box)
                    return box
                if best is None or covered < best[0]:
                    best = covered, box
        box = best[1] if best is not None else (2.0, 2.0, 2.0 + width, 2.0 + height)
        self.taken.append(box)
        return box


def _overlap(a: Box, b: Box) -> float:
    return max(0.0, min(a[2], b[2]) - max(a[0], b[0])) * max(0.0, min(a[3], b[3]) - max(a[1], b[1]))


def leader(label: Box, at: Box) -> tuple[Array, Array]:
    """The shortest line between two boxes, (2,) px each end; of no length where they touch."""
    ends = []
    for one, other in ((label, at), (at, label)):
        x = min(max((other[0] + other[2]) / 2, one[0]), one[2])
        y = min(max((other[1] + other[3]) / 2, one[1]), one[3])
        ends.append(np.array([x, y]))
    return ends[0], ends[1]
