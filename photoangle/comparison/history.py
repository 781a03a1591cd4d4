"""A season's results: each measuring run kept beside the photos as a small dated JSON.

One file a run in ``results/history``, named by its time; a run that found what the one before it found is not
kept again.  Two runs share errors that such a file does not tell apart, so that a change between them is
judged by both plus-or-minus in quadrature; `compare` on the photos themselves knows better.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from calib.files import read_small, write_whole
from photoangle import __version__
from photoangle.carfile.symlinks import fixed_link
from photoangle.comparison.made_from import MadeFrom
from photoangle.core.errors import CannotUse
from photoangle.core.figure import Figure
from photoangle.core.findings import Finding

VERSION = 1
FOLDER = "history"
_MOST_BYTES = 5_000_000
_MOST = 1e9  # no figure's number is as large
_KEYS = ("corner", "state", "name", "datum", "unit", "value", "u", "dof", "low95", "high95")


@dataclass(frozen=True)
class Run:
    """made: local time of the run; figures: list of Figure, without budgets; photos: state -> number of
    photos; made_from: its photos and notes."""

    made: datetime
    figures: list
    photos: dict
    made_from: MadeFrom = MadeFrom()


def keep_run(results, measurement, now=None):
    """Keep a measuring run in ``results``/history unless it repeats the one before it.

    Parameters: results: folder; measurement: pipeline.Measurement; now: datetime, for tests.
    Returns the path written, or None where it repeats.  Raises OSError.
    """
    folder = Path(results) / FOLDER
    rows = [{k: getattr(f, k) for k in _KEYS} for f in measurement.report.figures]
    for row in rows:
        row.update({k: round(row[k], 6) for k in ("value", "u", "low95", "high95")})
    photos = {f"{s.corner}/{s.state}": len(s.scene.photos) for s in measurement.states}
    if not rows or _latest_of(folder, set(photos)) == rows:
        return None
    source = MadeFrom.of(measurement)
    made = (now or datetime.now()).replace(microsecond=0)
    folder.mkdir(parents=True, exist_ok=True)
    path, again = folder / f"{made:%Y-%m-%d_%H%M%S}.json", 1
    while path.exists():
        again += 1
        path = folder / f"{made:%Y-%m-%d_%H%M%S}_{again}.json"
    write_whole(
        path,
        json.dumps(
            {
                "version": VERSION, "made": made.isoformat(), "software": __version__, "photos": photos,
                "made_from": {"photos": source.photos, "notes": source.notes}, "figures": rows
            },
            indent=0) + "\n")
    return path


def _files(folder):
    return sorted(p for p in Path(folder).glob("*.json")
                  if not p.name.startswith(".") and not p.is_symlink()) if Path(folder).is_dir() else []


def _latest_of(folder, states):
    """Figures as stored by the newest run of the same states, or None.  A file that cannot be read repeats
    nothing."""
    for path in reversed(_files(folder)):
        try:
            content = json.loads(read_small(path, _MOST_BYTES))
            if set(content["photos"]) == states:
                return content["figures"]
        except (OSError, ValueError, KeyError, TypeError, RecursionError):
            continue
    return None


def read_history(root):
    """All runs of a car folder, the oldest first.

    Returns (runs, findings): files that cannot be read are told and left out.  Raises InputError where there
    is none at all, or where one is of a newer version.
    """
    link = fixed_link(root)
    if link is not None:
        raise CannotUse.because(link)
    folder = Path(root) / "results" / FOLDER
    runs, findings = [], []
    for path in _files(folder):
        try:
            runs.append(_read(path))
        except (OSError, ValueError, KeyError, TypeError, RecursionError, OverflowError):
            findings.append(Finding("attention", str(path), "this record cannot be read and was left out",
                                    "move it out of the folder; the photos can be measured again"))
    if not runs and not findings:
        raise CannotUse(str(folder), "no measuring run is kept here",
                        "run `photoangle measure` on the car folder first")
    if not runs:
        raise CannotUse.because(findings[0])
    return sorted(runs, key=lambda r: r.made), findings


def _read(path):
    content = json.loads(read_small(path, _MOST_BYTES))
    version = content["version"]
    if isinstance(version, int) and version > VERSION:
        raise CannotUse(str(path), f"it is of version {version}, this program reads {VERSION}",
                        "use the newer program that wrote it, or move the file out of the folder")
    if version != VERSION:
        raise ValueError("version")
    figures = []
    for row in content["figures"]:
        figure = Figure(**{k: row[k] for k in _KEYS})
        if not all(abs(v) < _MOST for v in (figure.value, figure.u, figure.dof, figure.low95, figure.high95)):
            raise ValueError("numbers out of range")
        words = [figure.name, figure.unit, figure.corner, figure.state
                 ] + ([] if figure.datum is None else [figure.datum])
        if not all(isinstance(v, str) for v in words):
            raise TypeError("names")
        figures.append(figure)
    made = datetime.fromisoformat(content["made"]).replace(tzinfo=None)
    if not 1990 <= made.year < 2200:
        raise ValueError("a time that cannot be")
    source = content.get("made_from", {})
    return Run(made, figures, dict(content["photos"]), MadeFrom(
        *({str(k): str(v) for k, v in source.get(part, {}).items()} for part in ("photos", "notes"))))


@dataclass(frozen=True)
class SeasonStep:
    """One figure in one run.

    made, figure, and what it did since the run before that had it: change and its 95 % plus-or-minus (None in
    the first); again: whether it was measured anew, from other photos (None where the records do not say);
    other: what else it hangs on that is other than before; moved: whether it was measured anew and the change
    is more than its plus-or-minus.
    """

    made: datetime
    figure: Figure
    change: float | None = None
    half: float | None = None
    moved: bool = False
    again: bool | None = None
    other: tuple[str, ...] = ()


def season(runs, only=None, names=()):
    """Each figure's steps over the runs.

    The same photos with other notes tell nothing of the car: what they come to is a step, never a change of
    the car.

    Parameters: runs, the oldest first; only: a corner or corner/state; names: figures' names, all where
    empty.
    Returns (corner, state, name, datum) -> list of SeasonStep; tape readings are left out.
    """
    out, sources = {}, {}
    for run in runs:
        for f in run.figures:
            if f.name.startswith("tape:") or (names and f.name not in names) or (
                    only and only not in (f.corner, f"{f.corner}/{f.state}")):
                continue
            key = (f.corner, f.state, f.name, f.datum)
            steps = out.setdefault(key, [])
            last, before = (steps[-1].figure, sources[key]) if steps else (None, None)
            if last is not None and (f.value, f.u) == (last.value, last.u):
                continue  # the same photos measured again, in another company
            sources[key] = run.made_from
            if last is None:
                steps.append(SeasonStep(run.made, f))
                continue
            change = f.value - last.value
            half = math.hypot(f.high95 - f.low95, last.high95 - last.low95) / 2
            again, other = run.made_from.since(before, f"{f.corner}/{f.state}")
            steps.append(SeasonStep(run.made, f, change, half, again is not False and abs(change) > half,
                                    again, other))
    return out
