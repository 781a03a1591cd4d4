"""What is printed: marker families, ids, sizes, plates and the card.

What each marker stands for (its ``Role``) comes from the caller, as data. Lengths are millimetres as printed
at 100 %. Two frames are used:

* a tag's own frame: origin at the tag's centre, x right, y down, z into the sheet;
* the card frame: origin at the board's top-left outer corner, x right, y down,
  z into the sheet, which is OpenCV's board frame for a ``CharucoBoard``.

Corners are listed as OpenCV lists them: top left, top right, bottom right, bottom
left, upright as printed. Nothing heavy is imported here, so that a command which only
needs a tag's size pays nothing for it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from calib.errors import InputError

if TYPE_CHECKING:
    import numpy as np

DEFAULT_FAMILY = "DICT_APRILTAG_36h11"
LARGE_MM = 30.0
SMALL_MM = 18.0
PLATE_JOINT_XY_MM = (0.0, 45.0)
PLUMB_SPACING_MM = 200.0
QUIET_CELLS = 1.25  # white kept around every tag, in cells of that tag
SPARE = "spare"  # the body of a marker that nothing is said of
PRINTED_ROLES = 30  # so many ids each form and side has

# Name in OpenCV -> (cells across without the border, number of ids). Kept here so that
# a kit file can be checked without loading OpenCV; a test holds the two together.
FAMILIES = {
    **{f"DICT_{n}X{n}_{count}": (n, count) for n in (4, 5, 6, 7) for count in (50, 100, 250, 1000)},
    "DICT_ARUCO_ORIGINAL": (5, 1024),
    "DICT_APRILTAG_16h5": (4, 30),
    "DICT_APRILTAG_25h9": (5, 35),
    "DICT_APRILTAG_36h10": (6, 2320),
    "DICT_APRILTAG_36h11": (6, 587),
    "DICT_ARUCO_MIP_36h12": (6, 250),
}


def family_named(name: str) -> str | None:
    """The family in FAMILIES that people mean by a name: DICT_4X4_50, 4x4_50, tag36h11, AprilTag 36h11; or
    None."""
    return {_bare(family): family for family in FAMILIES}.get(_bare(name))


def _bare(name: str) -> str:
    """A family's name without what people put before it, or leave out."""
    return re.sub("^(DICT|APRILTAG|ARUCO|MIP|TAG)+", "", re.sub("[^A-Z0-9]", "", name.upper()))


class KitError(InputError, ValueError):
    """A kit that cannot be used as given."""


@dataclass(frozen=True)
class Role:
    """What a marker stands for: words for people, and ``body``, the rigid body it rides on.

    ``number`` is None for a marker without a role; the body ``SPARE`` is one yet to be told."""

    number: int | None
    key: str
    title: str
    where: str
    body: str


@dataclass(frozen=True)
class Slot:
    """One tag id of a kit: its role, form ("large", "small" or "plate"), the side of its
    black square, and the joint it points at in the tag's own plane and frame.
    ``side`` is "either", or "right" for the second set."""

    role: Role
    form: str
    size_mm: float
    family: str
    joint_xy_mm: tuple[float, float] = (0.0, 0.0)
    side: str = "either"


@dataclass(frozen=True)
class CardSpec:
    """The printed board: a checkerboard with tags in its white squares.

    ``x_line_mm`` and ``y_line_mm`` are the true lengths of its two print-check lines.
    ``legacy`` is OpenCV's pattern from before 4.6, where a board with an even number of
    rows starts with a white square.
    """

    columns: int = 9
    rows: int = 6
    square_mm: float = 28.0
    tag_mm: float = 20.0
    first_id: int = 0
    legacy: bool = False
    family: str = DEFAULT_FAMILY
    x_line_mm: float = 200.0
    y_line_mm: float = 150.0

    @property
    def width_mm(self) -> float:
        return self.columns * self.square_mm

    @property
    def height_mm(self) -> float:
        return self.rows * self.square_mm

    @property
    def tag_squares(self) -> tuple[tuple[int, int], ...]:
        """(row, column) of the white squares, in the order of their tags' ids."""
        even = 0 if self.legacy and self.rows % 2 == 0 else 1
        return tuple(
            (r, c) for r in range(self.rows) for c in range(self.columns) if (r + c) % 2 == even
        )

    @property
    def tag_ids(self) -> tuple[int, ...]:
        return tuple(range(self.first_id, self.first_id + len(self.tag_squares)))


@dataclass(frozen=True)
class Kit:
    """The markers that may turn up in a photo. ``slots`` maps a tag's id to its Slot and is
    not to be changed. With ``any_id_size_mm`` every other id of the family counts as a
    spare marker of that size. The card may have a family of its own."""

    family_name: str
    slots: dict[int, Slot]
    card: CardSpec | None = None
    any_id_size_mm: float | None = None

    def slot(self, tag_id: int) -> Slot | None:
        """The Slot of ``tag_id``, or None where the kit has no such marker (the card's
        own tags are not markers)."""
        if tag_id in self.slots or self.any_id_size_mm is None:
            return self.slots.get(tag_id)
        if not 0 <= tag_id < FAMILIES[self.family_name][1] or self._on_card(tag_id):
            return None
        return Slot(unnamed_role(tag_id), form_of(self.any_id_size_mm), self.any_id_size_mm,
                    self.family_name)

    def role(self, tag_id: int) -> Role:
        """The role of a marker of this kit.  Raises KeyError where the kit has no such marker."""
        slot = self.slot(tag_id)
        if slot is None:
            raise KeyError(tag_id)
        return slot.role

    def marker_ids(self) -> tuple[int, ...]:
        """Ids of all markers, ascending; with ``any_id_size_mm`` the whole family's."""
        if self.any_id_size_mm is None:
            return tuple(sorted(self.slots))
        return tuple(i for i in range(FAMILIES[self.family_name][1]) if self.slot(i))

    def card_ids(self) -> tuple[int, ...]:
        """Ids of the card's tags, ascending; empty without a card."""
        return self.card.tag_ids if self.card else ()

    def expected_ids(self, family: str | None = None) -> tuple[int, ...]:
        """Every id of ``family`` (default: the markers' own) that may be seen, ascending."""
        family = family or self.family_name
        markers = self.marker_ids() if family == self.family_name else ()
        card = self.card_ids() if self.card and self.card.family == family else ()
        return tuple(sorted({*markers, *card}))

    def families(self) -> tuple[str, ...]:
        """The OpenCV dictionaries to look for, the markers' first."""
        more = {self.card.family} - {self.family_name} if self.card else set()
        return (self.family_name, *sorted(more))

    def ids_of_role(self, key: str) -> tuple[int, ...]:
        """Ids whose role is ``key``, ascending."""
        return tuple(i for i in sorted(self.slots) if self.slots[i].role.key == key)

    def _on_card(self, tag_id: int) -> bool:
        return bool(self.card and self.card.family == self.family_name
                    and tag_id in self.card.tag_ids)


# First id of each (form, side): a marker's id is this plus its role's number.
FIRST_IDS = {
    ("large", "either"): 100, ("small", "either"): 200, ("plate", "either"): 300,
    ("large", "right"): 400, ("small", "right"): 500, ("plate", "right"): 330,
}


def role_id(role: Role, form: str, side: str = "either") -> int:
    """The tag id that stands for a role in a printed kit.  Raises ValueError for a role without a number."""
    if role.number is None:
        raise ValueError(f"{role.key} has no number to be printed by")
    return FIRST_IDS[form, side] + role.number


def build_kit(roles: Iterable[Role]) -> Kit:
    """The kit that is printed for these roles: each in all forms, both sets, and the card.

    Every role has a number of its own, 0 to 29; ValueError where two markers would get one id."""
    slots: dict[int, Slot] = {}
    for role in roles:
        if role.number is None or not 0 <= role.number < PRINTED_ROLES:
            raise ValueError(f"{role.key}: the printed kit has numbers 0 to {PRINTED_ROLES - 1}")
        for (form, side), first in FIRST_IDS.items():
            if first + role.number in slots:
                raise ValueError(f"{role.key}: number {role.number} is taken")
            size_mm = SMALL_MM if form == "small" else LARGE_MM
            joint = PLATE_JOINT_XY_MM if form == "plate" else (0.0, 0.0)
            slots[first + role.number] = Slot(role, form, size_mm, DEFAULT_FAMILY, joint, side)
    return Kit(DEFAULT_FAMILY, dict(sorted(slots.items())), CardSpec())


def unnamed_role(tag_id: int) -> Role:
    """The role of a marker that was given none: it rides on a body yet to be told."""
    return Role(None, f"marker_{tag_id}", f"marker {tag_id}", "anywhere", SPARE)


def form_of(size_mm: float, joint_xy_mm: tuple[float, float] = (0.0, 0.0)) -> str:
    """The form that a tag of another kit comes closest to."""
    if any(joint_xy_mm):
        return "plate"
    return "small" if size_mm < (SMALL_MM + LARGE_MM) / 2 else "large"


def cells_across(family: str) -> int:
    """Cells along a tag's side, its one-cell black border included. KeyError if unknown."""
    return FAMILIES[family][0] + 2


def quiet_mm(size_mm: float, family: str = DEFAULT_FAMILY) -> float:
    """Width of the white edge that a tag of this size needs all round."""
    return QUIET_CELLS * size_mm / cells_across(family)


def tag_corners_mm(size_mm: float) -> np.ndarray:
    """A tag's corners in its own frame, (4, 3), in OpenCV's order."""
    import numpy as np

    h = size_mm / 2
    return np.array([[-h, -h, 0.0], [h, -h, 0.0], [h, h, 0.0], [-h, h, 0.0]])


def card_saddles_mm(card: CardSpec) -> np.ndarray:
    """The card's inner corners in the card frame, ((columns-1)*(rows-1), 3), row by row
    as OpenCV's ``CharucoBoard.getChessboardCorners`` numbers them."""
    import numpy as np

    x, y = np.meshgrid(np.arange(1, card.columns), np.arange(1, card.rows))
    return np.stack([x.ravel(), y.ravel(), 0 * x.ravel()], axis=1) * float(card.square_mm)


def card_tag_corners_mm(card: CardSpec) -> np.ndarray:
    """The corners of the card's tags in the card frame, (tags, 4, 3), in the order of
    ``card.tag_ids``."""
    import numpy as np

    centres = np.array([[c + 0.5, r + 0.5, 0.0] for r, c in card.tag_squares]) * card.square_mm
    return centres[:, None, :] + tag_corners_mm(card.tag_mm)
