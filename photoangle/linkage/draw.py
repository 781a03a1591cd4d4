"""Random numbers for a corner's samples, a stream of their own for each source."""

from __future__ import annotations

import numpy as np

from calib.poses import rotation_from_vector
from photoangle.core.arrays import Array
from photoangle.linkage.kinematics.sampled_corner import HasTurn
from photoangle.linkage.kinematics.turning import unit


class Draw:
    """n samples; seed: the same gives the same; only: the sources that are drawn, all others stay at their
    estimates (None: all are drawn).  So one source can be drawn alone."""

    def __init__(self, n: int, seed: int, only: tuple[str, ...] | None) -> None:
        self.n, self.seed, self.only = n, seed, only
        self.streams: dict[str, np.random.Generator] = {}

    def _stream(self, source: str) -> np.random.Generator | None:
        if self.only is not None and source not in self.only:
            return None
        if source not in self.streams:
            key = [self.seed, *source.encode()]
            self.streams[source] = np.random.default_rng(key)
        return self.streams[source]

    def normal(self, source: str, covariance: Array, dof: float | None = None) -> Array:
        """(n, k) of covariance (k, k) about zero; with few degrees of freedom a t distribution (JCGM 101,
        6.4.9)."""
        stream = self._stream(source)
        if stream is None:
            return np.zeros((self.n, len(covariance)))
        values, vectors = np.linalg.eigh((covariance + covariance.T) / 2)
        root = vectors * np.sqrt(np.maximum(values, 0))
        out: Array = stream.standard_normal((self.n, len(covariance))) @ root.T
        if dof is not None and dof < 1000:
            out *= np.sqrt(dof / stream.chisquare(dof, self.n))[:, None]
        return out

    def scalar(self, source: str, value: float, u: float) -> Array:
        """(n, 1) about a value."""
        return value + self.normal(source, np.array([[u * u]]))

    def rectangular(self, source: str, half: float) -> Array:
        """(n, 1), evenly between -half and half."""
        stream = self._stream(source)
        return np.zeros((self.n, 1)) if stream is None else stream.uniform(-half, half, (self.n, 1))

    def between(self, source: str, low_high: tuple[float, float]) -> Array:
        """(n, 1), evenly between two limits."""
        low, high = low_high
        return (low + high) / 2 + self.rectangular(source, (high - low) / 2)

    def either_way(self, source: str) -> Array:
        """(n, 1) of 1 and -1, as likely one as the other; their mean, 0, where nothing is drawn, and 1 where
        another source is drawn alone."""
        stream = self._stream(source)
        if stream is None:
            return np.full((self.n, 1), 1.0 if self.only else 0.0)
        return stream.choice([-1.0, 1.0], (self.n, 1))

    def direction(self, source: str, direction: HasTurn) -> Array:
        """(n, 1, 3), unit."""
        turn = rotation_from_vector(self.normal(source, np.asarray(direction.turn_cov, float)))
        out: Array = (turn @ unit(direction.vector))[:, None]
        return out
