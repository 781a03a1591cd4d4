"""Decodes HEIC in a process of its own: the decoder's library can be brought down by a damaged file, and must
not take us with it.

Run as a script it is that process: it reads requests from standard input and answers on standard output until
that ends.  A request is a JSON line (``bytes``, ``most_pixels``) and the file; an answer is a JSON line
(``size``, ``shape``, ``exif``: lengths, or ``error`` or ``missing``), EXIF's bytes and the pixels.
"""

from __future__ import annotations

import atexit
import contextlib
import json
import subprocess
import sys
import threading
from dataclasses import dataclass

LONGEST_S = 10.0


class HeifError(Exception):
    """HEIC bytes that cannot be decoded."""


@dataclass(frozen=True)
class Heif:
    """size: (width, height) px; pixels (H, W, 3) uint8 RGB, upright, or None where there are more than were
    asked for; exif: bytes."""

    size: tuple
    pixels: object
    exif: bytes


class Decoder:
    """The other process, started when it is needed and again when it has died.  Safe to use from several
    threads."""

    def __init__(self, longest_s=LONGEST_S):
        self._child, self._lock, self._longest_s = None, threading.Lock(), longest_s

    def decode(self, data, most_pixels):
        """Heif of a file's bytes; pictures of more than most_pixels are not decoded.  Raises HeifError, and
        ImportError where the decoder's library is not there."""
        with self._lock:
            child = self._started()
            clock = threading.Timer(self._longest_s, child.kill)
            clock.start()
            try:
                return self._asked(child, data, most_pixels)
            except (OSError, ValueError, KeyError) as error:
                self._end()
                raise HeifError("the decoder gave up") from error
            finally:
                clock.cancel()

    def _started(self):
        if self._child is None or self._child.poll() is not None:
            self._end()
            # -P: the folder of this file is no place to import from
            self._child = subprocess.Popen([sys.executable, "-P", __file__],
                                           stdin=subprocess.PIPE,
                                           stdout=subprocess.PIPE,
                                           stderr=subprocess.DEVNULL)
        return self._child

    @staticmethod
    def _asked(child, data, most_pixels):
        import numpy as np

        child.stdin.write(json.dumps({"bytes": len(data), "most_pixels": most_pixels}).encode() + b"\n")
        child.stdin.write(data)
        child.stdin.flush()
        head = json.loads(child.stdout.readline())
        if "missing" in head:
            raise ImportError(head["missing"])
        if "error" in head:
            raise HeifError(head["error"])
        exif, pixels = child.stdout.read(head["exif"]), None
        if head["shape"]:
            pixels = np.empty(head["shape"], np.uint8)
            room = memoryview(pixels).cast("B")
            while len(room):
                came = child.stdout.readinto(room)
                if not came:
                    raise ValueError("cut short")
                room = room[came:]
        return Heif(tuple(head["size"]), pixels, exif)

    def _end(self):
        if self._child is None:
            return
        self._child.kill()
        for stream in (self._child.stdin, self._child.stdout):
            with contextlib.suppress(OSError):
                stream.close()
        self._child.wait()
        self._child = None

    def close(self):
        """End the other process."""
        with self._lock:
            self._end()


_decoder = Decoder()
atexit.register(_decoder.close)


def decode(data, most_pixels):
    """`Decoder.decode` by the one that this program has."""
    return _decoder.decode(data, most_pixels)


def _answer(data, most_pixels):
    """(head, EXIF's bytes, pixels or None) for one file."""
    import io

    import numpy as np
    import pi_heif

    picture = pi_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=True)
    width, height = picture.size
    exif = bytes(picture.info.get("exif") or b"")
    if width * height > most_pixels:
        return {"size": [width, height], "shape": None, "exif": len(exif)}, exif, None
    array = np.asarray(picture)
    array = array[..., :3] if array.ndim == 3 else np.repeat(array[..., None], 3, 2)
    pixels = np.array(array, np.uint8, order="C")  # a copy: the decoder's memory goes with ``picture``
    return {"size": [width, height], "shape": pixels.shape, "exif": len(exif)}, exif, pixels


def _serve():
    source, out = sys.stdin.buffer, sys.stdout.buffer
    for line in iter(source.readline, b""):
        request = json.loads(line)
        try:
            head, exif, pixels = _answer(source.read(request["bytes"]), request["most_pixels"])
        except ImportError as error:
            head, exif, pixels = {"missing": str(error)}, b"", None
        except Exception as error:
            head, exif, pixels = {"error": str(error)}, b"", None
        out.write(json.dumps(head).encode() + b"\n" + exif)
        if pixels is not None:
            out.write(pixels.data)
        out.flush()


if __name__ == "__main__":
    _serve()
