"""A solved bundle: values, residuals, covariance."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from calib.rows import Values

if TYPE_CHECKING:  # the bundle itself makes the solution
    from calib.bundle import Bundle

# Degrees of freedom that can tell of the pixels' noise, and the least factors on its variance (drawn scenes,
# poses against truth).
_ENOUGH, _LEAST, _LEAST_OF_SEVERAL = 40, 0.25, 0.4

# Medians of chi-squared of 8 and of 2 degrees of freedom.
_MEDIAN_8, _MEDIAN_2 = 7.344, 1.386
# Typical squares so many times what is expected are no matter of a few that do not belong.
_LOST_HOLD = 3.0


class Singular(Exception):
    """The observations do not determine the unknowns."""


@dataclass(frozen=True)
class Solution:
    """A solved bundle: values, robust cost, whitened residuals of tags (t, 8) and card (c, k, 2)."""

    bundle: Bundle
    values: Values
    cost: float
    rounds: int
    tag_residual: np.ndarray
    card_residual: np.ndarray

    @property
    def tag_square(self) -> np.ndarray:
        """Squared whitened residual of each tag row (expected about 8)."""
        return (self.tag_residual**2).sum(-1)

    def degrees_of_freedom(self) -> int:
        """Rows less unknowns, priors counted as rows."""
        b = self.bundle
        priors = b.lens_size + int((b.priors.paper_sigma > 0).sum())
        priors += b.shifts * b.cameras
        priors += sum(len(t.whiten) for t in b.ties)
        given_up = int(sum(t.given_up for t in b.tags))
        return max(b.rows + priors - given_up - int(b.free.sum()), 4)

    def variance_factor(self) -> float:
        """Weighted squares over degrees of freedom: one where the stated pixel noise is right."""
        tag_w, card_w = self.bundle.weights(self.tag_residual, self.card_residual)
        total = (tag_w[:, None] * self.tag_residual**2).sum()
        total += (card_w[..., None] * self.card_residual**2).sum()
        return float(total / self.degrees_of_freedom())

    def information(self) -> tuple[np.ndarray, np.ndarray]:
        """Normal matrix with priors, and the part of it that the pixels gave; (size, size) each."""
        parts = self.bundle.whitened(self.values, True)
        matrix, _, data = self.bundle._normal(self.values, *parts)
        return matrix, data

    def inverse(self) -> np.ndarray:
        """Inverse (size, size) of the normal matrix with priors; held unknowns get zero.

        Raises Singular where something is not determined.
        """
        matrix, _ = self.information()
        free = np.flatnonzero(self.bundle.free)
        block = matrix[np.ix_(free, free)]
        if not (block.diagonal() > 0).all():
            raise Singular("some unknowns are not seen at all")
        scale = 1 / np.sqrt(block.diagonal())
        try:
            lower = np.linalg.cholesky(block * scale[:, None] * scale)
        except np.linalg.LinAlgError as error:
            raise Singular("the photos do not tie everything together") from error
        half = np.linalg.inv(lower)
        out = np.zeros((self.bundle.size,) * 2)
        out[np.ix_(free, free)] = (half.T @ half) * scale[:, None] * scale
        return out

    def covariance(self, factor: float | None = None, inverse: np.ndarray | None = None) -> np.ndarray:
        """Covariance (size, size) of the unknowns: turns in rad (acting on the left), lengths in mm.

        With M = D + P, pixels and priors, it is M^-1 (factor D + P) M^-1: the residuals tell how large the
        pixels' noise is, and nothing of the priors.  factor: `scale` unless given; inverse: M^-1 where it was
        made before.  Raises Singular.
        """
        inverse = self.inverse() if inverse is None else inverse
        _, data = self.information()
        factor = self.scale() if factor is None else factor
        return inverse + (factor - 1) * (inverse @ data @ inverse)

    def scale(self) -> float:
        """Factor on the pixels' part of the covariance from the residuals.

        The stated pixel noise is meant to be safe; where there are enough degrees of freedom to tell that it
        was too large, it is taken back, though not below a limit: what a denoiser does to a tag repeats from
        photo to photo, and moves poses rather than residuals.  Robust weights lose some of what the normal
        matrix counts: the factor is that of an M-estimator (Huber 1981, section 7.6), mean(w^2 r^2) mean(w) /
        mean(d(w r)/dr)^2 in place of mean(w r^2).
        """
        scale, typical = self.variance_factor() * self.robust_loss(), self.typical_misfit()
        # weights that let go of nearly everything say little of how far off it is
        return max(self.least_scale(), scale, typical if typical > _LOST_HOLD else 0.0)

    def typical_misfit(self) -> float:
        """The median of squared whitened residuals over what noise as stated gives, of tags or of the card,
        whichever is more: what robust weights, which let go of what is far off, do not show."""
        chance = self.bundle.rows / self.degrees_of_freedom()
        out = [0.0]
        if len(self.tag_residual):
            out.append(float(np.median(self.tag_square)) / _MEDIAN_8)
        if self.bundle.card_there.any():
            out.append(float(np.median((self.card_residual**2).sum(-1)[self.bundle.card_there])) / _MEDIAN_2)
        return max(out) * max(1.0, chance)

    def least_scale(self) -> float:
        """The least that `scale` may be here."""
        if self.degrees_of_freedom() < _ENOUGH:
            return 1.0
        return _LEAST if self.bundle.cameras == 1 else _LEAST_OF_SEVERAL

    def robust_loss(self) -> float:
        """Variance of the robust estimate over what the weighted normal matrix says: one for plain
        squares."""
        nu = self.bundle.nu
        if not nu:
            return 1.0
        squares = {8: self.tag_square, 2: (self.card_residual**2).sum(-1)[self.bundle.card_there]}
        rows, weight, slope, plain, pull = 0, 0.0, 0.0, 0.0, 0.0
        for d, square in squares.items():
            w = np.minimum((nu + d) / (nu + square), 1)
            rows += d * len(square)
            weight += d * w.sum()
            slope += (d * w - np.where(w < 1, 2 * w * square / (nu + square), 0)).sum()
            plain, pull = plain + (w * square).sum(), pull + (w * w * square).sum()
        if rows == 0 or plain <= 0 or slope <= 0:
            return 1.0
        return float(pull / plain * (weight / rows) / (slope / rows) ** 2)

    def with_values(self, **changes: np.ndarray) -> Values:
        return replace(self.values, **changes)
