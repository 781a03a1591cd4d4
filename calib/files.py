"""Writing files whole or not at all; reading small ones without waiting for what never comes."""

from __future__ import annotations

import contextlib
import errno
import glob
import hashlib
import os
import stat
import tempfile
import time
from pathlib import Path

_MOST_LINE = 1000
_ABANDONED_S = 3600  # no write takes as long


def fingerprint(path):
    """First 12 hexadecimal digits of a file's SHA-256."""
    return file_digest(path)[:12]


def file_digest(path):
    """SHA-256 of an ordinary file's bytes, 64 hexadecimal digits.  Raises OSError as the system does, and for
    what is no ordinary file."""
    digest = hashlib.sha256()
    with _ordinary(path) as stream:
        for block in iter(lambda: stream.read(1 << 20), b""):
            digest.update(block)
    return digest.hexdigest()


@contextlib.contextmanager
def _ordinary(path):
    """An ordinary file open for reading; a pipe would be waited for without end."""
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    with os.fdopen(handle, "rb") as stream:
        if not stat.S_ISREG(os.fstat(stream.fileno()).st_mode):
            raise OSError(errno.EINVAL, "it is no ordinary file", str(path))
        yield stream


def read_small(path, most_bytes):
    """The bytes of an ordinary file.

    Raises OSError as the system does, and for what is no ordinary file (a pipe would be waited for without
    end) or larger than ``most_bytes``.
    """
    with _ordinary(path) as stream:
        if os.fstat(stream.fileno()).st_size > most_bytes:
            raise OSError(errno.EFBIG, "it is far too long for such a file", str(path))
        return stream.read()


def toml_text(path, most_bytes=1_000_000):
    """The text of a small TOML file, for a parser.

    Raises OSError as `read_small`, UnicodeDecodeError, and ValueError for a line of absurd length: a key of
    thousands of parts keeps a parser busy for hours.
    """
    text = read_small(path, most_bytes).decode("utf-8-sig")  # some editors put a byte-order mark in front
    for number, line in enumerate(text.split("\n"), 1):
        if len(line) > _MOST_LINE:
            raise ValueError(f"line {number} has more than {_MOST_LINE} characters")
    return text


def write_whole(path, data):
    """Write bytes or text so that ``path`` holds the old content or the new, never a part.

    The data go to a temporary file in the same folder, to disk, and are then renamed.
    Raises OSError as the system does, naming ``path``; the old file is then untouched.
    """
    path = Path(path)
    if isinstance(data, str):
        data = data.encode()
    try:
        _write(path, data)
    except OSError as error:
        raise OSError(error.errno, error.strerror, str(path)) from error


def _write(path, data):
    handle, temporary = tempfile.mkstemp(dir=path.parent,
                                         prefix=f".{path.name[:40]}.{os.getpid()}.",
                                         suffix=".part")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(temporary, 0o644)
        os.replace(temporary, path)
        _clear_left_over(path)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(temporary)
        raise


def _clear_left_over(path):
    """Remove temporary files of ``path`` whose writer died: the process in the name is gone, or they are an
    hour old."""
    for part in path.parent.glob(f".{glob.escape(path.name[:40])}.*.part"):
        try:
            if not _alive(int(part.name.split(".")[-3])) or time.time() - part.stat().st_mtime > _ABANDONED_S:
                part.unlink()
        except (OSError, ValueError, IndexError):
            continue


def _alive(process):
    if os.name != "posix":
        return True  # there, asking is not harmless
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True
