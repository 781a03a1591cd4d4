"""The page that shows where the markers go, which are needed, and what to beware of."""

from __future__ import annotations

from calib.kit import role_id
from calib.sheets.art import broken, text_width_mm
from calib.sheets.palette import BLACK, DARK, MID, PALE, VERMILION, WHITE
from photoangle.core.cautions import PRINTED_CAUTIONS
from photoangle.core.roles import ROLE_BY_KEY
from photoangle.output.corner_drawing import CARD_KEY, STAND_KEY, draw_corner

# What the first answer needs, beside card and plumb strip.
FIRST_SET = ("bar_bush", "bar_eye", "sill_front", "sill_rear")

_SCALE = 0.145  # mm on the paper for a millimetre of the drawing
_SIDE_MM = 10.0
_HUB_Y_MM = 82.0

# Where the words of each role start, (right, down) from the hub.
_CALLOUTS = {
    "bar_bush": (-70, -45), "bar": (-50, -50), "bar_eye": (-34, -55), "arch_lip": (3, -51.5),
    "hose_a": (62, -43), "hose_b": (62, -36), "chassis": (62, -29), "hose_c": (62, -22),
    "knuckle": (62, -15), "hub": (62, -8), "arm_pivot_rear": (62, -1),
    "arm_pivot_front": (-70, 38), "link": (-70, 44), "link_foot": (-70, 50),
    "arm_ball_joint": (-70, 56), "arm": (30, 29), "sill_front": (52, 43),
    "sill_rear": (90, 43),
}

# These four lines first run level to here, so that none crosses another's words.
_KNEE_MM = -40
_WITH_KNEE = ("arm_pivot_front", "link", "link_foot", "arm_ball_joint")

_SETS = (
    ("The bar's angle at this moment",
     "bar bush, bar eye, plumb strip, sill front and rear, card: an answer in twenty minutes."),
    ("The right link length",
     "those, and link foot, both arm pivots, ball joint, hub and arch lip: photos with the wheel "
     "hanging, and again with the knuckle jacked to ride height. Add bar, arm and chassis "
     "markers and leave them: the motion shows the axes that bar and arm turn about."),
    ("Will the hose stay clear?", "those, and hose A, B and C where hose and parts come closest."),
    ("Left against right", "the same on the other side."),
)

def draw_where(pen, page) -> None:
    """Draw the whole page (``Page``), for any paper at least 210 x 279 mm."""
    left, right = _SIDE_MM, page.width_mm - _SIDE_MM
    hub = (page.width_mm / 2 - 22, _HUB_Y_MM)
    pen.text((left, 12.0), "Where they go", 14, bold=True)
    pen.text((right, 12.0), "front left shown, wheel off; the others alike", 8.5, align="right",
             colour=DARK)
    pen.arrow((left + 12, 19.0), (left, 19.0), thick=0.6, head=3.0)
    pen.text((left + 14, 20.1), "front of the car", 9)
    _draw_callouts(pen, draw_corner(pen, _SCALE, hub), hub)
    y = _HUB_Y_MM + 69
    y = pen.lines_of_text(
        (left, y), right - left,
        "Numbers are the large markers'; 201 (small) or 301 (plate) may stand for 101, and so on. "
        "White on dark: the FIRST SET. An anti-roll bar is also called a sway bar, and a drop "
        "link an end link.", 9)
    y = _draw_sets(pen, left, right, y + 3.5)
    _draw_cautions(pen, left, right, y + 5.5)


def _draw_callouts(pen, spots, hub) -> None:
    for key, (dx, dy) in _CALLOUTS.items():
        role = ROLE_BY_KEY[key]
        number = str(role_id(role, "large"))
        at = (hub[0] + dx, hub[1] + dy)
        knee = hub[0] + _KNEE_MM if key in _WITH_KNEE else None
        _callout(pen, spots[key], at, number, role.title, key in FIRST_SET, knee)
    x, y = spots["plumb_bottom"]
    width = _number(pen, (x - 11, y + 24.5), "110, 111", True)
    pen.text((x - 11 + width + 1.7, y + 24.5), "plumb strip", 9)
    x, y = spots[CARD_KEY]
    _number(pen, (x - 28, y + 6), "card", True)
    x, y = spots[STAND_KEY]
    pen.text((x, y + 6), "stand", 8, align="middle", colour=DARK)


def _number(pen, at, words, first) -> float:
    """A bold number, white on dark where it belongs to the first set; returns its width."""
    width = text_width_mm(words, 9, bold=True)
    if first:
        pen.rect(at[0] - 0.9, at[1] - 3.1, width + 1.8, 4.0, fill=DARK)
    pen.text(at, words, 9, bold=True, colour=WHITE if first else BLACK)
    return width


def _callout(pen, spot, at, number, words, first, knee) -> None:
    """The number and words at ``at``, with a thin line to the marker."""
    left, y = at
    indent = _number(pen, (left, y + 1.1), number, first) + 1.7
    width = indent + text_width_mm(words, 9)
    pen.text((left + indent, y + 1.1), words, 9)
    # From the end of the words that is nearer to the marker, or from below or above them.
    if knee is not None:
        start = (knee, y)
        pen.line((left + width + 1, y), start, thick=0.2, colour=MID)
    elif left - 1 < spot[0] < left + width + 1:
        start = (min(max(spot[0], left + 2), left + width - 2), y + (2 if spot[1] > y else -2.4))
    else:
        start = (left - 1.6, y) if spot[0] < left else (left + width + 1, y)
    length = ((spot[0] - start[0]) ** 2 + (spot[1] - start[1]) ** 2) ** 0.5
    keep = max(0.0, 1 - 2.6 / length)
    end = (start[0] + (spot[0] - start[0]) * keep, start[1] + (spot[1] - start[1]) * keep)
    pen.line(start, end, thick=0.2, colour=MID)


def _draw_sets(pen, left, right, y) -> float:
    """The smallest useful set for each question; returns the y below it."""
    column = left + 56
    pen.rect(left, y - 4.2, right - left, 5.8, fill=PALE)
    pen.text((left + 1.5, y), "You want to know", 9.5, bold=True)
    pen.text((column, y), "Put on", 9.5, bold=True)
    y += 6.0
    for question, needed in _SETS:
        pen.text((left + 1.5, y), question, 9.5, bold=True)
        y = pen.lines_of_text((column, y), right - column, needed, 9.5) + 0.6
        pen.line((left, y - 3.0), (right, y - 3.0), thick=0.15, colour=MID)
        y += 1.2
    return y - 3.0


def _draw_cautions(pen, left, right, y) -> None:
    pen.text((left, y), "Before you start", 11.5, bold=True, colour=VERMILION)
    gap, size, lead = 6.0, 9.5, 4.0
    width = (right - left - gap) / 2
    rows = [(n, row) for caution in PRINTED_CAUTIONS
            for n, row in enumerate(broken(caution, width - 4, size))]
    # Two columns of like height, each starting with a caution's first row.
    starts = [i for i, (n, _) in enumerate(rows) if n == 0]
    split = min(starts, key=lambda i: abs(2 * i - len(rows)))
    for x, part in ((left, rows[:split]), (left + width + gap, rows[split:])):
        row_y = y + 5.2
        for n, row in part:
            row_y += 0.8 if n == 0 else 0.0
            if n == 0:
                pen.circle((x + 1.2, row_y - 1.1), 0.7, fill=VERMILION, colour=None)
            pen.text((x + 4, row_y), row, size)
            row_y += lead
