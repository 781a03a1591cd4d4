"""`photoangle start`: makes a car folder."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from photoangle.carfile.template import start_folder
from photoangle.core.progress import Progress
from photoangle.output.plain import plain
from photoangle.output.terminal import say


@dataclass(frozen=True)
class StartOptions:
    """folder: the car folder to make; units: "mm" or "in" for numbers without a unit."""

    folder: Path
    units: str = "mm"


def start_command(options: StartOptions, progress: Progress) -> int:
    """`photoangle start`.  Returns the exit code.  Raises OSError."""
    folder = options.folder
    made, new = start_folder(folder, options.units)
    for path in made:
        say(f"made {plain(path)}")
    if not new:
        say(f"{folder / 'car.toml'} was there already and is as it was")
    say(f"Next: photos of the card into {folder / 'lens'}, then `photoangle lens {folder}`.")
    return 0
