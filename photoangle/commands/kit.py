"""`photoangle kit`: writes the printable kit, or its card as a picture for a screen."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from calib.files import write_whole
from calib.kit import CardSpec
from photoangle.core.errors import CannotUse
from photoangle.core.progress import Progress
from photoangle.output.kit_pdf import ALL, FIRST, ONE_SIDE, write_kit_pdf
from photoangle.output.terminal import say

_LARGEST_PX = 20_000


@dataclass(frozen=True)
class KitOptions:
    """path: the PDF to write, or None for its usual name; paper: "A4" or "Letter"; screen: "WIDTHxHEIGHT" of
    a screen in pixels, for a picture of the card alone; every: all sheets of one side, not the three pages
    that the first answer needs; right: the second set as well, for both sides in one picture."""

    path: Path | None = None
    paper: str = "A4"
    screen: str | None = None
    every: bool = False
    right: bool = False


def kit_command(options: KitOptions, progress: Progress) -> int:
    """`photoangle kit`.  Returns the exit code.  Raises InputError and OSError."""
    if options.screen is not None:
        return _for_a_screen(options.path or Path("photoangle-card.png"), options.screen)
    path = options.path or Path("photoangle-kit.pdf")
    parts = ALL if options.right else ONE_SIDE if options.every else FIRST
    write_kit_pdf(path, options.paper, parts)
    sheets = "all sheets" if options.right else "all sheets of one side" if options.every else (
        "a page to read, and three to print: card, where they go, the first markers")
    say(f"{path}: {sheets}. Print at 100 % (no \"fit to page\"), on {options.paper}.\n"
        "Lay a steel rule on the lines beside the card (200.0 and 150.0 mm) and write what it says into\n"
        "car.toml.")
    if not options.every and not options.right:
        say("More: --all for small markers, plates and hose markers, --right for both sides in one picture.")
    return 0


def _for_a_screen(path, text):
    import cv2

    from calib.sheets.screen import TooSmall, screen_card

    size = re.fullmatch(r"\s*(\d+)\s*[x×X]\s*(\d+)\s*", text)
    if size is None or max(map(int, size.groups())) > _LARGEST_PX:
        raise CannotUse(f"--screen {text}", "this is no screen's size",
                        "write its pixels, such as --screen 2732x2048")
    width, height = sorted(map(int, size.groups()), reverse=True)
    try:
        picture, square = screen_card(CardSpec(), width, height)
    except TooSmall as error:
        raise CannotUse(f"--screen {text}", "the card does not fit on so few pixels",
                        "give the screen's own pixels, such as --screen 2732x2048") from error
    write_whole(path, cv2.imencode(".png", picture)[1].tobytes())
    say(f"{path}: the card on a screen of {width} x {height} pixels, {square} pixels a square.\n"
        "Show it in full screen, not enlarged, and take about ten photos of it from all sides into lens/.\n"
        "It is for learning the lens; for measuring, print the card.")
    return 0
