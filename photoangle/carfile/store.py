"""What was worked out, kept in a folder so that the next command need not work it out again.

An entry is found by a digest of all that it was made from, holds a digest of itself, and is made anew where
either does not fit: a cut, changed or foreign file is no entry.  What is read back is data alone: nothing but
this project's dataclasses and NumPy's arrays can come out of it, whoever wrote it.  The folder may be
deleted, and moved or copied with the car folder that it lies in.
"""

from __future__ import annotations

import contextlib
import functools
import hashlib
import importlib
import io
import os
import pickle
from collections import deque
from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import fields, is_dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np

from calib.files import read_small, write_whole
from calib.kit import Kit
from photoangle import __version__

_MAGIC = b"photoangle kept 1\n"
_MOST_BYTES = 150_000_000
_MOST_ENTRIES = 400
_PACKAGES = ("photoangle", "calib")
# What arrays, and slices of them, are pickled by, and what is data without being a dataclass.
_PLAIN = {("builtins", "slice"), ("builtins", "set"), ("builtins", "frozenset"), ("numpy", "dtype"),
          ("numpy", "ndarray"), ("numpy._core.multiarray", "_reconstruct"),
          ("numpy._core.multiarray", "scalar"), ("numpy._core.numeric", "_frombuffer"),
          ("calib.bundle", "Bundle"), ("photoangle.linkage.motion.model", "Model"),
          ("photoangle.figures.measurands", "row_of")}


class Store:
    """Entries in ``folder``, of a car folder ``root``: paths in them are kept relative to it."""

    def __init__(self, folder: str | os.PathLike[str], root: str | os.PathLike[str]):
        self.folder = Path(folder)
        # what stands for the root in names and texts; one that is not absolute could stand for anything
        both = ("resolved", Path(root).resolve()), ("given", Path(root))
        self._roots = [(name, path) for name, path in both if path.is_absolute()]
        self._beside = "" if Path(root).is_absolute() else os.fspath(root)

    def key(self, kind: str, *made_from: Any) -> str:
        """The key of an entry: kind, the program, and all that it is made from (plain data, dataclasses,
        arrays)."""
        digest = hashlib.sha256(f"{kind} {_program()} {self._beside}\n".encode())
        for word in _words(made_from):
            digest.update(word)
        return f"{kind}-{digest.hexdigest()[:40]}"

    def get(self, key: str) -> Any:
        """What was kept under a key, or None."""
        path = self.folder / f"{key}.kept"
        try:
            data = read_small(path, _MOST_BYTES)
            with contextlib.suppress(OSError):
                os.utime(path)  # used last, thrown away last
            head, payload = data[:len(_MAGIC) + 32], memoryview(data)[len(_MAGIC) + 32:]
            if head != _MAGIC + _digest(key, payload):
                return None
            return _Reader(io.BytesIO(payload), dict(self._roots)).load()
        except Exception:  # whatever is wrong with it, it is no entry
            return None

    def put(self, key: str, value: Any) -> None:
        """Keep a value; where it cannot be kept, nothing happens: it is worked out again next time."""
        payload = self._written(value)
        with contextlib.suppress(OSError):
            self.folder.mkdir(parents=True, exist_ok=True)
            write_whole(self.folder / f"{key}.kept", _MAGIC + _digest(key, payload) + payload)
            self._within_bounds()

    def _written(self, value: Any) -> bytes:
        out = io.BytesIO()
        _Writer(out, self._roots).dump(value)
        return out.getvalue()

    def _within_bounds(self) -> None:
        """Throw away what was used longest ago until the rest is within bounds."""
        entries = []
        for path in self.folder.glob("*.kept"):
            with contextlib.suppress(OSError):
                status = path.stat()
                entries.append((status.st_mtime_ns, status.st_size, path))
        entries.sort(key=lambda e: e[:2], reverse=True)
        total = 0
        for n, (_, size, path) in enumerate(entries):
            total += size
            if total > _MOST_BYTES or n >= _MOST_ENTRIES:
                with contextlib.suppress(OSError):
                    path.unlink()


class _Writer(pickle.Pickler):
    """A pickler that names the root instead of writing it."""

    def __init__(self, out: io.BytesIO, roots: list[tuple[str, Path]]):
        super().__init__(out, protocol=5)
        self._roots = [(name, str(path), path) for name, path in roots]

    def persistent_id(self, obj: Any) -> tuple[str, str, str] | None:
        if isinstance(obj, str):
            for name, text, _ in self._roots:
                # as the folder itself, or followed by what is inside it or belongs to it
                if obj.startswith(text) and obj[len(text):len(text) + 1] in ("", os.sep, " "):
                    return name, "text", obj[len(text):]
        elif isinstance(obj, Path):
            for name, _, root in self._roots:
                if obj.is_relative_to(root):
                    return name, "path", str(obj.relative_to(root))
            return "", "path", str(obj)
        return None


class _Reader(pickle.Unpickler):
    """An unpickler that makes nothing but this project's data and arrays."""

    def __init__(self, stream: io.BytesIO, roots: dict[str, Path]):
        super().__init__(stream)
        self._roots = roots

    def persistent_load(self, pid: tuple[str, str, str]) -> Path | str:
        name, kind, rest = pid
        if kind == "path":
            return self._roots[name] / rest if name else Path(rest)
        return str(self._roots[name]) + rest

    def find_class(self, module: str, name: str) -> Any:
        if (module, name) in _PLAIN:
            return super().find_class(module, name)
        parts = module.split(".")
        if parts[0] in _PACKAGES and all(p.isidentifier() and not p.startswith("_") for p in parts):
            found = getattr(importlib.import_module(module), name, None)
            if isinstance(found, type) and found.__module__ == module and _only_data(found):
                return found
        raise pickle.UnpicklingError(f"{module}.{name} is not kept")


# The newest kits, each with its digest.
_told: deque[tuple[Kit, bytes]] = deque(maxlen=4)


def _of_kit(kit: Kit) -> bytes:
    """A digest of a Kit's words, which are many and asked for at every photo; no kit changes once made."""
    for known, told in tuple(_told):
        if known is kit:
            return told
    digest = hashlib.sha256()
    for field in fields(kit):
        for word in _words(getattr(kit, field.name)):
            digest.update(word)
    _told.append((kit, digest.digest()))
    return digest.digest()


def _words(thing: Any) -> Iterator[bytes]:
    """What a thing says, the same for things that are equal: plain data, dataclasses, paths and arrays.

    Raises TypeError for anything else, rather than leave out what may count.
    """
    if thing is None or isinstance(thing, bool | int | float | str | np.generic):
        yield f"{type(thing).__name__} {thing!r}\n".encode()
    elif isinstance(thing, Path):
        yield f"path {thing}\n".encode()
    elif isinstance(thing, np.ndarray):
        yield f"array {thing.dtype} {thing.shape}\n".encode() + thing.tobytes()
    elif isinstance(thing, Mapping):
        yield f"mapping {len(thing)}\n".encode()
        for item in thing.items():
            yield from _words(item)
    elif isinstance(thing, Sequence | Set):
        yield f"{len(thing)}\n".encode()
        for item in sorted(thing) if isinstance(thing, Set) else thing:
            yield from _words(item)
    elif isinstance(thing, Kit):
        yield b"kit " + _of_kit(thing)
    elif is_dataclass(thing):
        yield f"{type(thing).__qualname__}\n".encode()
        for field in fields(thing):
            yield from _words(getattr(thing, field.name))
    else:
        raise TypeError(f"{type(thing).__name__} is not what an entry is made from")


def _only_data(kind: type) -> bool:
    return is_dataclass(kind) or issubclass(kind, tuple)


def _digest(key: str, payload: bytes | memoryview) -> bytes:
    digest = hashlib.sha256(key.encode())
    digest.update(payload)
    return digest.digest()


@functools.cache
def _program() -> str:
    """The program that made an entry: its own text, and the libraries that numbers hang on."""
    digest = hashlib.sha256(__version__.encode())
    here = Path(__file__).resolve().parents[2]
    for package in _PACKAGES:
        for path in sorted((here / package).rglob("*.py")):
            digest.update(path.read_bytes())
    for name in ("numpy", "scipy", "opencv-python", "scikit-image"):
        digest.update(f"{name} {version(name)}".encode())
    return digest.hexdigest()
