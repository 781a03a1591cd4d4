"""python -m tests.kill --times 50 CAR_FOLDER: kill a measuring run at random moments; nothing of the user's
changes.

Works on a copy of a folder like sample_images.  After each kill measure.json is the old one or the new, byte
for byte, the profile loads and every photo is bit-identical.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import numpy as np

from calib.profile import load_profiles

_OURS = ("results", "profile.json")


def users_files(root):
    """name -> digest of every file that the program does not write."""
    return {
        str(p.relative_to(root)): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(root.rglob("*"))
        if p.is_file() and not any(part in _OURS for part in p.parts) and p.suffix != ".part"
    }


def command(root, only):
    return [sys.executable, "-m", "photoangle.cli", "measure",
            str(root), "--no-pictures"] + (["--only", only] if only else [])


def check(root, before, results):
    """Which of ``results`` (name -> bytes) measure.json holds.

    Raises AssertionError or the readers' errors where something is not whole.
    """
    assert users_files(root) == before, "a file of the user's changed"
    for path in (root / "results").rglob("*.json"):
        json.loads(path.read_text())
    if (root / "lens" / "profile.json").exists():
        load_profiles(root / "lens" / "profile.json")
    found = (root / "results" / "measure.json").read_bytes()
    assert found in results.values(), "measure.json is neither the old one nor the new"
    return next(name for name, content in results.items() if content == found)


def put(root, notes):
    """Write car.toml, and let the lens be learnt again."""
    (root / "car.toml").write_text(notes)
    (root / "lens" / "profile.json").unlink(missing_ok=True)


def main():
    parser = argparse.ArgumentParser(prog="python -m tests.kill")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--times", type=int, default=50)
    parser.add_argument("--only")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    rng, quiet = np.random.default_rng(
        options.seed), {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder) / "car"
        shutil.copytree(options.folder, root, ignore=shutil.ignore_patterns("results", "*.json", "maker"))
        one = (root / "car.toml").read_text()
        # two sets of notes, whose results differ, take turns: old and new can be told apart
        notes = {"one": one, "other": one.replace('tape_class = "II"', 'tape_class = "III"')}
        before, results, seconds = {}, {}, {}
        for name, text in notes.items():
            put(root, text)
            start = time.perf_counter()
            code = subprocess.call(command(root, options.only), **quiet)
            seconds[name] = time.perf_counter() - start
            assert code in (0, 1), f"the undisturbed run ended with {code}"
            before[name], results[name] = users_files(root), (root / "results" / "measure.json").read_bytes()
        assert results["one"] != results[
            "other"], "the two sets of notes give the same results: nothing can be told"
        holds, counts = "other", Counter()
        for turn in range(options.times):
            name = ("one", "other")[turn % 2]
            put(root, notes[name])
            child = subprocess.Popen(command(root, options.only), **quiet)
            try:
                # half of them near the end, where the results are written
                child.wait(
                    min(seconds.values()) * (rng.uniform(0.9, 1.02) if turn % 4 > 1 else rng.uniform(0, 1)))
                counts["came to their end"] += 1
            except subprocess.TimeoutExpired:
                child.send_signal(signal.SIGKILL)
                child.wait()
                counts["killed"] += 1
            now = check(root, before[name], results)
            assert now in (name, holds)
            counts["new results" if now == name else "old results"] += 1
            holds = now
        put(root, notes["one"])
        assert subprocess.call(command(root, options.only), **quiet) in (0, 1)
        assert check(root, before["one"], results) == "one"
    print(f"{options.times} runs of about {min(seconds.values()):.1f} s: " +
          ", ".join(f"{v} {k}"
                    for k, v in sorted(counts.items())) + "; all whole, the user's files bit-identical")


if __name__ == "__main__":
    main()
