"""JPEG data to pixels, strictly: damage that a decoder would pass over is noticed.

simplejpeg (libjpeg-turbo) is asked to treat every warning as an error; only then Pillow, which puts up with
more, is asked for what there is.  Neither prints anything.
"""

from __future__ import annotations

import io
import re
import warnings

import numpy as np

# A camera writes one scan, or some ten where it is progressive; each costs time over the whole picture,
# however little it says.
_MOST_SCANS = 100
_MARKER = re.compile(rb"\xff+([^\x00\xff\xd0-\xd7])")


class JpegError(Exception):
    """JPEG data that cannot be decoded; the message says why."""


def decode(data, colours="GRAY", least_px=0):
    """Pixels of a JPEG.

    Parameters: data: bytes; colours: "GRAY" or "BGR"; least_px: the picture may be decoded at a smaller
    scale, its longer side no shorter than this (0: full size).
    Returns (pixels (H, W) or (H, W, 3) uint8, damaged: whether the data are not all sound).  Raises
    JpegError.
    """
    import simplejpeg

    if b"\xff\xd9" not in data[len(data) // 2:]:
        raise JpegError("the photo's end is missing")
    if scans(data) > _MOST_SCANS:
        raise JpegError("the picture is stored in more passes than a camera's")
    options = {}
    if least_px:
        height, width, _, _ = _header(data)
        options = {"min_width": least_px} if width >= height else {"min_height": least_px}
    try:
        pixels, damaged = simplejpeg.decode_jpeg(data, colours, strict=True, **options), False
    except (ValueError, MemoryError, KeyError):  # KeyError: a colour space it has no name for
        pixels, damaged = _leniently(data, colours), True
    return (pixels[..., 0] if colours == "GRAY" and pixels.ndim == 3 else pixels), damaged


def scans(data):
    """How many scans the first picture in JPEG data has, counted up to one more than are read."""
    at, count = 2, 0
    while count <= _MOST_SCANS:
        found = _MARKER.search(data, at)
        if found is None or found[1] == b"\xd9":
            break
        at = found.end()
        if found[1] not in (b"\xd8", b"\x01"):
            count += found[1] == b"\xda"
            at += max(2, int.from_bytes(data[at:at + 2], "big"))  # over the segment, or a scan's head
    return count


def _header(data):
    import simplejpeg

    try:
        return simplejpeg.decode_jpeg_header(data, strict=False)
    except (ValueError, KeyError):
        return 0, 0, "", ""


def _leniently(data, colours):
    from PIL import Image

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            picture = Image.open(io.BytesIO(data))
            picture.load()
            pixels = np.asarray(picture.convert("L" if colours == "GRAY" else "RGB"))
    except Exception as error:
        raise JpegError("the picture is damaged") from error
    return pixels if colours == "GRAY" else pixels[..., ::-1]
