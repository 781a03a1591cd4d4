"""The nouns that the parts of Photoangle hand to each other.  Frozen, without logic."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

NOTE, ATTENTION, UNUSABLE = "note", "attention", "unusable"


@dataclass(frozen=True)
class Finding:
    """Something to tell the user: where, what is the matter, and what to do about it.

    level: "note" (good to know), "attention" (measured, but look at this) or "unusable".
    """

    level: str
    where: str
    what: str
    do: str = ""


@dataclass(frozen=True)
class PhotoSighting:
    """What was found in one photo.

    tags: marker id -> AlignedTag; card: CardSighting or None; focal_px: EXIF's guess or None;
    camera: identity that a lens profile is matched by; found: every FoundTag, for the pictures; dismissed: ids that the user
    says are not there.
    """

    name: str
    width_px: int
    height_px: int
    camera: object
    focal_px: float | None
    tags: dict
    card: object
    found: tuple = ()
    dismissed: frozenset = frozenset()


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


@dataclass(frozen=True)
class Figure:
    """One measured quantity, as in the list that ``--json`` prints.

    value and u (standard uncertainty) in ``unit``; dof: degrees of freedom of u; low95, high95; budget: share
    of the variance by source, summing to one.
    """

    corner: str | None
    state: str | None
    name: str
    datum: str | None
    unit: str
    value: float
    u: float
    dof: float
    low95: float
    high95: float
    budget: dict = field(default_factory=dict)


@dataclass(frozen=True)
class Refusal:
    """Something that could not be used as given, and why.  A value, not an exception."""

    finding: Finding
