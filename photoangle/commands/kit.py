"""`photoangle kit`: writes the printable kit."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from photoangle.core.progress import Progress
from photoangle.output.kit_pdf import write_kit_pdf
from photoangle.output.terminal import say


@dataclass(frozen=True)
class KitOptions:
    """path: the PDF to write; paper: "A4" or "Letter"."""

    path: Path
    paper: str = "A4"


def kit_command(options: KitOptions, progress: Progress) -> int:
    """`photoangle kit`.  Returns the exit code.  Raises OSError."""
    write_kit_pdf(options.path, options.paper)
    say(f"{options.path}: print it at 100 % (no \"fit to page\"), on {options.paper}.\n"
        "Lay a steel rule on the lines beside the card: 200.0 and 150.0 mm; write what it says into car.toml."
        )
    return 0
