"""The page to read before sticking: what a stand-off is, where to stand, how the car stands."""

from __future__ import annotations

from calib.sheets.palette import BLACK, BLUE, DARK, GREEN, MID, ORANGE, PALE, VERMILION, WHITE

_SIDE_MM = 12.0
_STATES = (
    ("ride", "on its wheels, settled", "read hub to arch twice"),
    ("droop", "on stands, hanging", "photos, hub to arch"),
    ("set", "knuckles jacked to the same hub to arch", "photos: surest for the length"),
    ("fitted", "as set, the new link in", "photos: the proof"),
)
_STEPS = (
    "1  Print at 100 %. Rule on the two long lines beside the card: note both.",
    "2  On its wheels: roll the car a metre each way, read hub to arch twice.",
    "3  Onto stands, wheels off. Stick seven markers, hang the plumb strip, set the card up.",
    "4  Measure each stand-off. Read hub to arch again.",
    "5  Three photos or more. Then: photoangle start my-car --ask, measure, link.",
)


def draw_how(pen, page) -> None:
    """Draw the whole page (``Page``), for any paper at least 210 x 279 mm."""
    left, right = _SIDE_MM, page.width_mm - _SIDE_MM
    pen.text((left, 14), "The short way, in twenty minutes", 14, bold=True)
    pen.text((right, 14), "to read; it need not be printed", 8.5, align="right", colour=DARK)
    y = 23.0
    for step in _STEPS:
        pen.text((left, y), step, 10.5)
        y += 6.2
    y = _heading(pen, left, right, y + 5,
                 "A stand-off: from the marker's printed face straight back to the joint's middle")
    _standoff(pen, left + 8, y + 28)
    y = _heading(pen, left, right, y + 60,
                 "Where to stand: three clearly different places, a big step back, the card in every photo")
    _stand(pen, left + 6, y + 4)
    y = _heading(pen, left, right, y + 70, "How the car stands: one folder of photos for each")
    width = (right - left) / len(_STATES)
    for k, (state, stands, what) in enumerate(_STATES):
        _car(pen, left + k * width + 2, y + 26, width - 6, state)
        pen.text((left + k * width + 2, y + 40), state, 11, bold=True)
        below = pen.lines_of_text((left + k * width + 2, y + 45), width - 4, stands, 9)
        pen.lines_of_text((left + k * width + 2, below + 1), width - 4, what, 9, colour=DARK)


def _heading(pen, left, right, y, words):
    pen.rect(left, y - 4.6, right - left, 6.4, fill=PALE)
    pen.text((left + 1.5, y), words, 10, bold=True)
    return y + 4


def _standoff(pen, x, y):
    """A marker held off a bolt by a spacer, from the side, with what is to be measured."""
    pen.rect(x, y - 14, 2.2, 28, fill=WHITE, colour=BLACK, thick=0.5)
    pen.text((x - 1, y + 19.5), "printed face", 9, align="middle")
    pen.rect(x + 2.2, y - 4, 20, 8, fill=PALE, colour=MID)
    pen.text((x + 12, y + 1.2), "spacer", 8.5, align="middle", colour=DARK)
    pen.circle((x + 36, y), 11, fill=WHITE, thick=0.6)
    pen.circle((x + 36, y), 1.0, fill=BLACK)
    pen.text((x + 36, y + 16.5), "joint", 9, align="middle")
    for at in (x, x + 36):
        pen.line((at, y - 16), (at, y - 23), thick=0.2, colour=MID)
    pen.arrow((x + 18, y - 20), (x, y - 20), colour=VERMILION)
    pen.arrow((x + 18, y - 20), (x + 36, y - 20), colour=VERMILION)
    pen.text((x + 18, y - 21.5), "stand-off", 9.5, bold=True, align="middle", colour=VERMILION)
    lines = ("With a rule, square to the marker; read it twice.",
             "Half a millimetre can be a quarter of a degree of a short link.",
             "A plate under the stud's nut needs none: its cross marks the joint.",
             "One left out is taken as 0 to 60 mm, and the plus-or-minus says so.")
    for k, line in enumerate(lines):
        pen.text((x + 62, y - 12 + 8 * k), line, 9.5)


def _stand(pen, x, y):
    """The corner from above, with three places to stand, and from the side with two heights."""
    pen.rect(x, y, 70, 14, fill=PALE, colour=MID)
    pen.text((x + 3, y + 6), "car, from above", 8.5, colour=DARK)
    pen.circle((x + 35, y + 14), 2.2, fill=ORANGE)
    pen.text((x + 39, y + 18.5), "the corner", 8.5)
    for number, (dx, dy) in enumerate(((-26, 44), (2, 52), (30, 42)), 1):
        at = (x + 35 + dx, y + dy)
        pen.line((x + 35, y + 16), at, thick=0.25, colour=BLUE, dash=(1.5, 1.5))
        pen.circle(at, 3.2, fill=WHITE, thick=0.5, colour=BLUE)
        pen.text((at[0], at[1] + 1.3), str(number), 9, bold=True, align="middle", colour=BLUE)
    side = x + 96
    pen.line((side, y + 50), (side + 80, y + 50), thick=0.6)
    pen.circle((side + 14, y + 33), 9, thick=0.6)
    pen.circle((side + 14, y + 33), 2.2, fill=ORANGE)
    pen.text((side + 14, y + 55), "from the side", 8.5, align="middle", colour=DARK)
    for dx, dy, words in ((58, 14, "higher"), (62, 42, "lower")):
        at = (side + dx, y + dy)
        pen.line((side + 17, y + 33), at, thick=0.25, colour=BLUE, dash=(1.5, 1.5))
        pen.circle(at, 3.2, fill=WHITE, thick=0.5, colour=BLUE)
        pen.text((at[0] + 5, at[1] + 1.3), words, 9, colour=BLUE)


def _car(pen, x, y, width, state):
    """A car from the side, its nose to the left: on its wheels, hanging, or jacked under the knuckle."""
    up = 0.0 if state == "ride" else 6.0
    pen.line((x, y + 9), (x + width, y + 9), thick=0.6)
    body = ((x, y - up), (x + 2, y - 6 - up), (x + width * 0.3, y - 8 - up),
            (x + width * 0.42, y - 14 - up * 0.8),
            (x + width * 0.75, y - 14 - up * 0.4), (x + width, y - 6), (x + width, y), (x, y - up))
    pen.line(*body, thick=0.6)
    rear = (x + width * 0.8, y + 3.2)
    pen.circle(rear, 5.6, fill=WHITE, thick=0.6)
    front = (x + width * 0.2, y + 3.2)
    if state == "ride":
        pen.circle(front, 5.6, fill=WHITE, thick=0.6)
        return
    hub = (front[0], y + (5.5 if state == "droop" else 0.5))
    pen.circle(hub, 2.4, fill=GREEN if state == "fitted" else ORANGE)
    stand = x + width * 0.4
    pen.line((stand, y - up * 0.7), (stand - 2.5, y + 9), thick=0.5)
    pen.line((stand, y - up * 0.7), (stand + 2.5, y + 9), thick=0.5)
    if state != "droop":
        pen.rect(hub[0] - 1.2, hub[1] + 2.4, 2.4, y + 9 - hub[1] - 2.4, fill=MID)
