"""What a command is asked about photos, as a noun."""

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
