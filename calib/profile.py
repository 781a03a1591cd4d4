"""Lens profiles: saved, loaded, and matched to a photo."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass

import numpy as np

from calib.errors import InputError
from calib.files import read_small, write_whole
from calib.images.photo import CameraIdentity

VERSION = 1
_MOST_BYTES = 5_000_000


class ProfileError(InputError):
    """A profile file that cannot be used."""


@dataclass(frozen=True)
class CameraProfile:
    """A phone's lens as learnt from photos of the card.

    camera: CameraIdentity; lens (L,) and covariance (L, L) as in `calib.lens`; shift_sigma (3,) or None:
    spread of focal scale and principal point (px) from photo to photo; floor_px; photos: how many; rms_px;
    variance_factor; good_to_px: how well a far point's pixel is known over the middle of the picture, and in
    its corners; made: date.
    """

    camera: CameraIdentity
    lens: np.ndarray
    covariance: np.ndarray
    shift_sigma: np.ndarray | None
    floor_px: float
    photos: int
    rms_px: float
    variance_factor: float
    good_to_px: float
    corners_good_to_px: float
    made: str

    def match(self, camera):
        """None where ``camera`` (CameraIdentity) is the one of this profile, else the difference in words."""
        return other_camera(self.camera, camera)


def other_camera(mine: CameraIdentity, other: CameraIdentity) -> str | None:
    """How a photo's camera differs from that of the lens photos, in words; None where it is the same phone,
    lens and zoom."""
    if {mine.width_px, mine.height_px} != {other.width_px, other.height_px}:
        shrunk = max(other.width_px, other.height_px) < max(mine.width_px, mine.height_px)
        hint = " (shrunk by a messaging app?)" if shrunk and not other.known else ""
        return (f"it is {other.width_px} x {other.height_px} pixels, the lens photos are"
                f" {mine.width_px} x {mine.height_px}{hint}")
    if mine.width_px != other.width_px:
        return "it was stored turned on its side, unlike the lens photos"
    if not other.known and mine.known:
        return "it carries no camera name (stripped on its way from the phone?)"
    if (mine.make, mine.model) != (other.make, other.model):
        return f"it is from {other.title}, the lens photos are from {mine.title}"
    for a, b, unit in ((mine.focal_mm, other.focal_mm, "mm"),
                       (mine.focal35_mm, other.focal35_mm, "mm equivalent")):
        if a and b and abs(a - b) > 0.02 * a:
            return (f"it was taken with another of the phone's lenses ({b:g} {unit}"
                    f" instead of {a:g} {unit})")
    if abs(mine.zoom - other.zoom) > 0.01:
        return f"it was taken with digital zoom {other.zoom:g}, the lens photos with {mine.zoom:g}"
    return None


def save_profiles(path, profiles):
    """Write profiles as JSON, whole or not at all."""
    rows = []
    for p in profiles:
        row = asdict(p)
        row.update(lens=p.lens.tolist(), covariance=p.covariance.tolist(),
                   shift_sigma=None if p.shift_sigma is None else p.shift_sigma.tolist())
        rows.append(row)
    write_whole(path, json.dumps({"version": VERSION, "profiles": rows}, indent=1) + "\n")


def load_profiles(path):
    """Read profiles.  Returns a list of CameraProfile; raises ProfileError with a remedy."""
    again = "learn the lens again, with `photoangle lens`"
    try:
        text = read_small(path, _MOST_BYTES).decode("utf-8")
    except OSError as error:
        raise ProfileError(str(path), f"it cannot be read ({error.strerror})", again) from error
    except UnicodeDecodeError as error:
        raise ProfileError(str(path), "it is damaged", again) from error
    try:
        content = json.loads(text)
        version = content["version"]
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise ProfileError(str(path), "it is damaged", again) from error
    if version != VERSION:
        raise ProfileError(str(path), f"it is of version {version}, this program reads {VERSION}", again)
    try:
        return [_profile(row) for row in content["profiles"]]
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError, FloatingPointError) as error:
        raise ProfileError(str(path), "it is damaged", again) from error


def read_camera(row):
    """CameraIdentity of its fields as a file has them.  Raises TypeError, ValueError or AttributeError."""
    camera = CameraIdentity(**row)
    if not all(isinstance(v, str) for v in (camera.make, camera.model, camera.lens)):
        raise TypeError("names")
    lengths = [camera.zoom, camera.width_px, camera.height_px]
    lengths += [v for v in (camera.focal_mm, camera.focal35_mm) if v is not None]
    if not all(0 < v < 1e6 for v in lengths):
        raise ValueError("numbers out of range")
    return camera


def _profile(row):
    camera = read_camera(row["camera"])
    lens, covariance = np.array(row["lens"], float), np.array(row["covariance"], float)
    shift = None if row["shift_sigma"] is None else np.array(row["shift_sigma"], float)
    n = len(lens)
    if (lens.ndim != 1 or not 9 <= n <= 100 or covariance.shape != (n, n) or not np.isfinite(lens).all()
            or not (np.abs(covariance) < 1e12).all() or not 1 < lens[0] < 1e6):
        raise ValueError("numbers out of range")
    if shift is not None and (shift.shape != (3,) or not (shift > 0).all()):
        raise ValueError("numbers out of range")
    if not (covariance.diagonal() > 0).all():
        raise ValueError("numbers out of range")
    # scaled to ones on the diagonal, so that units do not matter
    spread = np.sqrt(covariance.diagonal())
    if np.linalg.eigvalsh((covariance + covariance.T) / 2 / np.outer(spread, spread)).min() < 1e-14:
        raise ValueError("a covariance that is none")
    scalars = [
        float(row[k])
        for k in ("floor_px", "photos", "rms_px", "variance_factor", "good_to_px", "corners_good_to_px")
    ]
    if not all(0 <= v < 1e6 for v in scalars):
        raise ValueError("numbers out of range")
    return CameraProfile(camera, lens, covariance, shift, float(row["floor_px"]), int(row["photos"]),
                         float(row["rms_px"]), float(row["variance_factor"]),
                         float(row["good_to_px"]), float(row["corners_good_to_px"]), str(row["made"]))
