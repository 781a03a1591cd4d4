"""`photoangle history`, between the kept runs and the terminal."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from pathlib import Path

from photoangle.carfile.folder import load_car
from photoangle.comparison.history import read_history, season
from photoangle.core.errors import CannotUse
from photoangle.core.progress import Progress
from photoangle.figures.measurands import TITLES
from photoangle.output.history_table import (
    history_json,
    history_lines,
    main_figures,
    plot_history,
    season_lines,
)
from photoangle.output.table import finding_lines
from photoangle.output.terminal import say


@dataclass(frozen=True)
class HistoryOptions:
    """folder: the car folder; only: a corner or corner/state; names: figures by their names in --json; every:
    all of them, not the main ones alone; plot: a PNG or SVG file to write; full:
    each run."""

    folder: Path
    as_json: bool = False
    only: str | None = None
    names: tuple[str, ...] = ()
    every: bool = False
    plot: Path | None = None
    full: bool = False


def history_command(options: HistoryOptions, progress: Progress) -> int:
    """`photoangle history`.  Returns the exit code.  Raises InputError."""
    root, plot = options.folder, options.plot
    for name in options.names:
        if name not in TITLES:
            near = difflib.get_close_matches(name, TITLES, 1, 0.4)
            raise CannotUse("--figure", f"{name!r} is no figure's name",
                            f"did you mean {near[0]}?" if near else "use one of " + ", ".join(TITLES))
    runs, findings = read_history(root)
    steps = season(runs, options.only, options.names)
    if not steps:
        raise CannotUse(str(root), "no kept run has such a figure", "ask for another corner or figure")
    shown = steps if options.every or options.names else main_figures(steps) or steps
    if plot:
        plot_history(shown, plot)
    if options.as_json:
        say(history_json(steps, findings))
    else:
        lines = history_lines if options.full or options.every or options.names else season_lines
        for line in lines(shown, load_car(root).units):
            say(line)
        for line in finding_lines(findings):
            say(line)
        if plot:
            say(f"plotted in\n  {plot}")
    return 1 if findings else 0
