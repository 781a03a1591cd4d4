"""python -m tests.many --photos 1000 --markers 500: very many photos and markers; nothing hangs, memory stays
bounded.

Three runs: that many photos of a small scene with a kit of that many markers; a fifth as many photos of the
card for the lens; and a few photos of a wall that shows all the markers at once.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np

from calib.poses import Pose
from tests.scenes import FAMILY, Camera, facing, look_at, shoot, tag_flat
from tests.small_scene import HEIGHT, LENS, WIDTH, small_scene

MOST_MB, MOST_S_A_PHOTO, FIRST_ID = 450, 3.0, 60
_ROLES = {100: "bar_bush", 101: "bar_eye", 102: "link_foot"}


def kit_text(markers):
    """A kit file with so many markers, three of them with a role."""
    text = f'family = "{FAMILY}"\nsize = "30 mm"\n[card]\ncolumns = 9\nrows = 6\nsquare = "28 mm"\ntag = "20 mm"\n'
    for i in range(FIRST_ID, FIRST_ID + markers):
        text += f"[[marker]]\nid = {i}\n" + (f'role = "{_ROLES[i]}"\n' if i in _ROLES else "")
    return text


def copies(folder, pictures, count, rng):
    """Write so many JPEGs of a few pictures, each with a noise of its own."""
    folder.mkdir(parents=True)
    for k in range(count):
        picture = pictures[k % len(pictures)]
        noise = rng.integers(-2, 3, picture.shape, np.int16)
        cv2.imwrite(str(folder / f"IMG_{k:04d}.jpg"),
                    np.clip(picture + noise, 0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 92])


def wall(markers, count, rng):
    """Pictures of a wall with so many markers, 30 mm each."""
    side = int(np.ceil(np.sqrt(markers * 4 / 3)))
    poses = [Pose(facing([rng.uniform(-0.1, 0.1), -1, rng.uniform(-0.1, 0.1)]),
                  np.array([42.0 * (k % side) - 21 * side, 0, 42.0 * (k // side)])) for k in range(markers)]
    middle = np.array([0, 0, 21.0 * markers / side])
    out = []
    for angle in np.linspace(-0.3, 0.3, count):
        view = look_at(middle + 1300 * np.array([np.sin(angle), -np.cos(angle), 0.2 * np.cos(9 * angle)]),
                       middle)
        flats = [tag_flat(FIRST_ID + k, 30.0, p) for k, p in enumerate(poses)]
        out.append(shoot(flats, view, LENS, WIDTH, HEIGHT, Camera("srgb"), rng, 2))
    return out


# The peak since the program began; what wait4 reports would hold this process's own as well.
_WATCHED = """
import atexit, sys
def peak():
    line = next(line for line in open("/proc/self/status") if line.startswith("VmHWM"))
    print("peak", int(line.split()[1]) // 1024, file=sys.stderr)
atexit.register(peak)
from photoangle.cli import main
main()
"""


def ran(*arguments):
    """(exit code, standard output, error stream, seconds, peak MB) of a command in a process of its own."""
    start = time.perf_counter()
    done = subprocess.run([sys.executable, "-c", _WATCHED, *map(str, arguments)],
                          capture_output=True,
                          text=True)
    words, _, peak = done.stderr.rstrip().rpartition("peak ")
    return done.returncode, done.stdout, words, time.perf_counter() - start, float(peak)


def told(name, photos, outcome):
    """Print a run's figures; returns complaints."""
    code, _text, errors, spent, peak = outcome
    print(f"{name}: exit code {code}, {spent:.0f} s ({spent / photos:.2f} s a photo), peak {peak:.0f} MB",
          flush=True)
    wrong = []
    if code not in (0, 1) or "Traceback" in errors:
        wrong.append(f"{name}: {errors[-500:]}")
    if peak > MOST_MB:
        wrong.append(f"{name}: {peak:.0f} MB")
    if spent > 60 + MOST_S_A_PHOTO * photos:
        wrong.append(f"{name}: {spent:.0f} s")
    return wrong


def main():
    parser = argparse.ArgumentParser(prog="python -m tests.many")
    parser.add_argument("--photos", type=int, default=1000)
    parser.add_argument("--markers", type=int, default=500)
    options = parser.parse_args()
    rng, wrong = np.random.default_rng(1), []
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        pictures, _, _ = small_scene(3, count=12)
        for name in ("many", "wall"):
            (root / name).mkdir()
            (root / name / "kit.toml").write_text(kit_text(options.markers))
            (root / name / "car.toml").write_text('[car]\nkit = "kit.toml"\n[level]\nby = "none"\n')
        copies(root / "many" / "front-left" / "droop", pictures, options.photos, rng)
        copies(root / "many" / "lens", pictures, options.photos // 5, rng)
        copies(root / "wall" / "front-left" / "droop", wall(options.markers, 8, rng), 8, rng)
        wrong += told("lens", options.photos // 5, ran("lens", root / "many"))
        for name, photos in (("many", options.photos), ("wall", 8)):
            outcome = ran("measure", root / name, "--json", "--no-pictures")
            wrong += told(name, photos, outcome)
            content = json.loads(outcome[1]) if outcome[1] else {"figures": [], "findings": []}
            print("  " + ", ".join(f"{f['name']} {f['value']:.2f} +- {1.96 * f['u']:.2f}"
                                   for f in content["figures"]))
            for f in content["findings"][:6]:
                print(f"  {f['level']}: {f['where']}: {f['what']}; {f['do']}")
            print(f"  {len(content['findings'])} findings")
    for line in wrong:
        print("WRONG", line)
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
