"""A plain checkerboard of any size, for learning a lens: its inner corners, each as the crossing of two
edges."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from photoangle.detection.saddles import FLOOR_PX, fit_crossings

# The board is looked for in a copy no larger than this; its corners are measured in the photo itself.
_SEARCH_PX = 1600
_LEAST = 3
_WAYS = (cv2.CALIB_CB_LARGER | cv2.CALIB_CB_EXHAUSTIVE | cv2.CALIB_CB_ACCURACY,
         cv2.CALIB_CB_LARGER | cv2.CALIB_CB_NORMALIZE_IMAGE, cv2.CALIB_CB_LARGER | cv2.CALIB_CB_EXHAUSTIVE
         | cv2.CALIB_CB_NORMALIZE_IMAGE | cv2.CALIB_CB_ACCURACY)
_LEAST_FIT = 0.85
# A further row counts where so many of its corners are crossings; a board has no more rows than this.
_MOST_OF_A_ROW, _MOST_STEPS = 0.7, 40


@dataclass(frozen=True)
class Checkerboard:
    """A board's inner corners as seen in one picture.

    columns, rows: of inner corners; index (k,) into their row-major list; pixels (k, 2) px; covariance_px2
    (k, 2, 2).  Which of its corners is the first is not known: a board looks the same turned by half a turn.
    """

    columns: int
    rows: int
    index: np.ndarray
    pixels: np.ndarray
    covariance_px2: np.ndarray

    @property
    def points(self) -> np.ndarray:
        """Places of the seen corners on the board (k, 3), its squares being one wide."""
        return np.c_[self.index % self.columns, self.index // self.columns,
                     np.zeros(len(self.index))].astype(float)


def find_checkerboard(grey: np.ndarray, size: tuple[int, int] | None = None) -> Checkerboard | None:
    """The checkerboard in a picture (H, W) uint8, or None.

    size: its (columns, rows) of inner corners where other photos showed it; None: whatever its size.
    """
    scale = min(1.0, _SEARCH_PX / max(grey.shape))
    small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else grey
    at = _any_part(small) if size is None else _of_size(small, size)
    if at is None:
        return None
    # a pixel's centre is a whole number in both pictures
    grid = (at + 0.5) / scale - 0.5
    grid = _trimmed(grey, _grown(grey, grid)) if size is None else grid
    if grid.shape[0] < _LEAST or grid.shape[1] < _LEAST:
        return None
    if grid.shape[1] < grid.shape[0]:
        # one way to lay every photo of it: the longer side across
        grid = np.swapaxes(grid, 0, 1)
    return _measured(grey, grid)


def _any_part(grey):
    """Corners (rows, columns, 2) px of the largest part of a board that is found, or None."""
    best = None
    for flags in _WAYS:
        found, corners, meta = cv2.findChessboardCornersSBWithMeta(grey, (_LEAST, _LEAST), flags)
        if found and min(meta.shape) >= _LEAST and (best is None or corners.size > best.size):
            best = corners.reshape(*meta.shape, 2).astype(float)
    return best


def _of_size(grey, size):
    """Corners (rows, columns, 2) px of a board whose size is known, or None."""
    found, corners = cv2.findChessboardCornersSB(grey, size, flags=_WAYS[0] & ~cv2.CALIB_CB_LARGER)
    if not found:
        found, corners = cv2.findChessboardCorners(grey, size)
    return corners.reshape(size[1], size[0], 2).astype(float) if found else None


def _trimmed(grey, grid):
    """The grid without outer rows and columns that are hardly there."""
    while min(grid.shape[:2]) >= _LEAST:
        across, down = (np.gradient(grid, axis=k).reshape(-1, 2) for k in (1, 0))
        fitted = _fit(grey, grid.reshape(-1, 2).copy(), across, down)
        if fitted is None:
            return grid[:0]
        good = fitted[2].reshape(grid.shape[:2])
        for edge, cut in ((good[0], np.s_[1:]), (good[-1], np.s_[:-1]), (good[:, 0], np.s_[:, 1:]),
                          (good[:, -1], np.s_[:, :-1])):
            if edge.mean() < _MOST_OF_A_ROW:
                grid = grid[cut]
                break
        else:
            return grid
    return grid[:0]


def _grown(grey, grid):
    """The grid (rows, columns, 2) px with every further row and column that the picture shows.

    A row goes on from the two before it; it is there if most of its corners look like crossings of two edges.
    """
    for _ in range(_MOST_STEPS):
        longer = grid
        for turn in range(4):
            turned = np.rot90(longer, turn)
            row = 2 * turned[0] - turned[1] + (turned[0] - 2 * turned[1] + turned[2]) * 0.5
            there = _crossings(grey, row, np.gradient(row, axis=0), turned[0] - row)
            if there is not None:
                turned = np.concatenate([there[None], turned])
            longer = np.rot90(turned, -turn)
        if longer.shape == grid.shape:
            return grid
        grid = longer
    return grid


def _crossings(grey, at, across, down):
    """A row of corners (k, 2) px, measured, or None where most of them are none: those that are hidden stay
    where the rest says."""
    fitted = _fit(grey, at, across, down)
    if fitted is None:
        return None
    pixels, _, good = fitted
    if good.mean() < _MOST_OF_A_ROW:
        return None
    return np.where(good[:, None], pixels, at)


def _fit(grey, at, across, down):
    """Crossings near ``at`` whose edges run along across and down (k, 2), px.

    Returns (pixels (k, 2), covariance (k, 2, 2), good (k,)), or None where the squares are too small.
    """
    long, high = np.linalg.norm(across, axis=1), np.linalg.norm(down, axis=1)
    area = np.abs(across[:, 0] * down[:, 1] - across[:, 1] * down[:, 0])
    # the nearest other edge lies one square away, seen at this slant
    clear = np.median(area / np.maximum(np.maximum(long, high), 1e-6))
    reach = int(np.clip(np.floor(0.7 * clear), 3, 16))
    if clear < 6:
        return None
    size = np.array(grey.shape[::-1])
    inside = np.isfinite(at).all(1) & (at > reach + 2).all(1) & (at < size - reach - 3).all(1)
    pixels, covariance = at.copy(), np.tile(np.eye(2), (len(at), 1, 1))
    good = np.zeros(len(at), bool)
    if inside.any():
        angles = np.arctan2(np.stack([across[:, 1], down[:, 1]], 1), np.stack([across[:, 0], down[:, 0]], 1))
        pixels[inside], covariance[inside], fit = fit_crossings(grey, at[inside], angles[inside], reach)
        moved = np.linalg.norm(pixels[inside] - at[inside], axis=1)
        near = moved < max(2.0, 0.3 * clear)
        good[inside] = (fit > _LEAST_FIT) & np.isfinite(pixels[inside]).all(1) & near
    return pixels, covariance, good


def _measured(grey, grid):
    """Corners (rows, columns, 2) px measured as crossings in the whole picture: Checkerboard, or None."""
    rows, columns = grid.shape[:2]
    across, down = (np.gradient(grid, axis=k).reshape(-1, 2) for k in (1, 0))
    fitted = _fit(grey, grid.reshape(-1, 2).copy(), across, down)
    if fitted is None or fitted[2].sum() < _LEAST**2:
        return None
    pixels, covariance, good = fitted
    return Checkerboard(columns, rows, np.flatnonzero(good), pixels[good],
                        covariance[good] + FLOOR_PX**2 * np.eye(2))
