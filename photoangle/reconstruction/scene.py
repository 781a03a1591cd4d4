"""One set of photos, solved: poses and their covariance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Scene:
    """One set of photos, solved: everything in one world frame (the card's, or a marker's).

    photos: names of the photos in it; cameras: camera_from_world Pose each; markers: id ->
    world_from_marker Pose; solution: the `calib.bundle` Solution, whose body k is order[k] (None for the card);
    covariance (size, size) of all unknowns; tilt_margin: id -> cost by which the marker's other tilt is worse;
    sightings: id -> number of photos that count; moving_lens: whether each photo has its own focal length;
    left_out: (photo, id) pairs found not to belong.
    """

    photos: tuple
    cameras: tuple
    markers: dict
    sizes_mm: dict
    order: tuple
    solution: object
    covariance: np.ndarray
    tilt_margin: dict
    sightings: dict
    moving_lens: bool
    has_card: bool
    left_out: tuple = ()
    findings: tuple = ()
    loose: tuple = ()  # ids whose place is doubtful: moved, bent, or seen once at an ambiguous tilt
    lens_source: str = "profile"
    inverse: np.ndarray | None = None  # of the normal matrix, where it is not the solution's own

def scene_sources(scene):
    """The scene's covariance split by what it rests on: pixels, lens, print; (size, size) each.

    With M the normal matrix and M = D + P (pixels and priors), each prior's part P of P contributes M^-1 P M^-1; the
    pixels have the rest.
    """
    bundle = scene.solution.bundle
    c = scene.solution.inverse() if scene.inverse is None else scene.inverse
    n = bundle.lens_size
    lens, paper = np.zeros_like(c), np.zeros_like(c)
    lens[:n, :n] = bundle.priors.lens_information
    if bundle.per_camera == 9:
        for k in range(bundle.cameras):
            at = bundle.camera_start + 9 * k + 6 + np.arange(3)
            lens[at, at] = 1 / np.asarray(bundle.priors.shift_sigma) ** 2
    known = np.flatnonzero(bundle.priors.paper_sigma > 0)
    paper[n + known, n + known] = 1 / bundle.priors.paper_sigma[known] ** 2
    parts = {"lens": c @ lens @ c, "print": c @ paper @ c}
    parts["pixels"] = scene.covariance - parts["lens"] - parts["print"]
    return parts
