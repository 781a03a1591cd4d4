"""`photoangle point`, between the pipeline and the terminal."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from calib.images.photo import read_photo, sensor_points
from photoangle.api import measure
from photoangle.carfile.corrections import POINTED_AT, read_corrections, save_corrections
from photoangle.carfile.folder import photo_files
from photoangle.commands.options import named_roles
from photoangle.core.errors import CannotUse
from photoangle.core.findings import ATTENTION, UNUSABLE
from photoangle.core.options import PhotoOptions
from photoangle.core.outcome import FAILED, GOOD, LOOK
from photoangle.core.progress import Progress
from photoangle.core.roles import PLUMB, ROLE_BY_KEY
from photoangle.core.states import CORNERS
from photoangle.detection.pointing.refine import TAP_PX
from photoangle.output.table import finding_lines
from photoangle.output.terminal import say
from photoangle.pipeline.kept import looks_for

_MOST_SIGMA_PX = 60.0


@dataclass(frozen=True)
class PointOptions:
    """photo: a file CAR/CORNER/STATE/NAME; role: whose joint; at: "X,Y" px of the upright photo, None with
    remove; what: one of corrections.POINTED_AT; sigma_px: how far the tap may be off; remove: take it out;
    kit_path: a kit file; jobs: how many processes may work."""

    photo: Path
    role: str
    at: str | None = None
    what: str = "bolt"
    sigma_px: float = TAP_PX
    remove: bool = False
    kit_path: Path | None = None
    as_json: bool = False
    jobs: int = 1


def point_command(options: PointOptions, progress: Progress) -> int:
    """`photoangle point`.  Returns the exit code.  Raises InputError."""
    root, name = _in_its_folder(options.photo)
    role = _role(options.role)
    if not options.remove:
        at = _sensed(options, options.photo)
    before = read_corrections(root)
    mine = {k: v for k, v in before.pointed.get(name, {}).items() if k != role}
    if options.remove:
        if role not in before.pointed.get(name, {}):
            raise CannotUse(str(options.photo), f"it was not pointed at here for {ROLE_BY_KEY[role].title}",
                            "see corrections.json for what was")
    else:
        mine[role] = (*(round(float(v), 3) for v in at), options.sigma_px, options.what)
    save_corrections(root, replace(before, pointed=before.pointed | {name: mine}))
    where = name.rpartition("/")[0]
    measurement = measure(root, where, PhotoOptions(options.kit_path), progress, looks_for(root),
                          options.jobs)
    return _say(measurement, where, role, options)


def _in_its_folder(photo):
    """(car folder, "corner/state/file") of a photo.  Raises InputError."""
    whole = photo.absolute()
    state, corner = whole.parent, whole.parent.parent
    if not photo.exists():
        raise CannotUse(str(photo), "there is no such photo", "give one, such as my-car/front-left/set/a.jpg")
    if corner.name not in CORNERS or whole not in photo_files(state):
        raise CannotUse(str(photo), "it is no photo of a car folder's state",
                        "give one in a folder such as my-car/front-left/set")
    return photo.parent.parent.parent, f"{corner.name}/{state.name}/{whole.name}"


def _role(text):
    """The key of a role that may be pointed at.  Raises InputError."""
    (role, *more) = named_roles(text, "ROLE") or ("",)
    if more or role in PLUMB or role not in ROLE_BY_KEY:
        raise CannotUse("ROLE", f"{text!r} cannot be pointed at", "name one joint, such as bar_eye")
    return role


def _sensed(options, path):
    """Where the photo was pointed at, (2,) px in the sensor's frame.  Raises InputError."""
    if options.what not in POINTED_AT:
        raise CannotUse("--what", f"{options.what!r} is nothing that can be pointed at",
                        "use one of " + ", ".join(POINTED_AT))
    if not 0.05 <= options.sigma_px <= _MOST_SIGMA_PX:
        raise CannotUse("--sigma", f"{options.sigma_px:g} px is no slip of a finger",
                        f"give 0.05 to {_MOST_SIGMA_PX:g}; {TAP_PX:g} at full size, 12 on a phone's screen")
    try:
        x, y = (float(v) for v in (options.at or "").split(","))
    except ValueError:
        x = y = math.nan
    if not (math.isfinite(x) and math.isfinite(y)):
        raise CannotUse("X,Y", f"{options.at!r} is no place" if options.at else "no place was given",
                        "give the pixel across and down in the upright photo, such as 1850,1220")
    photo = read_photo(path)
    at = sensor_points(np.array([[x, y]]), *photo.grey.shape[::-1], photo.orientation)[0]
    if not ((at >= 0) & (at <= np.array(photo.grey.shape[::-1]) - 1)).all():
        size = photo.grey.shape[::-1] if photo.orientation < 5 else photo.grey.shape
        raise CannotUse(str(path), f"{x:g},{y:g} lies outside: the photo is {size[0]} x {size[1]} pixels",
                        "give a pixel within it")
    return at


def _say(measurement, where, role, options):
    """Tell what came of it.  Returns the exit code."""
    title = ROLE_BY_KEY[role].title
    state = next((s for s in measurement.states if s.name == where), None)
    place = next((p for p in state.pointed if p.role == role), None) if state is not None else None
    told = [f for f in measurement.findings if f"pointed at for {title}" in f.what or f.level == UNUSABLE
            or (f"pointed at here for {title}" in f.what)]
    if options.as_json:
        say(json.dumps({"state": where, "role": role, "place": None if place is None else {
            "first": place.first, "what": place.what, "sigma_px": round(place.sigma_px, 3),
            "outline": place.outline, "found": list(place.found), "not_found": list(place.unseen),
            "u_mm": [round(u, 4) for u in place.u_mm]},
            "findings": [{"level": f.level, "where": f.where, "what": f.what, "do": f.do} for f in told]},
            indent=1))
    else:
        if place is not None:
            for line in _lines(place, title):
                say(line)
        elif options.remove:
            say(f"{title}: no longer pointed at in {options.photo.name}")
        for line in finding_lines(told, measurement.car.units):
            say(line)
    if state is None:
        return FAILED
    if place is None and not options.remove:
        return LOOK
    return LOOK if any(f.level == ATTENTION for f in told) else GOOD


def _lines(place, title):
    def short(names):
        return ", ".join(n.rpartition("/")[2] for n in names)

    how = "its round outline" if place.outline else "the tap itself"
    yield (f"{title}, {place.what}, pointed at in {short([place.first])}: by {how}, within"
           f" {2 * place.sigma_px:.1f} px")
    others = [n for n in place.found if n != place.first]
    yield f"  found in {short(others)}" + (f"; not in {short(place.unseen)}" if place.unseen else "")
    across, up, along = (2 * u for u in place.u_mm)
    yield f"  its face lies there within {max(across, up):.2f} mm, and {along:.2f} mm along the line of sight"
