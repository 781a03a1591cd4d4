"""python -m tests.twice CAR_FOLDER: the same folder measured again, by two at once, with two threads, under
other names.

Works on copies.  measure.json must be byte for byte the same; under other photo names the figures must be.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

from calib.images.photo import SUFFIXES
from calib.profile import load_profiles
from tests.kill import command, users_files

_THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")


def copied(source, target):
    """A copy of a car folder's notes and photos, without anything that the program writes."""
    shutil.copytree(source, target, ignore=shutil.ignore_patterns("results", "*.json", "maker"))
    return target


def started(root, only, threads="1"):
    """A measuring run in a process of its own."""
    return subprocess.Popen(command(root, only), stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
                            env=os.environ | dict.fromkeys(_THREADS, threads))


def ended(child):
    """Wait for a run.  Raises AssertionError where it did not end well."""
    _, errors = child.communicate()
    assert child.returncode in (0, 1), errors


def measured(root):
    """Bytes of measure.json; the history's records must be readable too."""
    for path in sorted((root / "results" / "history").glob("*.json")):
        assert json.loads(path.read_text())["figures"]
    assert not list(root.rglob("*.part")), "a temporary file was left behind"
    return (root / "results" / "measure.json").read_bytes()


def renamed(root, rng):
    """Give the photos of every folder each other's names."""
    for folder in sorted({p.parent for p in root.rglob("*") if p.suffix.lower() in SUFFIXES}):
        photos = sorted(p for p in folder.iterdir() if p.suffix.lower() in SUFFIXES)
        names = [p.name for p in photos]
        for p in photos:
            p.rename(p.with_name("moving_" + p.name))
        for p, k in zip(photos, rng.permutation(len(photos)), strict=False):
            p.with_name("moving_" + p.name).rename(folder / names[k])


def two_at_once(source, target, only=None):
    """Two runs at the same moment in one folder, lens and all.  Returns measure.json's bytes."""
    root = copied(source, target)
    before = users_files(root)
    both = [started(root, only) for _ in range(2)]
    for child in both:
        ended(child)
    assert users_files(root) == before, "a file of the user's changed"
    for path in root.glob("lens/profile.json"):
        assert load_profiles(path)
    return measured(root)


def alone(source, target, only=None, threads="1", rng=None):
    """One run in a fresh copy; rng: shuffle the photos' names first.  Returns measure.json's bytes."""
    root = copied(source, target)
    if rng is not None:
        renamed(root, rng)
    ended(started(root, only, threads))
    return measured(root)


def main():
    parser = argparse.ArgumentParser(prog="python -m tests.twice")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--only")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        root, wrong = Path(folder), 0
        first = alone(options.folder, root / "first", options.only)
        figures = json.loads(first)["figures"]
        rng = np.random.default_rng(options.seed)
        for name, same in (
            ("again", lambda t: alone(options.folder, t, options.only) == first),
            ("two threads", lambda t: alone(options.folder, t, options.only, "2") == first),
            ("two at once", lambda t: two_at_once(options.folder, t, options.only) == first),
            ("other names",
             lambda t: json.loads(alone(options.folder, t, options.only, rng=rng))["figures"] == figures)):
            good = same(root / name.replace(" ", "_"))
            wrong += not good
            print(f"{name}: {'the same' if good else 'NOT THE SAME'}", flush=True)
    print(f"{len(figures)} figures")
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
