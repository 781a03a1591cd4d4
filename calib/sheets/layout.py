"""Where everything stands on the printed sheets: pure geometry, no drawing.

Every position is in millimetres on its page: origin at the page's top-left corner, x
right, y down. All tags stand upright, so a tag's own frame is the page's frame moved to
the tag's centre.
"""

from __future__ import annotations

from dataclasses import dataclass

from calib.kit import (
    DEFAULT_FAMILY,
    FIRST_IDS,
    LARGE_MM,
    PLATE_JOINT_XY_MM,
    PLUMB_SPACING_MM,
    ROLE_BY_KEY,
    ROLES,
    SMALL_MM,
    CardSpec,
    Role,
    quiet_mm,
)

PAPERS_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
MARGIN_MM = 6.0  # nothing is printed nearer the edge: the most a home printer needs
HEADER_MM = 23.0  # where the labels begin, below the page's title
SHEET_LINE_MM = 100.0  # print-check line of a marker sheet

LARGE_LABEL_MM = (47.0, 59.0)
SMALL_LABEL_MM = (38.0, 40.0)
PLATE_LABEL_MM = (47.0, 94.0)
STRIP_MM = (47.0, 265.0)
# Distance from a label's top edge to its tag's centre: a band with the id comes first,
# on plates the words as well, because the cross has to end up at the plate's end.
_TAG_DOWN_MM = {"large": 25.6, "small": 16.7, "plate": 39.0}

FIRST_ANSWER = ("bar_bush", "bar_eye", "sill_front", "sill_rear")
_FIRST_SHEET = (*FIRST_ANSWER, "hub", "arch_lip", "link_foot", "arm_ball_joint",
                "arm_pivot_front", "arm_pivot_rear", "bar", "arm")
_SECOND_SHEET = ("link", "knuckle", "chassis", "hose_a", "hose_b", "hose_c",
                 *(f"spare_{n}" for n in range(10)))
_JOINTS = ("bar_bush", "bar_eye", "link_foot", "arm_pivot_front", "arm_pivot_rear",
           "arm_ball_joint", "hub")
_RIGHT_SHEET = (*(role.key for role in ROLES[:10]), "bar", "link", "arm", "knuckle", "chassis",
                "spare_0")


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
    ``first`` marks those that the first answer needs."""

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
    """One page. ``card_origin_mm`` is where the card frame's origin is, on the card's page."""

    name: str
    width_mm: float
    height_mm: float
    check_lines: tuple[CheckLine, ...] = ()
    labels: tuple[Label, ...] = ()
    strip: PlumbStrip | None = None
    card: CardSpec | None = None
    card_origin_mm: tuple[float, float] | None = None

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
    return Page("card", width, height, lines, card=card, card_origin_mm=(left, top))


def first_page(paper: str = "A4") -> Page:
    """The plumb strip beside the twelve large markers that are used most."""
    width, height = PAPERS_MM[paper]
    left = (width - 4 * LARGE_LABEL_MM[0]) / 2
    strip = _strip(left, (height - STRIP_MM[1]) / 2)
    grid_left = left + STRIP_MM[0]
    labels = _grid(_FIRST_SHEET, "large", "either", 3, grid_left)
    line = _line_below(labels, grid_left + 3 * LARGE_LABEL_MM[0] / 2)
    return Page("first", width, height, (line,), labels, strip)


def sheet_page(paper: str, name: str, keys, form: str, side: str, columns: int) -> Page:
    """A sheet of labels of one form, row by row, centred on the page."""
    width, height = PAPERS_MM[paper]
    label_width = {"large": LARGE_LABEL_MM, "small": SMALL_LABEL_MM, "plate": PLATE_LABEL_MM}
    left = (width - columns * label_width[form][0]) / 2
    labels = _grid(keys, form, side, columns, left)
    return Page(name, width, height, (_line_below(labels, width / 2),), labels)


def marker_pages(paper: str = "A4") -> tuple[Page, ...]:
    """The set that serves either side of the car."""
    return (
        first_page(paper),
        sheet_page(paper, "more", _SECOND_SHEET, "large", "either", 4),
        sheet_page(paper, "small", [role.key for role in ROLES], "small", "either", 5),
        sheet_page(paper, "plates", (*_JOINTS, "spare_0"), "plate", "either", 4),
    )


def right_pages(paper: str = "A4") -> tuple[Page, ...]:
    """The second set, for when both sides of the car are in one picture."""
    return (
        sheet_page(paper, "right large", _RIGHT_SHEET, "large", "right", 4),
        sheet_page(paper, "right small", [role.key for role in ROLES], "small", "right", 5),
        sheet_page(paper, "right plates", (*_JOINTS, "spare_0"), "plate", "right", 4),
    )


def where_page(paper: str = "A4") -> Page:
    """The page that shows where the markers go: no tags on it."""
    return Page("where", *PAPERS_MM[paper])


def _grid(keys, form: str, side: str, columns: int, left: float) -> tuple[Label, ...]:
    width, height = {"large": LARGE_LABEL_MM, "small": SMALL_LABEL_MM,
                     "plate": PLATE_LABEL_MM}[form]
    labels = []
    for n, key in enumerate(keys):
        role = ROLE_BY_KEY[key]
        x, y = left + n % columns * width, HEADER_MM + n // columns * height
        centre = (x + width / 2, y + _TAG_DOWN_MM[form])
        tag = _tag(FIRST_IDS[form, side] + role.number, form, centre)
        first = form == "large" and side == "either" and key in FIRST_ANSWER
        labels.append(Label(role, form, side, x, y, width, height, tag, first))
    return tuple(labels)


def _tag(tag_id: int, form: str, centre: tuple[float, float]) -> PlacedTag:
    joint = None
    if form == "plate":
        joint = (centre[0] + PLATE_JOINT_XY_MM[0], centre[1] + PLATE_JOINT_XY_MM[1])
    return PlacedTag(tag_id, SMALL_MM if form == "small" else LARGE_MM, centre, joint_mm=joint)


def _strip(left: float, top: float) -> PlumbStrip:
    width, height = STRIP_MM
    x, top_y = left + width / 2, top + 35.0
    first = FIRST_IDS["large", "either"]
    return PlumbStrip(
        left, top, width, height,
        hole_mm=(x, top + 9.0),
        weight_mm=(x, top + height - 6.0),
        top_tag=_tag(first + ROLE_BY_KEY["plumb_top"].number, "large", (x, top_y)),
        bottom_tag=_tag(first + ROLE_BY_KEY["plumb_bottom"].number, "large",
                        (x, top_y + PLUMB_SPACING_MM)),
    )


def _line_below(labels: tuple[Label, ...], middle: float) -> CheckLine:
    bottom = max(label.top_mm + label.height_mm for label in labels)
    return CheckLine((middle - SHEET_LINE_MM / 2, bottom + 5.0), SHEET_LINE_MM, "x")


def _card_tags(page: Page) -> tuple[PlacedTag, ...]:
    if page.card is None:
        return ()
    (left, top), card = page.card_origin_mm, page.card
    return tuple(
        PlacedTag(tag_id, card.tag_mm,
                  (left + (c + 0.5) * card.square_mm, top + (r + 0.5) * card.square_mm),
                  card.family)
        for tag_id, (r, c) in zip(card.tag_ids, card.tag_squares, strict=True)
    )
