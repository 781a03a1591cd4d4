"""A paper kit as a PDF at true size.

What is printed comes as a ``KitPlan``, where it stands from ``calib.sheets.layout``; this file
draws it and writes the file.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from os import PathLike
from pathlib import Path

from calib.files import write_whole
from calib.kit import PLUMB_SPACING_MM, SPARE, CardSpec
from calib.sheets import layout
from calib.sheets.art import MM, Pen, broken, draw_board, draw_check_line, draw_tag, text_width_mm
from calib.sheets.palette import BLACK, DARK, MID, WHITE

_CUT = {"thick": 0.2, "colour": MID}

DrawPage = Callable[[Pen, layout.Page], None]


def write_kit_pdf(path: str | PathLike, plan: layout.KitPlan, paper: str = "A4",
                  parts: tuple[str, ...] | None = None, draw_extra: DrawPage | None = None) -> Path:
    """Write the kit to ``path`` and return it.

    ``paper`` is "A4" or "Letter"; ``parts`` are names of ``plan.parts`` in the order to print,
    None for all; ``draw_extra`` draws the pages of parts without sheets. The same call always
    gives the same bytes. The file appears whole or not at all: whatever goes wrong, one that
    was there stays.

    Raises ValueError for an unknown paper or part, OSError where it cannot be written.
    """
    if paper not in layout.PAPERS_MM:
        raise ValueError(f"unknown paper {paper!r}: choose one of {', '.join(layout.PAPERS_MM)}")
    parts = tuple(plan.parts) if parts is None else parts
    unknown = [part for part in parts if part not in plan.parts]
    if unknown or not parts:
        raise ValueError(f"unknown parts {unknown}: choose from {', '.join(plan.parts)}")
    pages = [page for part in parts for page in layout.pages_of(plan, part, paper)]
    write_whole(path, _pdf(plan, pages, draw_extra))
    return Path(path)


def _pdf(plan: layout.KitPlan, pages: list[layout.Page], draw_extra: DrawPage | None) -> bytes:
    from reportlab.pdfgen.canvas import Canvas

    buffer = io.BytesIO()
    # invariant: no dates and no random ids, so that the same kit is the same file.
    canvas = Canvas(buffer, invariant=1, pageCompression=1)
    canvas.setTitle(plan.title)
    canvas.setAuthor(plan.author)
    # Print dialogues that honour this start at 100 % instead of "fit to page".
    canvas.setViewerPreference("PrintScaling", "None")
    for page in pages:
        canvas.setPageSize((page.width_mm * MM, page.height_mm * MM))
        _draw_page(Pen(canvas, page.height_mm), page, plan, draw_extra)
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _draw_page(pen: Pen, page: layout.Page, plan: layout.KitPlan, draw_extra: DrawPage | None) -> None:
    if page.card and page.card_origin_mm:
        _draw_card_page(pen, page, page.card, page.card_origin_mm, plan.title)
    elif page.plan:
        _draw_marker_sheet(pen, page, page.plan)
    elif draw_extra:
        draw_extra(pen, page)
    for tag in page.tags:
        draw_tag(pen, tag)


def _draw_card_page(pen: Pen, page: layout.Page, card: CardSpec, origin_mm: tuple[float, float],
                    kit_title: str) -> None:
    left, top = origin_mm
    right, bottom = left + card.width_mm, top + card.height_mm
    draw_board(pen, card, origin_mm)
    for line in page.check_lines:
        draw_check_line(pen, line, _should_be(line))
    pen.text((left, 11.2), "The card", 13, bold=True)
    pen.text((right, 11.2), kit_title, 8.5, align="right", colour=DARK)
    pen.lines_of_text(
        (left, bottom + 6.0), card.width_mm - 62,
        'Print at 100 % (no "fit to page"). Measure both lines with a steel rule and note what '
        "they read. Glue the whole sheet flat on a stiff board, without bubbles or a bend. If you "
        "use a spirit level, set the board's long edge level: glue the sheet square to it.",
        9)
    for n, name in enumerate(("long line", "short line")):
        y = bottom + 7.5 + 5.0 * n
        pen.text((right - 33, y), f"{name} reads", 9, align="right")
        pen.line((right - 31, y + 0.6), (right - 8, y + 0.6), thick=0.2)
        pen.text((right, y), "mm", 9, align="right")


def _draw_marker_sheet(pen: Pen, page: layout.Page, sheet: layout.SheetPlan) -> None:
    first = page.labels[0]
    left, right = first.left_mm, max(x.left_mm + x.width_mm for x in page.labels)
    # The strip takes the page's whole height: the title stands beside it.
    indent = 3.0 if page.strip else 0.0
    pen.text((left + indent, 12.0), sheet.title, 14, bold=True)
    pen.text((right, 12.0), "print at 100 %", 8.5, align="right", colour=DARK)
    pen.lines_of_text((left + indent, 17.0), right - left - indent, sheet.help, 8.5)
    for label in page.labels:
        _draw_label(pen, label)
    for line in page.check_lines:
        draw_check_line(pen, line, _should_be(line))
        y = line.start_mm[1] + 9.0
        for row in sheet.below:
            y = pen.lines_of_text((left, y), right - left, row, 10) + 1.0
    if page.strip:
        _draw_strip(pen, page.strip)


def _should_be(line: layout.CheckLine) -> str:
    return f"measure with a steel rule: should be {line.length_mm:.1f} mm"


def _draw_label(pen: Pen, label: layout.Label) -> None:
    middle = label.left_mm + label.width_mm / 2
    small = label.form == "small"
    pen.rect(label.left_mm, label.top_mm, label.width_mm, label.height_mm, **_CUT)
    _draw_band(pen, label)

    title_size, words_size = (8.5, 7) if small else (11.5, 8)
    if label.form == "plate":
        y = label.top_mm + 10.6
        if label.tag.joint_mm is not None:
            _draw_joint(pen, label.tag, label.tag.joint_mm)
    else:
        tag = label.tag
        y = tag.centre_mm[1] + tag.size_mm / 2 + tag.quiet_mm + (3.4 if small else 4.0)
    title = label.role.title.upper()
    pen.text((middle, y), title, title_size, bold=True, align="middle")
    lead = 2.9 if small else 3.5
    width = label.width_mm - 3
    for n, row in enumerate(_rows(label.role.where, width, words_size)):
        pen.text((middle, y + lead * (n + 1)), row, words_size, align="middle")
    if label.role.body == SPARE:
        line_y = y + lead * 2 + (0.4 if small else 1.0)
        pen.line((label.left_mm + 4, line_y), (label.left_mm + label.width_mm - 4, line_y),
                 thick=0.15)


def _rows(words: str, width: float, size: float) -> list[str]:
    """The words in one row, or in two with the first a little the longer."""
    rows = broken(words, width, size)
    while len(rows) == 2:
        width -= 1
        again = broken(words, width, size)
        if len(again) > 2 or text_width_mm(again[0], size) < text_width_mm(again[1], size):
            break
        rows = again
    return rows


def _draw_band(pen: Pen, label: layout.Label) -> None:
    """Along a label's top: which way is up, the id, and the set it belongs to."""
    small = label.form == "small"
    size = 7.5 if small else 9.5
    left, right = label.left_mm + 2.0, label.left_mm + label.width_mm - 2.0
    y = label.top_mm + (4.0 if small else 4.9)
    if label.form != "plate":
        rise = size * 0.72 / MM
        pen.shape(((left, y), (left + rise, y), (left + rise / 2, y - rise)), fill=BLACK)
        pen.text((left + rise + 0.9, y), "UP", size, bold=True)
    pen.text((right, y), str(label.tag.tag_id), size + 1.5, bold=True, align="right")
    badge = "RIGHT" if label.side == "right" else "FIRST SET" if label.first else ""
    if badge:
        width = text_width_mm(badge, size - 1.5, True) + 2.4
        x = left if label.form == "plate" else label.left_mm + (label.width_mm - width) / 2
        height = 3.2 if small else 3.9
        pen.rect(x, y - height + 0.6, width, height, fill=DARK)
        pen.text((x + width / 2, y - 0.3), badge, size - 1.5, bold=True, align="middle",
                 colour=WHITE)


def _draw_joint(pen: Pen, tag: layout.PlacedTag, joint_mm: tuple[float, float]) -> None:
    """The cross at a plate's joint, rings to punch out, and the arrow from the tag."""
    x, y = joint_mm
    start = tag.centre_mm[1] + tag.size_mm / 2 + tag.quiet_mm + 0.6
    pen.arrow((x, start), (x, y - 8.2), thick=0.6, head=3.0)
    pen.text((x - 2.5, start + 4.2), "the joint", 8, align="right")
    pen.text((x - 2.5, start + 7.6), "is here", 8, align="right")
    for diameter in (8, 10, 12):
        pen.circle((x, y), diameter / 2, thick=0.15, colour=MID)
    pen.text((x + 8.8, y - 2.2), "punch", 7, colour=DARK)
    pen.text((x + 8.8, y + 0.8), "8, 10 or", 7, colour=DARK)
    pen.text((x + 8.8, y + 3.8), "12 mm", 7, colour=DARK)
    pen.line((x - 7.5, y), (x + 7.5, y), thick=0.2)
    pen.line((x, y - 7.5), (x, y + 7.5), thick=0.2)


def _draw_strip(pen: Pen, strip: layout.PlumbStrip) -> None:
    pen.rect(strip.left_mm, strip.top_mm, strip.width_mm, strip.height_mm, **_CUT)
    x, y = strip.hole_mm
    pen.circle(strip.hole_mm, 2.5, thick=0.3)
    for dx, dy in ((4.0, 0.0), (0.0, 4.0)):
        pen.line((x - dx, y - dy), (x + dx, y + dy), thick=0.2)
    pen.text((strip.left_mm + 2.5, y + 1.0), "hang here", 8)
    for role, tag in ((strip.top_role, strip.top_tag), (strip.bottom_role, strip.bottom_tag)):
        below = tag is strip.top_tag
        edge = tag.size_mm / 2 + tag.quiet_mm
        words_y = tag.centre_mm[1] + edge + 4.4 if below else tag.centre_mm[1] - edge - 1.6
        pen.text((x, words_y), f"{role.title.upper()}   {tag.tag_id}", 11, bold=True, align="middle")

    y = strip.top_tag.centre_mm[1] + 36
    for words in (
        "Glue on a stiff, straight strip: it must not bend or curl.",
        "Punch the hole at the top and hang it by a thread, free of everything, so that both "
        "tags can be seen from where you take the photos.",
        "Hang a weight of 100 g or more from the cross at the bottom.",
        "Windy? Let the weight hang in a cup of oil.",
        f"The tags' centres are {PLUMB_SPACING_MM:.1f}\N{NO-BREAK SPACE}mm apart.",
        "Or cut the two tags apart and stick both on one plumb string, centres on the string.",
    ):
        y = pen.lines_of_text((strip.left_mm + 4, y), strip.width_mm - 8, words, 9) + 2.0
    pen.arrow((x, y + 6), (x, y + 18), thick=0.6, head=3.5)
    pen.text((x + 3, y + 13), "DOWN", 9.5, bold=True)
    x, y = strip.weight_mm
    for dx, dy in ((2.5, 0.0), (0.0, 2.5)):
        pen.line((x - dx, y - dy), (x + dx, y + dy), thick=0.2)
    pen.text((strip.left_mm + 2.5, y + 1.0), "weight here", 8)
