"""HEIC: how the file says that its picture is turned for showing, and whether it is all there.

A HEIC file turns its picture by properties of its own (``irot``, ``imir``; ISO/IEC 23008-12, 6.5.10 and
6.5.12), and the decoder obeys them; EXIF's orientation is a note that need not agree.  To get back to the
sensor's frame the properties themselves count.
"""

from __future__ import annotations

import contextlib
import struct
import warnings

import numpy as np

STARTS = (b"ftypheic", b"ftypheix", b"ftypmif1", b"ftyphevc", b"ftypmsf1", b"ftypheim")
_MOST_BOXES = 10_000


def exif_of(raw):
    """(EXIF, its details) from the decoder's bytes; empty where there is none or it is damaged."""
    from PIL import Image

    if not raw:
        return {}, {}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            exif = Image.Exif()
            exif.load(raw)
            return exif, exif.get_ifd(0x8769) or {}
        except Exception:
            return {}, {}


def is_whole(data):
    """Whether HEIC bytes hold all of the boxes that the picture is made of: a decoder fills in grey for what
    is missing."""
    kinds = set()
    # phones append notes of their own, which need not be boxes
    with contextlib.suppress(struct.error, ValueError):
        kinds.update(kind for kind, _, _ in _boxes(data, 0, len(data)))
    return {b"meta", b"mdat"} <= kinds


def stored_orientation(data):
    """How HEIC bytes turn the stored picture for showing, as EXIF's orientation 1..8; 1 where they do not
    say."""
    try:
        shown = stored = np.arange(6).reshape(2, 3)
        for kind, value in _transforms(data):
            if kind == b"irot":
                shown = np.rot90(shown, value & 3)
            else:
                shown = shown[:, ::-1] if value & 1 else shown[::-1]
    except (struct.error, ValueError, IndexError):
        return 1
    ways = {
        1: stored, 2: stored[:, ::-1], 3: stored[::-1, ::-1], 4: stored[::-1], 5: stored.T,
        6: np.rot90(stored, -1), 7: stored[::-1, ::-1].T, 8: np.rot90(stored)
    }
    return next(k for k, way in ways.items() if np.array_equal(way, shown))


def _transforms(data):
    """(``irot`` or ``imir``, its value) of the main picture, in the order in which they apply."""
    at, end = _found(data, 0, len(data), b"meta")
    meta = at + 4, end
    main = _main_item(data, *meta)
    at, end = _found(data, *meta, b"iprp")
    properties = list(_boxes(data, *_found(data, at, end, b"ipco")))
    out = []
    for number in _properties_of(data, *_found(data, at, end, b"ipma"), main):
        if 0 < number <= len(properties):
            kind, start, _ = properties[number - 1]
            if kind in (b"irot", b"imir"):
                out.append((kind, data[start]))
    return out


def _boxes(data, at, end):
    """(kind, start of the content, end) of the boxes between two places."""
    for _ in range(_MOST_BOXES):
        if at + 8 > end:
            return
        size, kind = struct.unpack_from(">I4s", data, at)
        head = 8
        if size == 1:
            size, head = struct.unpack_from(">Q", data, at + 8)[0], 16
        elif size == 0:
            size = end - at
        if size < head or at + size > end:
            raise ValueError("a box that does not fit")
        yield kind, at + head, at + size
        at += size


def _found(data, at, end, wanted):
    for kind, start, stop in _boxes(data, at, end):
        if kind == wanted:
            return start, stop
    raise ValueError("not there")


def _main_item(data, at, end):
    start, _ = _found(data, at, end, b"pitm")
    return struct.unpack_from(">I" if data[start] else ">H", data, start + 4)[0]


def _properties_of(data, at, end, item):
    """Numbers (from 1) of an item's properties, in their order."""
    version, wide = data[at], data[at + 3] & 1
    count, at = struct.unpack_from(">I", data, at + 4)[0], at + 8
    for _ in range(min(count, _MOST_BOXES)):
        owner = struct.unpack_from(">I" if version else ">H", data, at)[0]
        at += 4 if version else 2
        many, at = data[at], at + 1
        numbers = struct.unpack_from(f">{many}{'H' if wide else 'B'}", data, at)
        at += many * (2 if wide else 1)
        if owner == item:
            return [n & (0x7FFF if wide else 0x7F) for n in numbers]
    return []
