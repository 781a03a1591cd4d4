"""Where everything stands on the printed sheets: pure geometry, no drawing.

Every position is in millimetres on its page: origin at the page's top-left corner, x
right, y down. All tags stand upright, so a tag's own frame is the page's frame moved to
the tag's centre.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from calib.kit import (
    DEFAULT_FAMILY,
    LARGE_MM,
    PLATE_JOINT_XY_MM,
    PLUMB_SPACING_MM,
    SMALL_MM,
    CardSpec,
    Role,
    quiet_mm,
    role_id,
)

PAPERS_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
MARGIN_MM = 6.0  # nothing is printed nearer the edge: the most a home printer needs
HEADER_MM = 23.0  # where the labels begin, below the page's title
SHEET_LINE_MM = 100.0  # print-check line of a marker sheet

LARGE_LABEL_MM = (47.0, 59.0)
SMALL_LABEL_MM = (38.0, 40.0)
PLATE_LABEL_MM = (47.0, 94.0)
STRIP_MM = (47.0, 265.0)
_LABEL_MM = {"large": LARGE_LABEL_MM, "small": SMALL_LABEL_MM, "plate": PLATE_LABEL_MM}
# Distance from a label's top edge to its tag's centre: a band with the id comes first,
# on plates the words as well, because the cross has to end up at the plate's end.
_TAG_DOWN_MM = {"large": 25.6, "small": 16.7, "plate": 39.0}

CARD = "card"  # the part that holds the card's page


@dataclass(frozen=True)
class SheetPlan:
    """One sheet of labels as the caller wants it: which roles (keys), in which form and side.

    ``title`` and ``help`` stand above the labels, ``below`` under the check line; with ``strip``
    the plumb strip takes the sheet's left edge."""

    name: str
    roles: tuple[str, ...]
    form: str
    side: str
    columns: int
    title: str
    help: str
    below: tuple[str, ...] = ()
    strip: bool = False


@dataclass(frozen=True)
class KitPlan:
    """What a kit prints, as data. Mappings are not to be changed.

    ``roles`` by key; ``first_set``: keys whose large labels say so; ``strip``: the roles of the
    plumb strip's upper and lower tag; ``parts``: name -> sheets, in the order of printing. The
    part ``CARD`` is the card's page, any other without sheets is an extra page, which the
    caller draws."""

    title: str
    author: str
    roles: Mapping[str, Role]
    first_set: tuple[str, ...]
    strip: tuple[str, str]
    parts: Mapping[str, tuple[SheetPlan, ...]]


@dataclass(frozen=True)
class PlacedTag:
    """A tag on a page. ``joint_mm`` is where its cross is, None without one."""

    tag_id: int
    size_mm: float
    centre_mm: tuple[float, float]
    family: str = DEFAULT_FAMILY
    joint_mm: tuple[float, float] | None = None

    @property
    def quiet_mm(self) -> float:
        return quiet_mm(self.size_mm, self.family)

    @property
    def corners_mm(self) -> tuple[tuple[float, float], ...]:
        """Top left, top right, bottom right, bottom left."""
        (x, y), h = self.centre_mm, self.size_mm / 2
        return ((x - h, y - h), (x + h, y - h), (x + h, y + h), (x - h, y + h))


@dataclass(frozen=True)
class Label:
    """One piece to cut out: a tag, what it stands for, and the rectangle of its cut line.
    ``first`` marks those of the first set."""

    role: Role
    form: str
    side: str
    left_mm: float
    top_mm: float
    width_mm: float
    height_mm: float
    tag: PlacedTag
    first: bool = False


@dataclass(frozen=True)
class PlumbStrip:
    """The strip with both plumb tags on its centre line, hung by the hole at the top."""

    left_mm: float
    top_mm: float
    width_mm: float
    height_mm: float
    hole_mm: tuple[float, float]
    weight_mm: tuple[float, float]
    top_tag: PlacedTag
    bottom_tag: PlacedTag
    top_role: Role
    bottom_role: Role


@dataclass(frozen=True)
class CheckLine:
    """A line to measure with a steel rule, from tick to tick, along x or y."""

    start_mm: tuple[float, float]
    length_mm: float
    along: str

    @property
    def end_mm(self) -> tuple[float, float]:
        x, y = self.start_mm
        return (x + self.length_mm, y) if self.along == "x" else (x, y + self.length_mm)


@dataclass(frozen=True)
class Page:
    """One page. ``card_origin_mm`` is where the card frame's origin is, on the card's page;
    ``plan`` is that of a sheet of labels."""

    name: str
    width_mm: float
    height_mm: float
    check_lines: tuple[CheckLine, ...] = ()
    labels: tuple[Label, ...] = ()
    strip: PlumbStrip | None = None
    card: CardSpec | None = None
    card_origin_mm: tuple[float, float] | None = None
    plan: SheetPlan | None = None

    @property
    def tags(self) -> tuple[PlacedTag, ...]:
        """Every tag on the page, the card's included."""
        strip = (self.strip.top_tag, self.strip.bottom_tag) if self.strip else ()
        return (*_card_tags(self), *strip, *(label.tag for label in self.labels))


def card_page(paper: str = "A4") -> Page:
    """The card, landscape, in the middle of the sheet; KeyError for an unknown paper."""
    height, width = PAPERS_MM[paper]
    card = CardSpec()
    left, top = (width - card.width_mm) / 2, (height - card.height_mm) / 2
    lines = (
        CheckLine(((width - card.x_line_mm) / 2, top - 5.2), card.x_line_mm, "x"),
        # On Letter there are 13.7 mm beside the board: the line stands halfway.
        CheckLine((left - 5.2, (height - card.y_line_mm) / 2), card.y_line_mm, "y"),
    )
    return Page(CARD, width, height, lines, card=card, card_origin_mm=(left, top))


def sheet_page(plan: KitPlan, sheet: SheetPlan, paper: str = "A4") -> Page:
    """A sheet of labels of one form, row by row, beside the strip or centred on the page."""
    width, height = PAPERS_MM[paper]
    label_width = _LABEL_MM[sheet.form][0]
    whole = sheet.columns * label_width + (STRIP_MM[0] if sheet.strip else 0.0)
    left = (width - whole) / 2
    strip = None
    if sheet.strip:
        strip = _strip(plan, left, (height - STRIP_MM[1]) / 2)
        left += STRIP_MM[0]
    labels = _grid(plan, sheet, left)
    line = _line_below(labels, left + sheet.columns * label_width / 2)
    return Page(sheet.name, width, height, (line,), labels, strip, plan=sheet)


def blank_page(name: str, paper: str = "A4") -> Page:
    """A page for the caller to draw: no tags on it."""
    return Page(name, *PAPERS_MM[paper])


def pages_of(plan: KitPlan, part: str, paper: str = "A4") -> tuple[Page, ...]:
    """The pages of one part, in order; KeyError for a part or paper that is not there."""
    sheets = plan.parts[part]
    if part == CARD:
        return (card_page(paper),)
    if not sheets:
        return (blank_page(part, paper),)
    return tuple(sheet_page(plan, sheet, paper) for sheet in sheets)


def _grid(plan: KitPlan, sheet: SheetPlan, left: float) -> tuple[Label, ...]:
    form, side = sheet.form, sheet.side
    width, height = _LABEL_MM[form]
    labels = []
    for n, key in enumerate(sheet.roles):
        role = plan.roles[key]
        x, y = left + n % sheet.columns * width, HEADER_MM + n // sheet.columns * height
        centre = (x + width / 2, y + _TAG_DOWN_MM[form])
        tag = _tag(role_id(role, form, side), form, centre)
        first = form == "large" and side == "either" and key in plan.first_set
        labels.append(Label(role, form, side, x, y, width, height, tag, first))
    return tuple(labels)


def _tag(tag_id: int, form: str, centre: tuple[float, float]) -> PlacedTag:
    joint = None
    if form == "plate":
        joint = (centre[0] + PLATE_JOINT_XY_MM[0], centre[1] + PLATE_JOINT_XY_MM[1])
    return PlacedTag(tag_id, SMALL_MM if form == "small" else LARGE_MM, centre, joint_mm=joint)


def _strip(plan: KitPlan, left: float, top: float) -> PlumbStrip:
    width, height = STRIP_MM
    x, top_y = left + width / 2, top + 35.0
    above, below = (plan.roles[key] for key in plan.strip)
    return PlumbStrip(
        left, top, width, height,
        hole_mm=(x, top + 9.0),
        weight_mm=(x, top + height - 6.0),
        top_tag=_tag(role_id(above, "large"), "large", (x, top_y)),
        bottom_tag=_tag(role_id(below, "large"), "large", (x, top_y + PLUMB_SPACING_MM)),
        top_role=above,
        bottom_role=below,
    )


def _line_below(labels: tuple[Label, ...], middle: float) -> CheckLine:
    bottom = max(label.top_mm + label.height_mm for label in labels)
    return CheckLine((middle - SHEET_LINE_MM / 2, bottom + 5.0), SHEET_LINE_MM, "x")


def _card_tags(page: Page) -> tuple[PlacedTag, ...]:
    if page.card is None or page.card_origin_mm is None:
        return ()
    (left, top), card = page.card_origin_mm, page.card
    return tuple(
        PlacedTag(tag_id, card.tag_mm,
                  (left + (c + 0.5) * card.square_mm, top + (r + 0.5) * card.square_mm),
                  card.family)
        for tag_id, (r, c) in zip(card.tag_ids, card.tag_squares, strict=True)
    )
