"""`photoangle history`, between the kept runs and the terminal."""

from __future__ import annotations

import difflib

from photoangle.carfile.folder import load_car
from photoangle.comparison.history import read_history, season
from photoangle.core.errors import CannotUse
from photoangle.output.history_table import history_json, history_lines, main_figures, plot_history
from photoangle.output.table import TITLES, finding_lines
from photoangle.output.terminal import say


def history_command(root, as_json, only, names, every, plot):
    """`photoangle history`.  Returns the exit code."""
    for name in names:
        if name not in TITLES:
            near = difflib.get_close_matches(name, TITLES, 1, 0.4)
            raise CannotUse("--figure", f"{name!r} is no figure's name",
                            f"did you mean {near[0]}?" if near else "use one of " + ", ".join(TITLES))
    runs, findings = read_history(root)
    steps = season(runs, only, names)
    if not steps:
        raise CannotUse(str(root), "no kept run has such a figure", "ask for another corner or figure")
    shown = steps if every or names else main_figures(steps) or steps
    if plot:
        plot_history(shown, plot)
    if as_json:
        say(history_json(steps, findings))
    else:
        for line in history_lines(shown, load_car(root).units):
            say(line)
        for line in finding_lines(findings):
            say(line)
        if plot:
            say(f"plotted in\n  {plot}")
    return 1 if findings else 0
