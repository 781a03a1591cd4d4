"""What was found in one photo."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class PhotoSighting:
    """What was found in one photo.

    tags: marker id -> AlignedTag; card: CardSighting or None; focal_px: EXIF's guess or None; camera:
    identity that a lens profile is matched by; found: every FoundTag, for the pictures; dismissed: ids that
    the user says are not there.
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
