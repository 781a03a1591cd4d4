"""One set of photos, solved: poses, and what their errors come from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from calib.bundle import Bundle
from calib.images.photo import CameraIdentity
from calib.poses import Pose
from calib.rows import Priors
from calib.solution import Solution
from photoangle.core.estimate import Estimate, Source
from photoangle.core.findings import Finding
from photoangle.core.origin import Origin
from photoangle.reconstruction.lens.shown import LensShown
from photoangle.reconstruction.paper_bend import BEND
from photoangle.reconstruction.problem import LensKnowledge


@dataclass(frozen=True)
class Taken:
    """Whose photos a scene was made of: its Origin, the CameraIdentity, and what its lens is known from:
    source in words, the lens at large (None: all of the bundle's prior) and LensShown of other photos."""

    origin: Origin = Origin()
    camera: CameraIdentity | None = None
    lens_source: str = "profile"
    at_large: Priors | None = None
    shown: tuple[LensShown, ...] = ()

    @classmethod
    def of(cls, origin: Origin, camera: CameraIdentity | None, knowledge: LensKnowledge) -> Taken:
        """With what is known of the lens."""
        return cls(origin, camera, knowledge.source, knowledge.at_large, knowledge.shown)


@dataclass(frozen=True)
class Scene:
    """One set of photos, solved: everything in one world frame (the card's, or a marker's).

    photos: names of the photos in it; cameras: camera_from_world Pose each; markers: id -> world_from_marker
    Pose; solution: the `calib.bundle` Solution, whose body k is order[k] (None for the card); errors:
    Estimate of the errors of all unknowns, in the bundle's order and units (turns in rad acting on the left,
    mm, px), by source; tilt_margin: id -> cost by which the marker's other tilt is worse; sightings: id ->
    number of photos that count; moving_lens: whether each photo has its own focal length; edited:
    whether each was taken to be changed afterwards, so that no lens alone explains its pixels; swinging:
    whether the plumb hangs elsewhere in each photo, where its markers are bodies of their own, (id, photo) in
    order; left_out: (photo, id) pairs found not to belong; ambiguous: ids whose place is doubtful: moved,
    bent, or seen once at an ambiguous tilt; doubt: id -> (6, 6), what an undecided tilt adds to its
    covariance; taken: whose photos; lens_shown: what they alone tell of a lens that has no profile, None of
    edited ones.
    """

    photos: tuple[str, ...]
    cameras: tuple[Pose, ...]
    markers: dict[int, Pose]
    sizes_mm: dict[int, float]
    order: tuple[int | None, ...]
    solution: Solution
    errors: Estimate
    tilt_margin: dict[int, float]
    sightings: dict[int, int]
    moving_lens: bool
    has_card: bool
    edited: bool = False
    swinging: bool = False
    left_out: tuple[tuple[str, int], ...] = ()
    findings: tuple[Finding, ...] = ()
    ambiguous: tuple[int, ...] = ()
    doubt: dict[int, np.ndarray] = field(default_factory=dict)
    taken: Taken = Taken()
    lens_shown: LensShown | None = None

    @property
    def origin(self) -> Origin:
        """Whose errors these are."""
        return self.taken.origin

    @cached_property
    def covariance(self) -> np.ndarray:
        """(size, size) of all unknowns."""
        return self.errors.covariance()

    @cached_property
    def covariance_of_one_paper(self) -> np.ndarray:
        """The same without what paper that is not flat does: between two scenes of the same markers that
        cancels."""
        kept = {s: e for s, e in self.errors.effects.items() if s.title != BEND}
        return replace(self.errors, effects=kept).covariance()

    def rows_of(self, marker: int) -> np.ndarray:
        """Where a marker's pose stands among the unknowns (6,): turn (rad), then place (mm); empty for the
        world's own body."""
        body = self.order.index(marker)
        return np.arange(
            self.solution.bundle.size)[self.solution.bundle.body_slice_of(body)] if body else np.zeros(
                0, int)

    def pose_matrix(self, ids: Sequence[int]) -> np.ndarray:
        """Matrix (6 m, size) that takes the poses of markers out of the unknowns."""
        out = np.zeros((6 * len(ids), self.solution.bundle.size))
        for k, marker in enumerate(ids):
            rows = self.rows_of(marker)
            out[6 * k + np.arange(len(rows)), rows] = 1
        return out


def scene_errors(bundle: Bundle, inverse: np.ndarray, covariance: np.ndarray, dof: float,
                 taken: Taken) -> Estimate:
    """The errors of all unknowns by what they rest on: pixels, lens, print.

    With M = D + P the normal matrix (pixels and priors), an error d of a prior's mean moves the least-squares
    answer by M^-1 P d (its covariance's part is M^-1 P M^-1); the pixels have the rest of the covariance.
    What other states' photos showed of the lens (`lens.shown`) moves it by M^-1 times their score's error,
    and so does this state's own share of it, which those states use in turn.
    What is left out is what the solver leaves out.

    Parameters: bundle: calib.bundle.Bundle; inverse (size, size): M^-1; covariance (size, size); dof: of the
    pixels' noise; taken: whose photos they are.
    """
    priors, n = bundle.priors, bundle.lens_size
    origin, to_lens = taken.origin, inverse[:, :n]
    # what moves the lens as well as the rest moves it through this state's own share
    beside = _beside_the_lens(inverse, n) if taken.shown else inverse
    effects: dict[Source, np.ndarray] = {}
    known = np.flatnonzero(priors.paper_sigma > 0)
    paper = Source(("paper", origin.prints, priors.paper_mean.tobytes(), priors.paper_sigma.tobytes()),
                   "print", np.diag(priors.paper_sigma[known]**2))
    effects[paper] = beside[:, n + known] / priors.paper_sigma[known] ** 2
    if bundle.shifts:
        at = (bundle.camera_start + bundle.per_camera * np.arange(bundle.cameras)[:, None] + 6
              + np.arange(bundle.shifts))
        information = np.tile(1 / np.asarray(priors.shift_sigma) ** 2, bundle.cameras)
        effects[Source(("focus", origin.state), "lens",
                       np.diag(1 / information))] = beside[:, at.ravel()] * information
    large = taken.at_large or priors
    who = repr(taken.camera) if taken.camera is not None and taken.camera.known else origin.state
    lens = Source(("lens", who, large.lens_mean.tobytes(), large.lens_information.tobytes()), "lens",
                  np.linalg.inv(large.lens_information))
    effects[lens] = to_lens @ large.lens_information
    rest = covariance - sum(e @ s.covariance @ e.T for s, e in effects.items())
    if taken.shown:
        whole = np.linalg.inv(inverse[:n, :n])
        own = Source(("lens shown", origin.state), "lens",
                     whole @ covariance[:n, :n] @ whole - priors.lens_information, dof)
        stated = priors.lens_information - large.lens_information
        rest -= to_lens @ (own.covariance + stated) @ to_lens.T
        effects[own] = to_lens
        for share in taken.shown:
            effects[Source(share.key, "lens", share.spread, share.dof)] = to_lens
    effects[Source(("pixels", origin.state), "pixels", (rest + rest.T) / 2, dof)] = np.eye(bundle.size)
    return Estimate(tuple(f"unknown {k}" for k in range(bundle.size)), np.zeros(bundle.size), effects)


def _beside_the_lens(inverse: np.ndarray, n: int) -> np.ndarray:
    """The inverse (size, size) of the normal matrix with the lens, its first n unknowns, held."""
    out = inverse - inverse[:, :n] @ np.linalg.solve(inverse[:n, :n], inverse[:n])
    out[:n], out[:, :n] = 0, 0
    return out
