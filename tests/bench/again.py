"""The demo car measured with one job and with all cores, and every other command after it, as shares of the
first: CPU and wall time of whole processes."""

import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from calib.running.side_by_side import cores
from tests.conftest import SAMPLES

_PARTS = ("lens", "front-left", "front-right")


def run():
    with tempfile.TemporaryDirectory() as folder:
        first = None
        for jobs in dict.fromkeys((1, cores())):
            car = Path(folder) / f"car{jobs}"
            for part in _PARTS:
                shutil.copytree(SAMPLES / part, car / part)
            shutil.copyfile(SAMPLES / "car.toml", car / "car.toml")
            cpu, wall = _timed("measure", car, "--no-pictures", "--jobs", str(jobs))
            first = first or (cpu, wall)
            print(f"measure, {jobs} job{'s' if jobs > 1 else ''}: CPU {cpu:.1f} s, wall {wall:.1f} s; of the"
                  f" first {cpu / first[0]:.2f}, {wall / first[1]:.2f}")
        for command in (("measure", car), ("link", car), ("link", car), ("next", car), ("history", car),
                        ("compare", car / "front-left" / "set", car / "front-left" / "fitted")):
            quiet = () if command[0] == "history" else ("--no-pictures",)
            cpu, wall = _timed(*command, *quiet)
            print(f"then {command[0]:8s} CPU {cpu:5.2f} s, wall {wall:5.2f} s; of the first {cpu / first[0]:.2f},"
                  f" {wall / first[1]:.2f}")
        cpu, wall = _timed("report", car)
        print(f"then report, drawings and pictures: CPU {cpu:.2f} s, wall {wall:.2f} s")


def _timed(*arguments):
    """(CPU, wall) seconds of a command in a process of its own."""
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    done = subprocess.run([sys.executable, "-m", "photoangle", *map(str, arguments)], capture_output=True,
                          text=True,
                          env={k: v for k, v in os.environ.items() if k != "PHOTOANGLE_JOBS"})
    assert done.returncode in (0, 1), done.stderr
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime, time.perf_counter() - start
