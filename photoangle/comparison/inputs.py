"""What `compare` was given: states, corners, car folders or photos, measured and set side by side."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from photoangle.carfile.folder import photo_files
from photoangle.comparison.compare import Side
from photoangle.core.errors import CannotUse
from photoangle.core.findings import UNUSABLE, Finding
from photoangle.core.options import PhotoOptions
from photoangle.core.states import CORNERS, RIDE
from photoangle.pipeline import measure_folder, measure_photos
from photoangle.pipeline.kept import looks_for

_KINDS = {
    "state": "a state's folder", "corner": "a corner's folder", "car": "a car folder", "photos": "photos"
}


@dataclass(frozen=True)
class Argument:
    """One argument understood.  kind: "state", "corner", "car" or "photos"; root: its car folder, or None."""

    path: Path
    kind: str
    root: Path | None = None
    corner: str | None = None
    state: str | None = None
    photos: tuple = ()


@dataclass(frozen=True)
class Pairs:
    """sides: list of (before, after) Side; kit, or None where theirs differ; units; results: folder to write
    into; findings of measuring."""

    sides: list
    kit: object
    units: str
    results: Path
    findings: list


def understand(path):
    """What a path stands for.  Returns Argument; raises InputError."""
    path = Path(path)
    if not path.exists():
        raise CannotUse(str(path), "there is no such file or folder", "check the name")
    if path.is_file():
        return Argument(path, "photos", photos=(path,))
    whole = path.resolve()
    if whole.name in CORNERS:
        return Argument(path, "corner", whole.parent, whole.name)
    if whole.parent.name in CORNERS:
        return Argument(path, "state", whole.parent.parent, whole.parent.name, whole.name)
    if (whole / "car.toml").exists() or any((whole / c).is_dir() for c in CORNERS):
        return Argument(path, "car", whole)
    files = tuple(photo_files(path))
    if files:
        return Argument(path, "photos", photos=files)
    raise CannotUse(str(path), "no photos in it",
                    "give a state such as my-car/front-left/droop, a corner, a car folder, or photos")


def measured_pairs(before, after, progress, options=PhotoOptions(), keep=False, jobs=1):
    """Measure both arguments and pair what they have in common.

    Parameters: before, after: paths; progress; options: PhotoOptions; keep: car folders'
    measurements, in their results; jobs: how many processes may work.
    Returns Pairs.  Raises InputError.
    """
    first, second = understand(before), understand(after)
    if first.kind != second.kind:
        raise CannotUse(f"{before}, {after}", f"{_KINDS[first.kind]} and {_KINDS[second.kind]} cannot be set"
                        " side by side", "give two states, two corners, two car folders, or two photos")
    if first.path.resolve() == second.path.resolve():
        raise CannotUse(str(after), "it is the same as the first", "name two different ones")
    if first.kind == "photos":
        return _photo_pairs(first, second, progress, options, jobs)
    return _folder_pairs(first, second, progress, options.kit_path, keep, jobs)


def paired(before, after):
    """Two states already measured, side by side: each (Measurement, name of the state in it).

    Returns Pairs.  Raises KeyError for a state that was not measured.
    """
    (a, first), (b, second) = before, after
    sides = (Side(a[first], first), Side(b[second], second))
    return Pairs([sides], a.kit if a.kit == b.kit else None, b.car.units,
                 b.root / "results" if b.root else None, [])


def _photo_pairs(first, second, progress, options, jobs):
    sides, findings, kits = [], [], []
    for given in (first, second):
        m = measure_photos(given.photos, progress, options, jobs)
        findings += m.report.findings
        kits.append(m.kit)
        if not m.states:
            raise CannotUse.because(_first_reason(m.report.findings, given.path))
        sides.append(Side(m.states[0], given.path.name))
    results = (second.path.parent if second.path.is_file() else second.path) / "results"
    return Pairs([tuple(sides)], kits[1], m.car.units, results, findings)


def _first_reason(findings, path):
    grave = [f for f in findings if f.level == UNUSABLE] or findings
    return grave[0] if grave else Finding(UNUSABLE, str(path), "nothing could be measured", "take new photos")


def _folder_pairs(first, second, progress, kit_path, keep, jobs):
    measured = {}
    for root in dict.fromkeys((first.root, second.root)):
        corners = {g.corner for g in (first, second) if g.root == root}
        # the whole corner: its states hang together by the ride photos and the bar's axis; without ride
        # photos the chassis may come from another corner
        only = corners.pop() if len(corners) == 1 else None
        only = only if only and (root / only / RIDE).is_dir() else None
        measured[root] = measure_folder(root, progress, kit_path, only, looks_for(root) if keep else None,
                                        jobs)
    sides = {g.path: _sides(g, measured[g.root], len(measured) > 1) for g in (first, second)}
    a, b = sides[first.path], sides[second.path]
    keys = [k for k in b if k in a]
    if not keys:
        where = f"{first.path}, {second.path}"
        found = ", ".join(sorted({s.name for s in (*a.values(), *b.values())})) or "nothing"
        raise CannotUse(where, f"no state could be measured in both (measured: {found})",
                        "check that both have photos, and `photoangle measure` what it makes of them")
    m = measured[second.root]
    named = {s.name for k in keys for s in (a[k], b[k])}
    findings = [f for root in measured for f in _of_interest(measured[root], named, len(measured) > 1)]
    kit = m.kit if all(x.kit == m.kit for x in measured.values()) else None
    return Pairs([(a[k], b[k]) for k in keys], kit, m.car.units, second.root / "results", findings)


def _sides(given, measurement, several):
    """Key -> Side of what an argument covers; the key is what must agree with the other argument's."""
    out = {}
    for s in measurement.states:
        if given.corner not in (None, s.corner) or given.state not in (None, s.state):
            continue
        key = {"state": (), "corner": (s.state,), "car": (s.corner, s.state)}[given.kind]
        name = f"{s.corner}/{s.state}"
        out[key] = Side(s, f"{measurement.root.name}/{name}" if several else name)
    return out


def _of_interest(measurement, named, several):
    """Findings of a measuring run, without those of states that are not compared."""
    others = [f"{s.corner}/{s.state}" for s in measurement.states if s.state != RIDE]
    others = [o for o in others if (f"{measurement.root.name}/{o}" if several else o) not in named]
    return [
        f for f in measurement.report.findings
        if not any(f.where == o or f.where.startswith(o + "/") for o in others)
    ]
