"""What is asked of a run, over what car.toml says: of the photos, and of the link."""

from __future__ import annotations

from dataclasses import dataclass
from os import PathLike


@dataclass(frozen=True)
class PhotoOptions:
    """How photos are to be understood.

    kit_path: a kit file for other tags.  For loose photos alone: car_root: folder whose car.toml and lens
    profile to use; planar: the parts lie in the card's plane; dots: role keys of plain stickers from left to
    right (one photo; implies planar); level: "plumb", "card" or "none" instead of car.toml's; corner: whose
    stand-offs in car.toml to use.
    """

    kit_path: str | PathLike[str] | None = None
    car_root: str | PathLike[str] | None = None
    planar: bool = False
    dots: tuple[str, ...] = ()
    level: str | None = None
    corner: str | None = None

@dataclass(frozen=True)
class LinkRequest:
    """What the command line asks for, over what car.toml says; None: as in the file.

    state: the state to answer from; lowered_mm; length_mm or change_mm: another link; hole_mm: another eye
    hole; angle_deg, within_deg, square: the wanted place of the bar.
    """

    state: str | None = None
    lowered_mm: float = 0.0
    length_mm: float | None = None
    change_mm: float | None = None
    hole_mm: float = 0.0
    angle_deg: float | None = None
    within_deg: float | None = None
    square: bool = False


@dataclass(frozen=True)
class Asked:
    """LinkRequest as people write them: lengths as text, such as "-7 mm" or "3/8in"; angles in deg; None:
    nothing said."""

    state: str | None = None
    lowered: str | None = None
    length: str | None = None
    change: str | None = None
    hole: str | None = None
    angle: float | None = None
    within: float | None = None
    square: bool = False
