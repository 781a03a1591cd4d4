"""What was found in one photo."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from calib.images.photo import CameraIdentity
from photoangle.detection.alignment.aligned_tag import AlignedTag
from photoangle.detection.saddles import CardDetection


@dataclass(frozen=True)
class Detections:
    """What was found in one photo.

    tags: marker id -> AlignedTag; card: CardDetection or None; focal_px: EXIF's guess or None; camera:
    identity that a lens profile is matched by; found: every FoundTag, for the pictures; dismissed: ids that
    the user says are not there.
    """

    name: str
    width_px: int
    height_px: int
    camera: CameraIdentity
    focal_px: float | None
    tags: dict[int, AlignedTag]
    card: CardDetection | None
    found: tuple[Any, ...] = ()
    dismissed: frozenset[int] = frozenset()
