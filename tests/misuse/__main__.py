"""What comes out where photos were changed, mixed up or badly taken: does a figure lie outside its interval?

    python -m tests.misuse [--seed 1] [--seeds 3] [--strength 1] [--case zoom] [--said]
    python -m tests.misuse --clean 200    # false alarms: what is said to be wrong of cars where nothing is

A line a case: figures of droop that are told, how many lie outside their 95 % interval, the greatest error over
u, and what was said beyond what is said of the same car unharmed.  Photos are projected, not drawn.
"""

from __future__ import annotations

import argparse
import os

# small matrices: a second thread waits more than it works
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

from collections import Counter

import numpy as np

from photoangle.core.findings import NOTE
from tests.invented_car import InventedCar
from tests.misuse.cases import CASES, STATE
from tests.misuse.truth import errors


def outcome(case, seed, strength=1.0):
    """(list of z, figures outside, findings) of one case."""
    car = case.car(seed, strength)
    measurement = car.measure(states=("ride", STATE))
    rows = errors(car, measurement, STATE)
    return [abs(e / u) for _, _, e, u, _ in rows], sum(not inside for *_, inside in rows), measurement.findings


def line(case, seeds, strength):
    """The table's line of a case, and what was said, with how often."""
    told, outside, worst, said = [], [], 0.0, Counter()
    for seed in seeds:
        z, out, findings = outcome(case, seed, strength)
        told.append(len(z))
        outside.append(out)
        worst = max([worst, *z])
        said.update({f.what for f in findings if f.level != NOTE})
    return (f"{case.name:44s} {np.mean(told):5.1f} told {np.mean(outside):5.1f} outside   z {worst:8.1f}", said)


def false_alarms(seeds):
    """Cars of which something is said to be wrong though nothing is, and what, with how often."""
    alarmed, said = 0, Counter()
    for seed in seeds:
        found = {f.what for f in InventedCar(seed).measure().findings if f.level != NOTE}
        alarmed += bool(found)
        said.update(found)
    return alarmed, said


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seeds", type=int, default=2)
    parser.add_argument("--strength", type=float, default=1.0)
    parser.add_argument("--case", default="", help="only cases whose name has this in it")
    parser.add_argument("--said", action="store_true", help="all that was said, and how often")
    parser.add_argument("--clean", type=int, default=0, help="count false alarms over so many unharmed cars")
    given = parser.parse_args()
    if given.clean:
        alarmed, said = false_alarms(range(given.seed, given.seed + given.clean))
        print(f"{alarmed} of {given.clean} unharmed cars alarmed")
        print("".join(f"      {n} x {what[:150]}\n" for what, n in said.most_common()), end="")
        return
    for case in (c for c in CASES if given.case in c.name):
        text, said = line(case, range(given.seed, given.seed + given.seeds), given.strength)
        shown = said.most_common(None if given.said else 1)
        print(text + "".join(f"\n      {n} x {what[:150]}" for what, n in shown), flush=True)


if __name__ == "__main__":
    main()
