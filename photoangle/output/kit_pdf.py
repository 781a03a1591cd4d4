"""This car kit's sheets: which markers stand on which, with the words beside them."""

from __future__ import annotations

from os import PathLike
from pathlib import Path
from typing import Any

from calib.kit import PLATE_JOINT_XY_MM
from calib.sheets import pdf
from calib.sheets.layout import CARD, KitPlan, SheetPlan
from photoangle.core.roles import ROLE_BY_KEY, ROLES
from photoangle.output.how_page import draw_how
from photoangle.output.where_page import FIRST_SET, draw_where

_EVERY = tuple(role.key for role in ROLES)
_SPARES = tuple(f"spare_{n}" for n in range(10))
_PLATES = (
    "bar_bush",
    "bar_eye",
    "link_foot",
    "arm_pivot_front",
    "arm_pivot_rear",
    "arm_ball_joint",
    "hub",
    "spare_0",
)

_ON_BOTH_SIDES = (
    "Only needed when both sides of the car are in one picture. Otherwise the first set serves either side."
)
_PLATE_HELP = (
    "1. Glue the plate on a stiff, flat sheet, cross and all.",
    "2. Put the cross on the joint's centre, or punch out the ring that fits (8, 10 or 12 mm) "
    "and put the plate over the joint's stud, under its nut.",
    f"3. The cross is {PLATE_JOINT_XY_MM[1]:.1f} mm below the tag's centre: nothing to "
    "measure, but the plate must not bend.",
)

_MARKERS = (
    SheetPlan(
        "first",
        (
            *FIRST_SET,
            "hub",
            "arch_lip",
            "link_foot",
            "arm_ball_joint",
            "arm_pivot_front",
            "arm_pivot_rear",
            "bar",
            "arm",
        ),
        "large",
        "either",
        3,
        "Plumb strip and markers, sheet 1",
        "FIRST SET: what the first answer needs. Cut along the grey lines; glue each "
        "flat on something stiff; keep its white edge clean.",
        strip=True,
    ),
    SheetPlan(
        "more",
        ("link", "knuckle", "chassis", "hose_a", "hose_b", "hose_c", *_SPARES),
        "large",
        "either",
        4,
        "Markers, sheet 2",
        "Cut along the grey lines; glue each flat on something stiff; keep its white edge "
        "clean. UP is only there to keep your photos easy to read.",
    ),
    SheetPlan(
        "small",
        _EVERY,
        "small",
        "either",
        5,
        "Small markers",
        "For where a large one does not fit: a large one is seen from further off. "
        "Wrap hose markers round the hose, without a stiff backing.",
    ),
    SheetPlan(
        "plates",
        _PLATES,
        "plate",
        "either",
        4,
        "Plates: the cross marks the joint",
        "Surer than a marker held off the joint by a spacer. Any way up will do: the "
        "arrow may point up, down or sideways.",
        _PLATE_HELP,
    ),
)
_RIGHT = (
    SheetPlan(
        "right large",
        (*_EVERY[:10], "bar", "link", "arm", "knuckle", "chassis", "spare_0"),
        "large",
        "right",
        4,
        "Right-hand markers (second set)",
        _ON_BOTH_SIDES,
    ),
    SheetPlan(
        "right small", _EVERY, "small", "right", 5, "Right-hand small markers (second set)", _ON_BOTH_SIDES
    ),
    SheetPlan(
        "right plates",
        _PLATES,
        "plate",
        "right",
        4,
        "Right-hand plates (second set)",
        _ON_BOTH_SIDES,
        _PLATE_HELP,
    ),
)

PLAN = KitPlan(
    "Photoangle paper kit",
    "Photoangle",
    ROLE_BY_KEY,
    FIRST_SET,
    ("plumb_top", "plumb_bottom"),
    {"how": (), CARD: (), "where": (), "first": _MARKERS[:1], "markers": _MARKERS[1:], "right": _RIGHT},
)


# The first answer's pages, the rest of one side's, and all.
FIRST = ("how", CARD, "where", "first")
ONE_SIDE = (*FIRST, "markers")
ALL = tuple(PLAN.parts)


def draw_page(pen: Any, page: Any) -> None:
    """Draw a page without tags: the one to read, or the one that shows where markers go."""
    (draw_how if page.name == "how" else draw_where)(pen, page)


def write_kit_pdf(
    path: str | PathLike, paper: str = "A4", parts: tuple[str, ...] = ALL
) -> Path:
    """Write the car's kit to ``path`` and return it.

    ``paper`` is "A4" or "Letter". ``parts``, in the order to print: "how" (the page to read), "card" (one
    landscape page), "where" (the page that shows where markers go), "first" (the sheet that the first answer
    needs), "markers" (three more) and "right" (three sheets, the second set).
    Same bytes each time; the file appears whole or not at all.  Raises ValueError for an unknown paper or
    part, OSError where it cannot be written.
    """
    return pdf.write_kit_pdf(path, PLAN, paper, parts, draw_page)
