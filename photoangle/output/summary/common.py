"""What all summaries have in common: an angle in words, what wants a look, the last lines."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from os import PathLike

from photoangle.core.figure import Figure
from photoangle.core.findings import NOTE, Finding
from photoangle.output.plain import plain
from photoangle.output.table import finding_lines, gathered, graver_first

WIDTH = 80
# What wants a look is told in full up to so many; the rest is a matter of --full.
_MOST_LOOKS = 3
# An angle that may be nought is called level where it is known as well as this.
_LEVEL_DEG = 1.0


def angle_words(figure: Figure) -> str:
    """An angle above or below level with its plus-or-minus: "8.9° up ± 0.4", "level, +0.1° ± 0.4"."""
    half = (figure.high95 - figure.low95) / 2
    digits = 1 if half >= 0.05 else 2
    value = round(figure.value, digits) or 0.0  # no -0.0
    if abs(figure.value) <= half:
        # called level only where that says something
        return f"{'level, ' if half <= _LEVEL_DEG else ''}{value:+.{digits}f}° ± {half:.{digits}f}"
    return f"{abs(value):.{digits}f}° {'up' if value > 0 else 'down'} ± {half:.{digits}f}"


def wrapped(text: str, indent: str = "", room: int = 0) -> list[str]:
    """A paragraph's lines; indent: of all but the first; room: left free on each."""
    return textwrap.wrap(plain(text), WIDTH - room, subsequent_indent=indent, break_on_hyphens=False)


def look_lines(findings: Iterable[Finding], units: str, full: str) -> list[str]:
    """The findings that want something done, the gravest first; how many more there are, and where."""
    told = graver_first(gathered(list(findings)))
    looks = [f for f in told if f.level != NOTE]
    lines = finding_lines(looks[:_MOST_LOOKS], units)
    left, notes = len(looks) - _MOST_LOOKS, len(told) - len(looks)
    more = [f"{left} more to look at"] if left > 0 else []
    more += [f"{notes} note{'s' if notes > 1 else ''}"] if notes else []
    lines.append(f"More ({', '.join([*more, 'all figures'])}): {full} --full")
    return lines


def picture_line(paths: Sequence[str | PathLike[str]]) -> list[str]:
    """The one picture to open, by its path."""
    return [f"Picture: {plain(paths[0])}"] if paths else []
