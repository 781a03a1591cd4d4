"""Drawing in millimetres on a PDF page: lines, words, tags and the card, as vectors.

A ``Pen`` measures like the page: origin at the top-left corner, x right, y down, in
millimetres; letters are in points. Nothing here knows what is drawn with it.
"""

from __future__ import annotations

from functools import cache

from calib.sheets.palette import BLACK, WHITE

MM = 72.0 / 25.4  # points to the millimetre

# Ink, and four of the Okabe-Ito colours, which the colour-blind can tell apart.


class Pen:
    """Draws on one page of a reportlab canvas."""

    def __init__(self, canvas, height_mm: float):
        self._canvas, self._height_mm = canvas, height_mm

    def line(self, *points, thick=0.25, colour=BLACK, dash=None):
        """An open line through (x, y) points; ``dash`` is (on, off) in mm."""
        self._path([points], False, thick, colour, None, dash)

    def shape(self, *outlines, fill=None, thick=0.25, colour=None, dash=None):
        """Closed outlines as one area; what two outlines share is a hole."""
        self._path(outlines, True, thick, colour, fill, dash)

    def rect(self, left, top, width, height, **style):
        right, bottom = left + width, top + height
        self.shape(((left, top), (right, top), (right, bottom), (left, bottom)), **style)

    def circle(self, centre, radius, fill=None, thick=0.25, colour=BLACK):
        c = self._canvas
        self._style(thick, colour, None)
        if fill:
            c.setFillColor(fill)
        x, y = self._point(centre)
        c.circle(x, y, radius * MM, stroke=int(colour is not None), fill=int(fill is not None))

    def tube(self, *points, thick=3.0, fill=WHITE, colour=BLACK):
        """A round bar along the points: an edge line with a lighter core."""
        self.line(*points, thick=thick, colour=colour)
        self.line(*points, thick=thick - 0.7, colour=fill)

    def arrow(self, start, end, thick=0.4, colour=BLACK, head=2.4):
        (x0, y0), (x1, y1) = start, end
        length = ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5
        ux, uy = (x1 - x0) / length, (y1 - y0) / length
        neck = (x1 - ux * head, y1 - uy * head)
        wing = (-uy * head * 0.38, ux * head * 0.38)
        self.line(start, neck, thick=thick, colour=colour)
        self.shape((end, (neck[0] + wing[0], neck[1] + wing[1]),
                    (neck[0] - wing[0], neck[1] - wing[1])), fill=colour)

    def text(self, at, words, size=8.5, bold=False, align="left", colour=BLACK, turned=False):
        """Words on the baseline at ``at``; ``turned`` reads from bottom to top."""
        c = self._canvas
        c.saveState()
        c.translate(*self._point(at))
        if turned:
            c.rotate(90)
        c.setFillColor(colour)
        c.setFont(_font(bold), size)
        {"left": c.drawString, "middle": c.drawCentredString,
         "right": c.drawRightString}[align](0, 0, words)
        c.restoreState()

    def lines_of_text(self, at, width, words, size=8.5, bold=False, align="left", lead=1.22,
                      colour=BLACK):
        """Words broken to ``width`` mm, first baseline at ``at``; returns the y where the
        next baseline would be."""
        x, y = at
        for row in broken(words, width, size, bold):
            self.text((x, y), row, size, bold, align, colour)
            y += size * lead / MM
        return y

    def _path(self, outlines, closed, thick, colour, fill, dash):
        c = self._canvas
        self._style(thick, colour, dash)
        if fill:
            c.setFillColor(fill)
        path = c.beginPath()
        for outline in outlines:
            path.moveTo(*self._point(outline[0]))
            for point in outline[1:]:
                path.lineTo(*self._point(point))
            if closed:
                path.close()
        c.drawPath(path, stroke=int(colour is not None), fill=int(fill is not None), fillMode=0)

    def _style(self, thick, colour, dash):
        c = self._canvas
        c.setLineWidth(thick * MM)
        c.setDash([part * MM for part in dash] if dash else [])
        # Round ends for what is drawn; ticks and cut lines end where they are said to.
        c.setLineCap(1 if thick >= 1 else 0)
        c.setLineJoin(1)
        if colour:
            c.setStrokeColor(colour)

    def _point(self, at):
        return at[0] * MM, (self._height_mm - at[1]) * MM


def _font(bold: bool) -> str:
    return "Helvetica-Bold" if bold else "Helvetica"


def text_width_mm(words: str, size: float, bold: bool = False) -> float:
    """Width of a line of words set at ``size`` points, mm."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    return stringWidth(words, _font(bold), size) / MM


def broken(words: str, width_mm: float, size: float, bold: bool = False) -> list[str]:
    """``words`` as rows no wider than ``width_mm`` (a longer single word stays whole).
    A no-break space keeps a number with its unit."""
    rows: list[str] = []
    for word in words.split(" "):
        longer = f"{rows[-1]} {word}" if rows else word
        if rows and text_width_mm(longer, size, bold) <= width_mm:
            rows[-1] = longer
        else:
            rows.append(word)
    return rows


def draw_tag(pen: Pen, tag) -> None:
    """A tag (``PlacedTag``) as one black shape with its white cells left open."""
    cells = tag_cells(tag.family, tag.tag_id)
    left, top = tag.corners_mm[0]
    _draw_cells(pen, cells, left, top, tag.size_mm / len(cells))


def draw_board(pen: Pen, card, origin) -> None:
    """The card's black squares; its tags are drawn one by one."""
    white = set(card.tag_squares)
    squares = [[(r, c) not in white for c in range(card.columns)] for r in range(card.rows)]
    # One shape: squares drawn singly are rounded to whole pixels, each its own way.
    _draw_cells(pen, squares, origin[0], origin[1], card.square_mm)


def draw_check_line(pen: Pen, line, words: str) -> None:
    """A print-check line: the length is from the middle of one tick to the middle of the
    other. The words stand in a gap in the line, so that they need no room beside it."""
    size, tick = 9, 1.3
    (x0, y0), (x1, y1) = line.start_mm, line.end_mm
    mid = ((x0 + x1) / 2, (y0 + y1) / 2)
    half = text_width_mm(words, size) / 2 + 2.0
    sink = size * 0.36 / MM  # half of a capital's height, to centre the words on the line
    if line.along == "x":
        parts = (((x0, y0), (mid[0] - half, y0)), ((mid[0] + half, y0), (x1, y0)))
        ticks = [((x, y0 - tick), (x, y0 + tick)) for x in (x0, x1)]
        pen.text((mid[0], y0 + sink), words, size, align="middle")
    else:
        parts = (((x0, y0), (x0, mid[1] - half)), ((x0, mid[1] + half), (x0, y1)))
        ticks = [((x0 - tick, y), (x0 + tick, y)) for y in (y0, y1)]
        pen.text((x0 + sink, mid[1]), words, size, align="middle", turned=True)
    for part in (*parts, *ticks):
        pen.line(*part, thick=0.2)


@cache
def tag_cells(family: str, tag_id: int) -> tuple[tuple[bool, ...], ...]:
    """Rows of a tag's cells, its black border included: True is black.

    The patterns are OpenCV's own: family is the name of one of its dictionaries."""
    import cv2

    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, family))
    across = dictionary.markerSize + 2
    picture = cv2.aruco.generateImageMarker(dictionary, tag_id, across)
    return tuple(tuple(bool(cell == 0) for cell in row) for row in picture)


def cell_outlines(cells) -> list[list[tuple[int, int]]]:
    """Outlines (column, row) of the black cells, corner to corner.

    Cells drawn one by one leave hairlines between them on screen and on some printers;
    one area, with what is white inside it as holes, does not."""
    black = {(c, r) for r, row in enumerate(cells) for c, cell in enumerate(row) if cell}
    after: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for c, r in sorted(black):
        sides = (((c, r), (c + 1, r), (c, r - 1)), ((c + 1, r), (c + 1, r + 1), (c + 1, r)),
                 ((c + 1, r + 1), (c, r + 1), (c, r + 1)), ((c, r + 1), (c, r), (c - 1, r)))
        for start, end, beyond in sides:
            if beyond not in black:
                after.setdefault(start, []).append(end)
    outlines = []
    for start in sorted(after):
        while after[start]:
            outline = [start]
            while True:
                outline.append(after[outline[-1]].pop())
                if outline[-1] == start:
                    break
            outlines.append(_corners_only(outline[:-1]))
    return outlines


def _corners_only(outline):
    return [
        point for n, point in enumerate(outline)
        if not (outline[n - 1][0] == point[0] == outline[(n + 1) % len(outline)][0]
                or outline[n - 1][1] == point[1] == outline[(n + 1) % len(outline)][1])
    ]


def _draw_cells(pen, cells, left, top, cell_mm):
    pen.shape(*([(left + c * cell_mm, top + r * cell_mm) for c, r in outline]
                for outline in cell_outlines(cells)), fill=BLACK)
