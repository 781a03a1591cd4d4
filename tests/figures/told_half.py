"""Are the figures' intervals true where the owner tells half of what could be told?

    python -m tests.coverage --omit --scenes 100

Invented corners at droop, set and on their wheels, standing as cars stand on stands, of which stand-offs, the
print check, lens photos, ride photos, a pivot, the sill's slope and the roll are left out at random.  Sightings
are projected, not drawn.
"""

from __future__ import annotations

from collections import defaultdict

import numpy as np

from calib.poses import rotation_from_vector
from photoangle.core.figure import says_nothing
from photoangle.core.findings import Refusal
from photoangle.figures.frame import Frame
from photoangle.figures.measurands import measurands
from tests.invented_car import STANDOFF, InventedCar, Slips

UNTOLD = ("print", "lens", "ride photos", "pivot", "slope", "roll")


def random_car(rng, seed, told_share=0.5):
    """(InventedCar, states photographed, what a level read) with each thing left out by 1 - told_share."""
    left_out = {k for k in (*STANDOFF, *UNTOLD) if rng.random() > told_share}
    pitch, roll = rng.uniform(2, 6), rng.normal(0, 1.2)
    tilt = {"droop": (pitch, roll), "set": (pitch + rng.normal(0, 0.2), roll + rng.normal(0, 0.2))}
    missing = (str(rng.choice(["arm_pivot_front", "arm_pivot_rear"])),) if "pivot" in left_out else ()
    # rules on spacers, tape and bare joints: markers stand off by anything
    standoff = {role: round(v if role.startswith("sill") or role == "arch_lip" else rng.uniform(4, 56), 1)
                for role, v in STANDOFF.items()}
    car = InventedCar(seed, Slips(missing=missing), tilt, float(1 + rng.normal(0, 0.003)), left_out, standoff)
    states = ("droop", "set") if "ride photos" in left_out else ("ride", "droop", "set")
    attitude = defaultdict(dict)
    for key, k, told in (("sill_slope_deg", 0, "slope" not in left_out), ("roll_deg", 1, "roll" not in left_out)):
        for state in ("ride", "droop", "set"):
            if told:
                attitude[state][key] = round(car.tilt_deg[state][k] + rng.normal(0, 0.1), 1)
    return car, states, attitude


def true_frame(car, state):
    """The Frame of a state's exact points, in the chassis's axes."""
    at, tilt = car.places[state], car.tilt_deg[state]
    turn = rotation_from_vector([0, -np.radians(tilt[0]), 0]) @ rotation_from_vector([np.radians(tilt[1]), 0, 0])
    axis = at["arm_pivot_front"] - at["arm_pivot_rear"]
    return Frame(at, turn.T @ [0, 0, 1.0], np.eye(3), np.array([1.0, 0, 0]), car.axes.bar_axis[0, 0],
                 axis / np.linalg.norm(axis), (at["arm_pivot_front"] + at["arm_pivot_rear"]) / 2,
                 {"bar_eye": 0.0, "hose": 0.0})


def run(scenes, seed=1, told_share=0.5):
    """Rows (name, datum, error, u, inside, withheld) of every figure of every state."""
    rows = []
    table = {m.key: m for m in measurands()}
    for k in range(scenes):
        rng = np.random.default_rng([seed, k, 9])
        car, states, attitude = random_car(rng, 1000 * seed + k, told_share)
        measured = car.measure(states=states, attitude=attitude)
        if isinstance(measured, Refusal):
            continue
        for state in measured.states:
            frame = true_frame(car, state.state)
            for f in state.measured.figures("front-left", state.state):
                true = table[f.name, f.datum].value(frame)
                if true is not None:
                    rows.append((f.name, f.datum, f.value - true, f.u, f.low95 <= true <= f.high95,
                                 says_nothing(f)))
    return rows


def summary(rows):
    """Lines: shares that hold, in all and by figure."""
    by = defaultdict(list)
    for name, datum, error, u, inside, _ in rows:
        by["all", ""].append((error, u, inside))
        by[name, datum or ""].append((error, u, inside))
    withheld = np.mean([w for *_, w in rows])
    out = [f"{len(rows)} figures, {100 * withheld:.0f} of 100 too wide to be given"]
    for (name, datum), of in by.items():
        error, u, inside = np.array(of, float).T
        z = np.clip(error / u, -20, 20)
        out.append(f"  {name:24s} {datum:8s} {100 * inside.mean():5.1f} of 100 inside, u over RMS error"
                   f" {1 / np.sqrt(np.mean(z**2)):.2f}, median u {np.median(u):.2f} ({len(of)})")
    return out
