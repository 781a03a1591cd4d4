"""Writing files whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path


def write_whole(path, data):
    """Write bytes or text so that ``path`` holds the old content or the new, never a part.

    The data go to a temporary file in the same folder, to disk, and are then renamed.
    Raises OSError as the system does; the old file is then untouched.
    """
    path = Path(path)
    if isinstance(data, str):
        data = data.encode()
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name[:40]}.", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(temporary, 0o644)
        os.replace(temporary, path)
    except BaseException:
        try:
            os.unlink(temporary)
        except OSError:
            pass
        raise
