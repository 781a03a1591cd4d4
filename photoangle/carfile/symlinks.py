"""A car folder from a stranger can do nothing but be measured: no link in it is followed, no folder in it
stops the others."""

from __future__ import annotations

import os
from pathlib import Path

from photoangle.core.findings import ATTENTION, UNUSABLE, Finding
from photoangle.core.states import CORNERS

# What is read or written by name: a link in its place would lead out of the folder.
_FIXED = ("car.toml", "lens", "lens/profile.json", "results", "results/history", "corrections.json", *CORNERS)


def fixed_link(root):
    """A Finding where something that is read or written by name is a link, else None."""
    name = next((n for n in _FIXED if (Path(root) / n).is_symlink()), None) or _linked_results(root)
    if name is None:
        return None
    return Finding(UNUSABLE, name, "it is a link, and links in a car folder are not followed",
                   "put the file or folder itself there")


def _linked_results(root):
    """The first folder below ``results`` that is a link: what is written there would go elsewhere."""
    for folder, names, _ in os.walk(Path(root) / "results"):
        for name in sorted(names):
            path = Path(folder) / name
            if path.is_symlink():
                return str(path.relative_to(root))
    return None


def skipped_links(root):
    """Findings for links among corners, states and photos: they are left alone."""
    out = []
    for corner in CORNERS:
        base = Path(root) / corner
        for path in sorted(base.rglob("*")) if base.is_dir() and not base.is_symlink() else ():
            if path.is_symlink():
                out.append(Finding(ATTENTION, str(path.relative_to(root)), "it is a link and was left alone",
                                   "copy the photo itself into the folder"))
    return out[:50]


def _open(folder):
    try:
        os.scandir(folder).close()
    except OSError:
        return False
    return True


def readable_folders(base):
    """The folders in a corner's folder that are no links and may be looked into, by name."""
    if not _open(base):
        return []
    return sorted(p for p in base.iterdir() if p.is_dir() and not p.is_symlink() and _open(p))


def shut_folders(root):
    """Findings for corners and states that may not be looked into."""
    out = []
    for base in (Path(root) / c for c in CORNERS):
        if not base.is_dir():
            continue
        shut = [p for p in sorted(base.iterdir()) if p.is_dir() and not _open(p)] if _open(base) else [base]
        out += [
            Finding(ATTENTION, str(p.relative_to(root)),
                    "this folder may not be looked into, and was left out",
                    "give yourself the right to read it, or copy the photos anew") for p in shut
        ]
    return out
