"""The record: what was used and when, so that a report can be told from another later."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from calib.files import fingerprint
from calib.profile import ProfileError, load_profiles
from photoangle import __version__
from photoangle.core.assumed import PRINT_WITHIN
from photoangle.reconstruction.lens.folder_lens import PROFILE_NAME


def record_rows(measurement, now=None):
    """(name, text) rows.  measurement: pipeline.Measurement of a car folder; now: datetime, for tests."""
    car, root = measurement.car, measurement.root
    rows = [("made", f"{now or datetime.now():%Y-%m-%d %H:%M}"), ("software", f"Photoangle {__version__}"),
            ("car", car.name or (Path(root).resolve().name if root else "loose photos"))]
    cameras = sorted({s.sightings[0].camera.title for s in measurement.states if s.sightings})
    rows.append(("phone", ", ".join(cameras) or "none"))
    rows.append(("lens", _lens(root)))
    kit = measurement.kit
    rows.append(("kit", f"{kit.family_name}, {len(kit.slots)} markers" +
                 (f", card {kit.card.columns} x {kit.card.rows} squares of {kit.card.square_mm:g} mm"
                  if kit.card else ", no card")))
    check = car.print_check
    lines = [f"{n} line {v:.1f} mm" for n, v in (("x", check.x_line_mm), ("y", check.y_line_mm)) if v]
    rows.append(("print check", ", ".join(lines)
                 or f"not given: the print's size is taken as right within {100 * PRINT_WITHIN:g} %"))
    rows.append(("level", car.level.by +
                 (f", floor {car.level.floor_slope_along_deg:+g} deg along,"
                  f" {car.level.floor_slope_across_deg:+g} deg across" if car.level.floor_given else "")))
    return rows


def _lens(root):
    path = Path(root) / "lens" / PROFILE_NAME if root else None
    if path is None or not path.exists():
        return "not learnt: from the photos' own notes"
    try:
        return "; ".join(f"{p.photos} photos of the card, residual {p.rms_px:.2f} px, {p.made}".rstrip(", ")
                         for p in load_profiles(path))
    except ProfileError as error:
        return error.what


def inputs(measurement):
    """(name, fingerprint) of car.toml and every photo used, in order."""
    out = []
    root = measurement.root
    if root and (Path(root) / "car.toml").exists():
        out.append(("car.toml", fingerprint(Path(root) / "car.toml")))
    for state in measurement.states:
        out += [(name, fingerprint(state.paths[name])) for name in sorted(state.scene.photos)]
    return out
