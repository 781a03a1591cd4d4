"""The whole command: wall time as a multiple of decoding the photos, and peak memory, for 6 and 60 photos."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np

from tests.conftest import ROOT, SAMPLES, SHARED
from tests.test_rendered_corner import NOTES

_CODE = """
import pathlib, resource, sys, time
start = time.perf_counter()
from click.testing import CliRunner
from photoangle.cli import main
result = CliRunner().invoke(main, ["measure", sys.argv[1], "--json", *sys.argv[2:]])
assert result.exit_code in (0, 1), result.output
# what resource tells begins with the size of the process that started this one
status = pathlib.Path("/proc/self/status")
peak = ([int(line.split()[1]) for line in status.read_text().splitlines() if line.startswith("VmHWM")][0] if status.exists()
        else resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
print(time.perf_counter() - start, peak / 1024)
"""


def _sets():
    """(title, photos of a state, lens photos, car.toml) of the demo car and, where it is there, of the 12 MP
    corner."""
    yield "8.7 MP", sorted(
        (SAMPLES / "front-left" / "set").glob("*.jpg")), SAMPLES / "lens", (SAMPLES / "car.toml").read_text()
    outside = SHARED / "rendered_corner"
    if outside.is_dir():
        yield "12.2 MP", sorted(
            (outside / "droop" /
             "photos").glob("*.jpg"))[:4], outside / "lens" / "photos", NOTES.format(standoffs="")


def run(counts=(6, 60)):
    """Print the table."""
    cv2.setNumThreads(1)
    for title, photos, lens, notes in _sets():
        data = [np.frombuffer(p.read_bytes(), np.uint8) for p in photos]
        start = time.perf_counter()
        for d in data:
            cv2.imdecode(d, cv2.IMREAD_GRAYSCALE)
        decode = (time.perf_counter() - start) / len(data)
        with tempfile.TemporaryDirectory() as name:
            _table(Path(name), title, [d.tobytes() for d in data], lens, notes, decode, counts)


def _table(root, title, photos, lens, notes, decode, counts):
    (root / "lens").mkdir()
    for photo in sorted(lens.glob("*.jpg")):
        (root / "lens" / photo.name).write_bytes(photo.read_bytes())
    (root / "car.toml").write_text(notes)
    subprocess.run([sys.executable, "-m", "photoangle.cli", "lens",
                    str(root)],
                   cwd=ROOT,
                   check=True,
                   capture_output=True)
    folder = root / "front-left" / "set"
    folder.mkdir(parents=True)
    for count in counts:
        for k in range(count):
            # the end of a JPEG may be followed by anything: no two photos are one and the same
            (folder / f"p{k:03d}.jpg").write_bytes(photos[k % len(photos)] + k.to_bytes(2, "big"))
        for options in (["--no-pictures"], []):
            done = subprocess.run([sys.executable, "-c", _CODE, str(root), *options], cwd=ROOT, check=True,
                                  capture_output=True, text=True)
            wall, peak = map(float, done.stdout.split()[-2:])
            what = "with annotated pictures" if not options else "figures only"
            print(
                f"{title:7s} {count:3d} photos, {what:24s}: {wall:6.1f} s, {wall / count / decode:5.1f}"
                f" decodes a photo,"
                f" peak {peak:.0f} MB",
                flush=True,
            )
