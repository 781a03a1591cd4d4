"""Photos received: streamed to a hidden file, decoded by the guarded reader, and only then given their name.
How long one may take on its way is the server's to say."""

from __future__ import annotations

import contextlib
import hashlib
import os
import secrets
import tempfile
import threading
from pathlib import Path

from calib.images.photo import PhotoError, read_photo
from photoangle.carfile.folder import photo_files
from photoangle.page.names import safe_name

MOST_BYTES, MOST_PHOTOS, MOST_AT_ONCE = 80_000_000, 60, 4
_CHUNK = 1 << 16


class UploadRefused(Exception):
    """An upload that is not taken: status for HTTP, what, do; retry: whether to send it again later."""

    def __init__(self, status, what, do, retry=False):
        super().__init__(what)
        self.status, self.what, self.do, self.retry = status, what, do, retry


class Uploads:
    """Receives photos, a few at a time."""

    def __init__(self):
        self._slots = threading.BoundedSemaphore(MOST_AT_ONCE)
        self._naming = threading.Lock()

    def receive(self, stream, length, folder, name):
        """Take one photo into a folder.

        Parameters: stream: to read from; length: bytes announced; folder: made where absent; name: as the
        sender calls it.
        Returns (path, Photo, whether it is new): a photo that is there already is not kept twice.  Raises
        UploadRefused.
        """
        if not 0 < length <= MOST_BYTES:
            raise UploadRefused(
                413,
                f"the file is {'empty' if not length else f'{length / 1e6:.0f} MB, too large for a photo'}",
                "send an ordinary photo")
        if not self._slots.acquire(blocking=False):
            raise UploadRefused(503,
                          "several photos are coming in already",
                          "it is sent again by itself",
                          retry=True)
        try:
            folder = Path(folder)
            folder.mkdir(parents=True, exist_ok=True)
            return self._take(stream, length, folder, name)
        except OSError as error:
            raise UploadRefused(507, f"the photo cannot be kept ({error.strerror or 'the connection broke'})",
                          "check the disk's free space and the folder's permissions", retry=True) from error
        finally:
            self._slots.release()

    def _take(self, stream, length, folder, name):
        if len(photo_files(folder)) >= MOST_PHOTOS:
            raise UploadRefused(409, f"there are {MOST_PHOTOS} photos here already",
                                "remove some from the folder")
        stem, suffix = safe_name(name)
        handle, temporary = tempfile.mkstemp(dir=folder, prefix=".coming-", suffix=".part")
        try:
            with os.fdopen(handle, "wb") as out:
                digest = _copy(stream, length, out)
                out.flush()
                os.fsync(out.fileno())
            os.chmod(temporary, 0o644)
            try:
                photo = read_photo(temporary)
            except PhotoError as error:
                raise UploadRefused(415, error.what, error.do) from error
            with self._naming:
                twin = _twin(folder, length, digest)
                if twin is not None:
                    return twin, photo, False
                if len(photo_files(folder)) >= MOST_PHOTOS:
                    raise UploadRefused(409, f"there are {MOST_PHOTOS} photos here already",
                                  "remove some from the folder")
                path = folder / (stem + suffix)
                while path.exists():
                    path = folder / f"{stem}_{secrets.token_hex(2)}{suffix}"
                os.rename(temporary, path)
            return path, photo, True
        finally:
            if os.path.exists(temporary):
                os.unlink(temporary)


def _copy(stream, length, out):
    digest, left = hashlib.sha256(), length
    while left:
        part = stream.read(min(_CHUNK, left))
        if not part:
            raise UploadRefused(400,
                                "the photo broke off on its way",
                                "it is sent again by itself",
                                retry=True)
        digest.update(part)
        out.write(part)
        left -= len(part)
    return digest.digest()


def _twin(folder, length, digest):
    """The file of a folder with the same content, or None."""
    for path in photo_files(folder):
        if path.is_file() and path.stat().st_size == length and hashlib.sha256(
                path.read_bytes()).digest() == digest:
            return path
    return None


def sweep(root):
    """Remove what broken uploads left behind (only our own hidden files)."""
    for path in Path(root).glob("**/.coming-*.part"):
        with contextlib.suppress(OSError):
            path.unlink()
