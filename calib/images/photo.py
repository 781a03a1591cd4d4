"""A file -> grey pixels in the sensor's own frame, and which camera took it.

Cameras write the picture as the sensor saw it and note in EXIF how to turn it for viewing.
Everything is measured in the sensor's frame, where the lens is the same for portrait and landscape;
``orientation`` says how to turn a picture for showing.
"""

from __future__ import annotations

import contextlib
import io
import logging
import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from calib.errors import InputError
from calib.images import heif, heif_decoder
from calib.images.jpeg import JpegError, decode

# Pillow's own words about a damaged picture are repeated by us, in better ones.
logging.getLogger("PIL").addHandler(logging.NullHandler())
SUFFIXES = (".jpg", ".jpeg", ".png", ".heic", ".heif", ".webp")
# Pictures that no phone writes: recognised, so that they can be named, and not read.
NOT_READ = (".tif", ".tiff", ".bmp", ".pgm", ".ppm", ".gif")
_JPEG = ("JPEG", "MPO")
_FORMATS = {"JPEG", "MPO", "PNG", "HEIF", "WEBP"}
MOST_PIXELS = 120_000_000
MOST_BYTES = 200_000_000
_LEAST_SIDE_PX = 200
_SAME_ZOOM = 0.01
_FULL_FRAME_DIAGONAL_MM = 43.2666  # 24 x 36 mm; CIPA's 35 mm equivalent goes by the diagonal


class PhotoError(InputError):
    """A picture that cannot be used; ``where`` is its path."""


@dataclass(frozen=True)
class CameraIdentity:
    """What a lens profile is matched by.

    make, model, lens as EXIF names them ("" where it does not); focal_mm and
    focal35_mm (35 mm equivalent) or None; zoom: digital zoom ratio, 1.0 without; width_px, height_px
    of the stored picture.
    """

    make: str = ""
    model: str = ""
    lens: str = ""
    focal_mm: float | None = None
    focal35_mm: float | None = None
    zoom: float = 1.0
    width_px: int = 0
    height_px: int = 0

    @property
    def known(self):
        return bool(self.make or self.model)

    @property
    def title(self):
        name = self.model if self.model.startswith(self.make) else f"{self.make} {self.model}"
        return name.strip() or "a camera that left no name"

    @property
    def focal_px(self):
        """Focal length from EXIF, px, or None."""
        if not self.focal35_mm:
            return None
        return self.focal35_mm / _FULL_FRAME_DIAGONAL_MM * float(
            np.hypot(self.width_px, self.height_px))


@dataclass(frozen=True)
class Photo:
    """grey (H, W) uint8 in the sensor's frame; orientation 1..8 as in EXIF; taken: EXIF date or ""; damaged:
    the file's data are not all sound, though they decode."""

    path: str
    grey: np.ndarray
    orientation: int
    camera: CameraIdentity
    taken: str
    damaged: bool = False


def read_photo(path):
    """Read a picture's grey pixels and camera.

    Parameters: path of a JPEG, PNG, HEIC or WebP file.
    Returns Photo.  Raises PhotoError with a remedy for anything that is not such a picture.
    """
    damaged = False
    with _named(path):
        data = _bytes_of(path)
        header = _header(data, path)
        if header["format"] == "HEIF":
            grey = _unturn(_grey(header["pixels"]), header["orientation"])
        elif header["format"] in _JPEG:
            grey, damaged = decode_jpeg(data)
        else:
            grey = _decode(data, header["format"])
    camera = CameraIdentity(**header["camera"], width_px=grey.shape[1], height_px=grey.shape[0])
    return Photo(str(path), grey, header["orientation"], camera, header["taken"], damaged)


def read_upright(path, most_px=2000):
    """The picture in colour for showing: (H, W, 3) uint8 BGR in the sensor's frame, scaled down.

    Returns (pixels, scale, orientation): ``scale`` is shown px per stored px.  The caller draws in
    the sensor's frame and turns the result with `turn_upright`.  Raises PhotoError.
    """
    import cv2

    with _named(path):
        data = _bytes_of(path)
        header = _header(data, path)
        if header["format"] == "HEIF":
            colour = _unturn(header["pixels"], header["orientation"])[..., ::-1]
            stored_width = colour.shape[1]
        else:
            colour = (decode_jpeg(data, "BGR", most_px)[0] if header["format"] in _JPEG
                      else _decode(data, header["format"], colour=True))
            stored_width = header["size"][0]
    scale = min(1.0, most_px / max(colour.shape[:2]))
    if scale < 1:
        colour = cv2.resize(colour, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    return np.ascontiguousarray(colour), colour.shape[1] / stored_width, header["orientation"]


def turn_upright(pixels, orientation):
    """A picture (H, W[, 3]) turned as its EXIF orientation (1..8) asks."""
    turned = {2: lambda p: p[:, ::-1], 3: lambda p: p[::-1, ::-1], 4: lambda p: p[::-1],
              5: lambda p: np.swapaxes(p, 0, 1), 6: lambda p: np.rot90(p, -1),
              7: lambda p: np.swapaxes(p[::-1, ::-1], 0, 1), 8: lambda p: np.rot90(p, 1)}
    return np.ascontiguousarray(turned.get(orientation, lambda p: p)(pixels))


def turn_points(points, width, height, orientation):
    """Points (k, 2) of the sensor's picture (width x height) where `turn_upright` puts them."""
    x, y = np.asarray(points, float).T
    w, h = width - 1, height - 1
    return np.stack({2: (w - x, y), 3: (w - x, h - y), 4: (x, h - y), 5: (y, x), 6: (h - y, x),
                     7: (h - y, w - x), 8: (y, w - x)}.get(orientation, (x, y)), 1)


def sensor_points(points, width, height, orientation):
    """Undo `turn_points`: points (k, 2) of the upright picture in the sensor's (width x height)."""
    upright = (height, width) if orientation >= 5 else (width, height)
    return turn_points(points, *upright, {6: 8, 8: 6}.get(orientation, orientation))


@contextlib.contextmanager
def _named(path):
    """What goes wrong inside is said of this file."""
    try:
        yield
    except PhotoError as error:
        error.where = str(path)
        raise


def _grey(pixels):
    import cv2

    return cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)


def _unturn(pixels, orientation):
    """Undo `turn_upright`."""
    inverse = {6: 8, 8: 6}.get(orientation, orientation)
    return turn_upright(pixels, inverse)


def _bytes_of(path):
    path = Path(path)
    try:
        if path.is_dir():
            raise PhotoError("", "this is a folder, not a picture",
                             "rename it, or put its photos one level up")
        size = os.path.getsize(path)
        if size == 0:
            raise PhotoError("", "the file is empty", "copy it from the phone again")
        if size > MOST_BYTES:
            raise PhotoError("", f"the file is {size / 1e6:.0f} MB, too large for a photo",
                             "use the phone's ordinary photo mode")
        return path.read_bytes()
    except OSError as error:
        raise PhotoError("", f"the file cannot be read ({error.strerror or error})",
                         "check that it exists and may be read") from error


def _header(data, path):
    """Format, size, orientation, EXIF of a picture without decoding its pixels."""
    import warnings

    from PIL import Image

    suffix = Path(path).suffix.lower()
    if data[4:12] in heif.STARTS:
        return _heif_header(data)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            picture = Image.open(io.BytesIO(data))
            size, kind = picture.size, picture.format
        except Image.DecompressionBombError as error:
            raise PhotoError("", "the picture says it has more pixels than this reads",
                             "use the phone's ordinary photo mode (about 12 megapixels)") from error
        except Exception as error:
            hint = "this is not a picture, or it is damaged"
            if suffix in (".dng", ".cr2", ".nef", ".arw"):
                hint = "raw files are not read"
            raise PhotoError("", hint, "take the photo again as JPEG or HEIC, or copy it from the phone"
                             " again") from error
        if kind not in _FORMATS:
            raise PhotoError("", f"a {kind} file is no photo", "use JPEG, PNG or HEIC")
        _check_size(*size)
        try:
            exif = picture.getexif()
            orientation = exif.get(0x0112, 1)
            details = exif.get_ifd(0x8769) or {}
        except Exception:  # damaged EXIF: the pixels are still good
            exif, details, orientation = {}, {}, 1
    return {"format": kind, "size": size,
            "orientation": orientation if orientation in range(1, 9) else 1,
            "camera": _camera(exif, details), "taken": _text(details.get(0x9003, ""))}


def _heif_header(data):
    if not heif.is_whole(data):
        raise PhotoError("", "the photo's end is missing, or it is damaged", "copy it from the phone again")
    try:
        picture = heif_decoder.decode(data, MOST_PIXELS)
    except heif_decoder.HeifError as error:
        raise PhotoError("", "this HEIC file is damaged or of a kind that is not read",
                         "copy it from the phone again, or send it as JPEG") from error
    _check_size(*picture.size)
    exif, details = heif.exif_of(picture.exif)
    return {
        "format": "HEIF", "size": picture.size, "orientation": heif.stored_orientation(data),
        "camera": _camera(exif, details), "taken": _text(details.get(0x9003, "")), "pixels": picture.pixels
    }


def _check_size(width, height):
    if width * height > MOST_PIXELS:
        raise PhotoError("", f"the picture says it is {width} x {height} pixels, more than this reads",
                         "use the phone's ordinary photo mode (about 12 megapixels)")
    if min(width, height) < _LEAST_SIDE_PX:
        raise PhotoError("", f"the picture is only {width} x {height} pixels",
                         "send the original photo, not a preview")


def _decode(data, kind, colour=False):
    """Pixels of what is not JPEG: by Pillow, which stops at damage."""
    import warnings

    from PIL import Image

    try:
        if kind == "PNG" and b"IEND" not in data[-64:]:
            raise ValueError("cut short")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            picture = Image.open(io.BytesIO(data))
            picture.load()
            if picture.mode.startswith("I"):  # 16 bits a pixel
                deep = np.array(picture)
                deep >>= 8  # in place: such a picture may be large
                grey = np.clip(deep, 0, 255).astype(np.uint8)
                return np.repeat(grey[..., None], 3, 2) if colour else grey
            if colour:
                return np.asarray(picture.convert("RGB"))[..., ::-1]
            return np.array(picture.convert("L"))
    except PhotoError:
        raise
    except Exception as error:
        raise PhotoError("", "the picture is damaged", "copy it from the phone again") from error


def decode_jpeg(data, colours="GRAY", least_px=0):
    """(pixels, damaged) of a JPEG, as `calib.images.jpeg.decode`.  Raises PhotoError."""
    try:
        return decode(data, colours, least_px)
    except JpegError as error:
        raise PhotoError("", str(error), "copy it from the phone again") from error


def _text(value):
    if isinstance(value, bytes):
        value = value.decode("ascii", "replace")
    return "".join(c for c in str(value) if c.isprintable()).strip()[:80]


def _number(value):
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if np.isfinite(number) and 0 < number < 1e5 else None


def _camera(exif, details):
    def get(table, tag):
        return table.get(tag) if hasattr(table, "get") else None

    return {"make": _text(get(exif, 0x010F) or ""), "model": _text(get(exif, 0x0110) or ""),
            "lens": _text(get(details, 0xA434) or ""), "focal_mm": _number(get(details, 0x920A)),
            "focal35_mm": _number(get(details, 0xA405)), "zoom": _zoom(_number(get(details, 0xA404)))}


def _zoom(ratio):
    """The digital zoom that a ratio means: within 1 % of a whole number it is that.  Phones write 1.00199 or
    the like where they cut off a few rows."""
    if ratio is None:
        return 1.0
    whole = max(round(ratio), 1)
    return float(whole) if abs(ratio - whole) <= _SAME_ZOOM * whole else ratio
