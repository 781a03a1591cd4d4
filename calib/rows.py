"""What goes into the joint solver: a point in the space of unknowns, and the observations.  No logic."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

# tag scale, bow x (mm at the card's short edges), twist (mm), bow y (mm), aspect
PAPER = 5
PAPER_SIGMA = np.array([0.005, 0.7, 0.7, 0.7, 0.001])


@dataclass(frozen=True)
class Values:
    """A point in the space of unknowns.

    lens (L,); paper (5,); camera_rotation (C, 3, 3) and camera_mm (C, 3): camera from
    world; shift (C, 3): focal scale and principal point (px) of each photo beyond the lens, or (C, 9) with
    what an editor did to it (`calib.lens`);
    body_rotation (B, 3, 3) and body_mm (B, 3): world from body, body 0 the identity.
    """

    lens: np.ndarray
    paper: np.ndarray
    camera_rotation: np.ndarray
    camera_mm: np.ndarray
    shift: np.ndarray
    body_rotation: np.ndarray
    body_mm: np.ndarray


@dataclass(frozen=True)
class TagRow:
    """One tag in one photo: indices of photo and body, size, corners (4, 2), covariance (8, 8); given_up: how
    many of its eight numbers the covariance gives up to what is no noise of the pixels."""

    camera: int
    body: int
    size_mm: float
    corners_px: np.ndarray
    covariance_px2: np.ndarray
    given_up: float = 0.0


@dataclass(frozen=True)
class CardRow:
    """The card in one photo: its corners (k, 3) mm, pixels (k, 2), covariances (k, 2, 2)."""

    camera: int
    points_mm: np.ndarray
    pixels: np.ndarray
    covariance_px2: np.ndarray


@dataclass(frozen=True)
class BodyTie:
    """A soft constraint between points of two bodies: their difference is zero along rows.

    Residual: ``whiten @ (p_a - p_b)`` with p = world position of ``point`` on its body; body
    -1 means a fixed world point.  whiten (r, 3), 1/mm.
    """

    body_a: int
    point_a_mm: np.ndarray
    body_b: int
    point_b_mm: np.ndarray
    whiten: np.ndarray


@dataclass(frozen=True)
class Priors:
    """What is known beforehand.

    lens_mean (L,) and lens_information (L, L); paper_mean, paper_sigma (5,) with 0 sigma for
    "exactly so"; shift_sigma (3,), or (9,) where photos may have been edited, or None where the lens is the
    same in every photo.
    """

    lens_mean: np.ndarray
    lens_information: np.ndarray
    paper_mean: np.ndarray = field(default_factory=lambda: np.zeros(PAPER))
    paper_sigma: np.ndarray = field(default_factory=lambda: PAPER_SIGMA.copy())
    shift_sigma: np.ndarray | None = None
