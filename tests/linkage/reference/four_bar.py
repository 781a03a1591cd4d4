"""The planar limit of the spatial closure, as the textbooks have it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from photoangle.linkage.kinematics.closure import close_link


@dataclass(frozen=True)
class FourBar:
    """A planar four-bar's two assemblies: angles in rad against the line of the fixed pivots; NaN
    where it does not close."""

    rocker_open: np.ndarray
    coupler_open: np.ndarray
    rocker_crossed: np.ndarray
    coupler_crossed: np.ndarray


def four_bar(crank_mm, coupler_mm, rocker_mm, ground_mm, crank_angle):
    """The planar limit: crank, coupler, rocker and ground as the textbooks have it.

    Lengths (...), crank_angle (...) rad.  Crank's pivot at the origin, rocker's at (ground, 0); solved by the
    spatial closure with its axis square to the plane.  Returns FourBar.
    """
    crank, coupler, rocker, ground, angle = np.broadcast_arrays(
        *(np.asarray(v, float) for v in (crank_mm, coupler_mm, rocker_mm, ground_mm, crank_angle)))
    zero = np.zeros_like(crank)
    foot = np.stack([crank * np.cos(angle), crank * np.sin(angle), zero], -1)
    pivot = np.stack([ground, zero, zero], -1)
    eye = pivot + np.stack([rocker, zero, zero], -1)
    out = []
    for side in (-1.0, 1.0):
        turn = close_link(eye, pivot, np.array([0, 0, 1.0]), foot, coupler, np.full(crank.shape, side)).turn
        end = pivot[..., :2] + rocker[..., None] * np.stack([np.cos(turn), np.sin(turn)], -1) - foot[..., :2]
        out += [turn, np.arctan2(end[..., 1], end[..., 0])]
    return FourBar(*out)
