"""The whole command: wall time as a multiple of decoding the photos, and peak memory, for 6 and 60 photos."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np

from tests.conftest import ROOT, SAMPLES

_CODE = """
import resource, sys, time
start = time.perf_counter()
from click.testing import CliRunner
from photoangle.cli import main
result = CliRunner().invoke(main, ["measure", sys.argv[1], "--json", *sys.argv[2:]])
assert result.exit_code in (0, 1), result.output
print(time.perf_counter() - start, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""


def run(counts=(6, 60)):
    """Print the table."""
    originals = sorted((SAMPLES / "front-left" / "set").glob("*.jpg")) + sorted(
        (SAMPLES / "front-left" / "fitted").glob("*.jpg"))[:2]
    cv2.setNumThreads(1)
    data = [np.frombuffer(p.read_bytes(), np.uint8) for p in originals]
    start = time.perf_counter()
    for d in data:
        cv2.imdecode(d, cv2.IMREAD_GRAYSCALE)
    decode = (time.perf_counter() - start) / len(data)
    with tempfile.TemporaryDirectory() as name:
        root = Path(name)
        (root / "lens").mkdir()
        for photo in sorted((SAMPLES / "lens").glob("*.jpg")):
            (root / "lens" / photo.name).write_bytes(photo.read_bytes())
        (root / "car.toml").write_bytes((SAMPLES / "car.toml").read_bytes())
        subprocess.run([sys.executable, "-m", "photoangle.cli", "lens", str(root)], cwd=ROOT, check=True,
                       capture_output=True)
        folder = root / "front-left" / "set"
        folder.mkdir(parents=True)
        base = originals[:4]
        for count in counts:
            for k in range(count):
                (folder / f"p{k:03d}.jpg").write_bytes(base[k % 4].read_bytes())
            for options in (["--no-pictures"], []):
                done = subprocess.run([sys.executable, "-c", _CODE, str(root), *options], cwd=ROOT, check=True,
                                      capture_output=True, text=True)
                wall, peak = map(float, done.stdout.split()[-2:])
                what = "with annotated pictures" if not options else "figures only"
                print(f"{count:3d} photos, {what:24s}: {wall:6.1f} s, {wall / count / decode:5.1f} decodes a photo,"
                      f" peak {peak:.0f} MB")
