"""python -m tests.kill --times 50 CAR_FOLDER: kill a measuring run at random moments; nothing of the user's changes.

Works on a copy.  After each kill measure.json is absent or whole, the profile loads and every photo is bit-identical.
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
from pathlib import Path

import numpy as np

from calib.profile import load_profiles

_OURS = ("results", "profile.json")


def users_files(root):
    """name -> digest of every file that the program does not write."""
    return {str(p.relative_to(root)): hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(root.rglob("*"))
            if p.is_file() and not any(part in _OURS for part in p.parts) and p.suffix != ".part"}


def command(root, only):
    return [sys.executable, "-m", "photoangle.cli", "measure", str(root), "--no-pictures"] + (["--only", only] if only else [])


def check(root, before):
    """Raises AssertionError or the readers' errors where something is not whole."""
    assert users_files(root) == before, "a file of the user's changed"
    for path in (root / "results").rglob("*.json"):
        json.loads(path.read_text())
    if (root / "lens" / "profile.json").exists():
        load_profiles(root / "lens" / "profile.json")


def main():
    parser = argparse.ArgumentParser(prog="python -m tests.kill")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--times", type=int, default=50)
    parser.add_argument("--only")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder) / "car"
        shutil.copytree(options.folder, root, ignore=shutil.ignore_patterns("results", "*.json", "maker"))
        before, start, quiet = users_files(root), time.perf_counter(), {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        code = subprocess.call(command(root, options.only), **quiet)
        whole = time.perf_counter() - start
        assert code in (0, 1), f"the undisturbed run ended with {code}"
        check(root, before)
        finished = 0
        for _ in range(options.times):
            child = subprocess.Popen(command(root, options.only), **quiet)
            try:
                child.wait(rng.uniform(0, whole))
                finished += 1
            except subprocess.TimeoutExpired:
                child.send_signal(signal.SIGKILL)
                child.wait()
            check(root, before)
        assert subprocess.call(command(root, options.only), **quiet) in (0, 1)
        check(root, before)
    print(f"{options.times} runs of up to {whole:.1f} s: {options.times - finished} killed, {finished} came to their end; all whole")


if __name__ == "__main__":
    main()
