"""Are slips found and rightly explained, and is sound work left alone?

    python -m tests.advice.slips [--seed 1] [--clean 100]

Each kind of slip is put into an invented corner of its own seed.  Found: a finding points at the right place;
explained: its words name the slip.  Then clean corners: every finding that tells the user to redo something
is a false alarm.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass

from photoangle.core.findings import NOTE
from tests.invented_car import InventedCar, Slips


@dataclass(frozen=True)
class Kind:
    """One slip: name; slips: what goes wrong with markers or car; tape: function of the readings, in place;
    where: what a finding's place must contain; words: any of these in it counts as explained; points: any of
    these counts as found."""

    name: str
    where: str
    words: tuple
    slips: Slips = Slips()
    tape: object = None
    points: tuple = ("",)


def _set(state, name, make):
    def change(readings):
        readings[state][name] = make(readings[state][name])
    return change


def _exchange(a, b):
    def change(readings):
        (s, n), (t, m) = a, b
        readings[s][n], readings[t][m] = readings[t][m], readings[s][n]
    return change


def _in_inches(top_wrong):
    def make(mm):
        sixteenths = round(mm / 25.4 * 16)
        whole, part = divmod(sixteenths, 16)
        return f"{whole} {(part + top_wrong) % 16}/16 in" if (part + top_wrong) % 16 else f"{whole} in"
    return make


TAPE = "tape"
KINDS = (
    Kind("an inch too long",
         TAPE, ("inch too long",),
         tape=_set("droop", "bar_arm_length", lambda v: v + 25)),
    Kind("an inch too long, link",
         TAPE, ("inch too long",),
         tape=_set("set", "link_length", lambda v: v + 25)),
    Kind("an inch too short",
         TAPE, ("inch too short",),
         tape=_set("droop", "control_arm_length", lambda v: v - 25)),
    Kind("an inch too long, hub to arch",
         TAPE, ("inch too long",),
         tape=_set("droop", "hub_to_arch", lambda v: v + 25)),
    Kind("inches for millimetres",
         TAPE, ("inches written as millimetres",),
         tape=_set("droop", "bar_arm_length", lambda v: f"{v / 25.4:.2f} mm")),
    Kind("inches for millimetres, link",
         TAPE, ("inches written as millimetres",),
         tape=_set("set", "link_length", lambda v: f"{v / 25.4:.2f} mm")),
    Kind("centimetres for millimetres",
         TAPE, ("centimetres written as millimetres",),
         tape=_set("droop", "control_arm_length", lambda v: f"{v / 10:.1f} mm")),
    Kind("a fraction misread by four sixteenths",
         TAPE, ("fraction",),
         tape=_set("droop", "bar_arm_length", _in_inches(4))),
    Kind("a fraction misread by three sixteenths",
         TAPE, ("fraction",),
         tape=_set("set", "link_length", _in_inches(3))),
    Kind("a ten misread", TAPE, ("ten misread",), tape=_set("droop", "link_length", lambda v: v + 10)),
    Kind("a hundred misread",
         TAPE, ("hundred misread",),
         tape=_set("set", "bar_arm_length", lambda v: v + 100)),
    Kind("hub taped to its edge",
         TAPE, ("another edge",),
         tape=_set("droop", "hub_to_arch", lambda v: v - 38)),
    Kind("hub taped to its edge, set",
         TAPE, ("another edge",),
         tape=_set("set", "hub_to_arch", lambda v: v + 45)),
    Kind("droop and set exchanged",
         TAPE, ("exchanged",),
         tape=_exchange(("droop", "hub_to_arch"), ("set", "hub_to_arch"))),
    Kind("droop written under ride",
         TAPE, ("reading of droop",),
         tape=_set("ride", "hub_to_arch", lambda v: v + 55)),
    Kind("bar and link exchanged",
         TAPE, ("exchanged",),
         tape=_exchange(("droop", "bar_arm_length"), ("droop", "link_length"))),
    Kind("control arm and bar exchanged",
         TAPE, ("exchanged",),
         tape=_exchange(("set", "bar_arm_length"), ("set", "control_arm_length"))),
    Kind("set height is not ride height", "set", ("not ride height",), Slips(set_off_mm=12.0)),
    Kind("the car moved at set", "set/", ("the car (or the card) moved",), Slips(moved=("set", 2))),
    Kind("the car moved at droop", "droop/", ("the car (or the card) moved",), Slips(moved=("droop", 3))),
    Kind("steering not straight", "set", ("steering was not straight",), Slips(steer_deg={"set": 14.0})),
    Kind("steering not straight at droop", "droop", ("steering was not straight",),
         Slips(steer_deg={"droop": -11.0})),
    Kind("bush and eye exchanged",
         "front-left", ("bar bush and bar eye", "bar eye and bar bush"),
         Slips(swap=(("bar_bush", "bar_eye"),)),
         points=("exchange", "sits elsewhere")),
    Kind("eye and foot exchanged",
         "front-left", ("bar eye and link foot",),
         Slips(swap=(("bar_eye", "link_foot"),)),
         points=("exchange",)),
    Kind("foot and ball joint exchanged",
         "front-left", ("link foot and arm ball joint",),
         Slips(swap=(("link_foot", "arm_ball_joint"),)),
         points=("exchange",)),
    Kind("pivots exchanged",
         "front-left", ("arm pivot front and arm pivot rear",),
         Slips(swap=(("arm_pivot_front", "arm_pivot_rear"),)),
         points=("exchange",)),
    Kind("sills exchanged",
         "front-left", ("sill front and sill rear",),
         Slips(swap=(("sill_front", "sill_rear"),)),
         points=("exchange", "side")),
    Kind("hub and arch exchanged",
         "front-left", ("hub and arch lip",),
         Slips(swap=(("hub", "arch_lip"),)),
         points=("exchange",)),
    Kind("plumb upside down",
         "front-left", ("plumb top and plumb bottom",),
         Slips(swap=(("plumb_top", "plumb_bottom"),)),
         points=("exchange",)),
    Kind("photos of the other side", "front-left", ("right side",), Slips(mirror=True)),
    Kind("eye off its stand-off by 15 mm",
         "front-left", ("bar eye seems to lie",),
         Slips(off={"bar_eye": 15.0}),
         points=("bar eye", "tape")),
    Kind("bush off its stand-off by 20 mm",
         "front-left", ("bar bush seems to lie",),
         Slips(off={"bar_bush": 20.0}),
         points=("bar bush", "tape")),
    Kind("arch lip marker stuck again", "front-left", ("sits elsewhere on the car",),
         Slips(stuck_again=(("arch_lip", "set"),))),
    Kind("sill marker stuck again", "front-left", ("sits elsewhere on the car",),
         Slips(stuck_again=(("sill_front", "droop"),))),
    Kind("eye marker missing", "front-left", ("bar eye",), Slips(missing=("bar_eye",))),
    Kind("sill marker missing", "front-left", ("sill rear",), Slips(missing=("sill_rear",))),
)


def look(kind, seed):
    """(found, explained, findings) of one slip."""
    car = InventedCar(seed, kind.slips)
    readings = {s: dict(r) for s, r in car.readings.items()}
    if kind.tape is not None:
        kind.tape(readings)
    findings = [f for f in car.measure(readings).report.findings if f.level != NOTE]
    there = [f for f in findings if kind.where in f.where and any(p in f.what for p in kind.points)]
    return bool(there), any(any(w in f.what for w in kind.words) for f in there), findings


def false_alarms(seeds):
    """Findings other than notes over clean corners."""
    out = []
    for seed in seeds:
        out += [(seed, f) for f in InventedCar(seed).measure().report.findings if f.level != NOTE]
    return out


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--clean", type=int, default=100)
    arguments = parser.parse_args()
    found = explained = 0
    for k, kind in enumerate(KINDS):
        there, why, findings = look(kind, 1000 * arguments.seed + k)
        found, explained = found + there, explained + why
        mark = "explained" if why else "found" if there else "MISSED"
        print(f"{kind.name:42s} {mark}" + ("" if why else "  " + "; ".join(f"{f.where}: {f.what}"
                                                                           for f in findings)[:300]),
              flush=True)
    print(f"{len(KINDS)} slips: {found} found, {explained} rightly explained")
    alarms = false_alarms(range(5000 * arguments.seed, 5000 * arguments.seed + arguments.clean))
    for seed, f in alarms:
        print(f"clean corner {seed}: {f.where}: {f.what}")
    print(f"{arguments.clean} clean corners: {len(alarms)} false alarms")


if __name__ == "__main__":
    main()
