"""Do the tests notice when a line is wrong?  Mutants of a module, run against the tests that concern it.

    python -m tests.mutants photoangle/geometry/plumb/swing.py [--most 40] [--seed 1]

Needs the optional group mutants. The tree is copied first, so that no mutant is ever in it. Printed: how many were
killed, and the difference that each survivor makes.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
# What is run against a module's mutants: the tests that name what it decides.
TESTS = {
    "calib/lens.py": ["tests/calib/test_lens.py", "tests/calib/test_bundle.py"],
    "calib/solution.py": ["tests/calib/test_bundle.py", "tests/calib/test_calibrate.py"],
    "photoangle/geometry/joints.py": ["tests/geometry/test_unknowns.py", "tests/geometry/test_level.py",
                                      "tests/figures/test_budget.py"],
    "photoangle/geometry/datums.py": ["tests/geometry", "tests/figures/test_budget.py"],
    "photoangle/geometry/plumb/swing.py": ["tests/geometry/test_swing.py"],
    "photoangle/geometry/plumb/checks.py": ["tests/geometry/test_level_checks.py"],
    "photoangle/core/estimate.py": ["tests/core/test_estimate.py"],
    "photoangle/figures/frame.py": ["tests/figures", "tests/geometry/test_properties.py"],
    "photoangle/figures/measurands.py": ["tests/figures", "tests/geometry/test_properties.py"],
    "photoangle/figures/print_by_tape.py": ["tests/figures", "tests/misuse"],
    "photoangle/linkage/kinematics/closure.py": ["tests/linkage/test_closure.py"],
    "photoangle/linkage/kinematics/lengths.py": ["tests/linkage"],
    "calib/lengths.py": ["tests/calib/test_lengths.py"],
    "photoangle/comparison/compare.py": ["tests/comparison"],
}
_CONFIG = """[cosmic-ray]
module-path = "{module}"
timeout = {timeout}
excluded-modules = []
test-command = "{python} -m pytest -x -q -n0 {tests}"
[cosmic-ray.distributor]
name = "local"
"""


def survivors(module, most, seed, timeout=120):
    """(mutants tried, [their differences that no test noticed])."""
    with tempfile.TemporaryDirectory() as where:
        copy = Path(where) / "tree"
        shutil.copytree(ROOT, copy, ignore=shutil.ignore_patterns(".git", "__pycache__", ".*_cache", "*.sqlite"))
        (copy / "mutants.toml").write_text(_CONFIG.format(module=module, timeout=timeout, python=sys.executable,
                                                          tests=" ".join(TESTS[module])))
        around = os.environ | {"PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1"}
        tool = str(Path(sys.executable).with_name("cosmic-ray"))

        def run(*words):
            subprocess.run([tool, *words], cwd=copy, env=around, check=True)

        run("baseline", "mutants.toml")
        run("init", "mutants.toml", "mutants.sqlite")
        _only(copy / "mutants.sqlite", most, random.Random(seed))
        run("exec", "mutants.toml", "mutants.sqlite")
        return _outcome(copy / "mutants.sqlite")


def _only(session, most, rng):
    """Skip all mutants of a session but so many drawn ones; those of annotations, str | None, change nothing."""
    from cosmic_ray.work_db import use_db
    from cosmic_ray.work_item import WorkerOutcome, WorkResult

    with use_db(str(session)) as db:
        jobs = sorted((item.job_id, item.mutations[0].operator_name) for item in db.pending_work_items)
        able = [job for job, operator in jobs if "_BitOr_" not in operator]
        kept = set(rng.sample(able, min(most, len(able))))
        for job in (job for job, _ in jobs if job not in kept):
            db.set_result(job, WorkResult(output="not drawn", worker_outcome=WorkerOutcome.SKIPPED))


def _outcome(session):
    from cosmic_ray.work_db import use_db
    from cosmic_ray.work_item import WorkerOutcome

    with use_db(str(session)) as db:
        done = [r for _, r in db.results if r.worker_outcome != WorkerOutcome.SKIPPED]
    return len(done), [r.diff for r in done if not r.is_killed]


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("module", choices=sorted(TESTS))
    parser.add_argument("--most", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    tried, lived = survivors(given.module, given.most, given.seed)
    for diff in lived:
        print(diff)
    print(f"{given.module}: {tried - len(lived)} of {tried} mutants killed")


if __name__ == "__main__":
    main()
