"""What a lens is learnt from: the kit's card, or a plain checkerboard of any size, whichever the photos
show."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from calib.calibrate import View
from calib.images.photo import CameraIdentity
from calib.kit import Kit, card_saddles_mm
from photoangle.core.findings import ATTENTION, Finding
from photoangle.detection.checkerboard import Checkerboard, find_checkerboard
from photoangle.detection.detections import Detections
from photoangle.reconstruction.lens.tagged import Tagged

_LEAST_CORNERS = 12
# A plain board's squares, mm: a lens has no size in it, only the board's bow has, which is believed to be
# small.
_SQUARE_MM = 25.0
_LEAST_INNER = 3


@dataclass(frozen=True)
class BoardViews:
    """views of one board by one camera, or sightings of a sheet of tags (tagged); size_mm: the board's
    outline; title: what it is, in words."""

    camera: CameraIdentity
    views: tuple[View, ...]
    size_mm: tuple[float, float]
    title: str
    sightings: tuple[Detections, ...] = ()
    tagged: Tagged | None = None

    @property
    def photos(self) -> int:
        """How many there are."""
        return len(self.views) or len(self.sightings)


@dataclass(frozen=True)
class BoardAsked:
    """A plain checkerboard as the user tells it: columns, rows of squares, light and dark ones counted;
    square_mm: a square's side, or None."""

    columns: int
    rows: int
    square_mm: float | None = None


def of_the_card(sightings: Iterable[Detections], kit: Kit) -> dict[str, View]:
    """Photo's name -> View of the card, where enough of it shows."""
    if kit.card is None:
        return {}
    saddles = card_saddles_mm(kit.card)
    return {s.name: View(s.name, saddles[s.card.index], s.card.pixels, s.card.covariance_px2)
            for s in sightings if s.card is not None and len(s.card.index) >= _LEAST_CORNERS}


def of_a_checkerboard(names: Iterable[str], grey: Callable[[str], np.ndarray | None],
                      asked: BoardAsked | None = None) -> tuple[dict[str, View], str]:
    """(photo's name -> View of a plain checkerboard, what board it is) of photos that show no card.

    grey(name) gives a photo's picture (H, W) uint8, or None.  Where most show a board
    of one size the others are looked at again for it.  asked: the board, where the user tells it: its squares
    or, where more photos show that, its inner corners.
    """
    seen: dict[str, Checkerboard | None] = {}
    names = list(names)
    sizes: Counter[tuple[int, int]] = Counter()
    if asked is not None:
        across, down = max(asked.columns, asked.rows), min(asked.columns, asked.rows)
        meant = [(across - 1, down - 1), (across, down)]
        for size in (m for m in meant if min(m) >= _LEAST_INNER):
            sizes[size] = sum(find_checkerboard(p, size) is not None for n in names
                              if (p := grey(n)) is not None)
    else:
        for name in names:
            picture = grey(name)
            seen[name] = None if picture is None else find_checkerboard(picture)
        sizes.update((b.columns, b.rows) for b in seen.values() if b is not None)
    if not sizes or not max(sizes.values()):
        return {}, ""
    size = max(sizes, key=lambda s: (sizes[s], s[0] * s[1]))
    seen = {name: seen.get(name) for name in names}
    # a board half in the picture, or half in the dark, looks like a smaller one: looked for at its size
    for name, board in seen.items():
        if board is None or (board.columns, board.rows) != size:
            picture = grey(name)
            seen[name] = None if picture is None else find_checkerboard(picture, size)
    side = asked.square_mm if asked is not None and asked.square_mm else _SQUARE_MM
    views = {name: View(name, b.points * side, b.pixels, b.covariance_px2)
             for name, b in seen.items() if b is not None and (b.columns, b.rows) == size}
    return views, (f"a checkerboard of {size[0] + 1} x {size[1] + 1} squares ({size[0]} x {size[1]} inner"
                   " corners)")


def board_size_mm(views: Iterable[View]) -> tuple[float, float]:
    """Outline of a plain board from its inner corners, mm."""
    most = np.max([v.points_mm.max(0) for v in views], axis=0)
    return float(most[0]), float(most[1])


def not_seen(names: Iterable[str]) -> list[Finding]:
    """Findings for photos that show no board."""
    return [Finding(ATTENTION, name, "neither the card nor another board is seen well enough",
                    "fill half the picture with it, in focus, all of a checkerboard's squares in view")
            for name in names]
