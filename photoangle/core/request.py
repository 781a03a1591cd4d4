"""What is asked of the link over what car.toml says."""

from __future__ import annotations

from dataclasses import dataclass


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
