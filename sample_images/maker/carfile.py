"""Writes car.toml: what the demo's owner read off the tape and wishes for, with honest reading errors."""
import numpy as np

from .mechanics.car import WHEELBASE_MM
from .mechanics.states import make_state

SLIP = {"corner": "front-left", "state": "droop", "name": "bar_arm_length", "slip_mm": 25.4,
        "what": "the tape was held at its 1-inch mark and the inch was not taken off"}
# radii that the car's owner measured with a caliper: brake hose, and the joint at the bar's eye
HOSE_RADIUS_MM, EYE_RADIUS_MM = 5.0, 14.0
STANDOFFS = ("bar_bush", "bar_eye", "link_foot", "arm_pivot_front", "arm_pivot_rear", "arm_ball_joint", "hub",
             "arch_lip", "sill_front", "sill_rear")
TAPED = {"droop": ("hub_to_arch", "bar_arm_length", "control_arm_length", "link_length"),
         "set": ("hub_to_arch", "bar_arm_length", "link_length"), "ride": ("hub_to_arch",),
         "fitted": ("hub_to_arch", "bar_arm_length", "link_length")}

HEAD = """# The Heron's car folder: what was read off a tape and what is wanted.
# Every line may be left out; photos alone give a first answer.
# The photos lie in folders beside this file, named after the states:
# droop (on stands, hanging), set (on stands, jacked to ride height), ride (on its
# wheels) and fitted (set again, with the new link).

[car]
name = "Heron"
units = "mm"                    # for numbers without a unit
tape_division = "1 mm"          # the finest marks on the tape
tape_class = "II"               # printed on the tape's first few centimetres
wheelbase = "{wheelbase:.0f} mm"

[print]                         # a steel rule laid on the card's two check lines
x_line = "200.0 mm"
y_line = "150.0 mm"

[level]
by = "plumb"                    # the plumb strip hangs in the pictures
floor_slope_along_deg = 0.3     # the garage floor rises this much towards the car's nose
floor_slope_across_deg = 0.1    # and this much towards the car's left
"""


def reading(true_mm, rng, half_mm, step_mm):
    """A reading: the truth with an evenly spread error of +-half_mm, rounded to step_mm."""
    return round((true_mm + rng.uniform(-half_mm, half_mm)) / step_mm) * step_mm


def _corner_text(name, kinds, wanted, link):
    rng = np.random.default_rng([19, len(name)])
    state = make_state(name, "set")
    out = [f"[{name}]", 'link_foot_on = "control arm"',
           'stuck_within = "1 mm"           # how well the markers could be centred', "",
           f"[{name}.standoff]          # marker's face to the joint's centre, by a rule's depth end"]
    told = {m.joint: m.standoff_mm for m in state.markers if m.joint}
    for joint in STANDOFFS:
        r = reading(told[joint], rng, 0.5, 0.5)
        out.append(f'{joint} = "{r:.1f} mm"')
    for kind in kinds:
        s = make_state(name, kind)
        f = s.figures(s.joints)
        notes = {"droop": "on stands, wheel off, hanging", "set": "on stands, knuckles jacked to ride height",
                 "ride": "on its wheels, rolled and bounced", "fitted": "as set, with the new link"}
        out += ["", f"[{name}.tape.{kind}]       # {notes[kind]}"]
        for figure in TAPED[kind]:
            true = f[figure].get("chassis", f[figure].get("value"))
            r = reading(true, rng, 0.8, 1.0)
            if (name, kind, figure) == (SLIP["corner"], SLIP["state"], SLIP["name"]):
                r = round(r + SLIP["slip_mm"])
            out.append(f'{figure} = "{r:.0f} mm"')
    out += ["", f"[{name}.radius]             # half the thickness: hose, the joint at the bar's eye, link, bar",
            f'hose = "{HOSE_RADIUS_MM:g} mm"', f'bar_eye = "{EYE_RADIUS_MM:g} mm"',
            'link = "11 mm"                  # its thickest part, over the jam nuts', 'bar = "11 mm"']
    out += ["", f"[{name}.hose]", "leads_away = true               # beyond its markers it comes no nearer"]
    out += [
        "", f"[{name}.travel]             # of the wheel, from ride height",
        'bump = "40 mm"                  # to the bump stop'
    ]
    if "droop" not in kinds:
        out.append('droop = "53 mm"                 # to hanging')
    out += [
        "", f"[{name}.wanted]", "bar_arm_angle_deg = 0.0         # level with the chassis",
        "within_deg = 3.0", "", f"[{name}.link]", 'thread_pitch = "1.25 mm"',
        "threaded_ends = 2               # right-hand thread one end, left-hand the other",
        f'shortest = "{link[0]} mm"', f'longest = "{link[1]} mm"', "",
        f"[{name}.joint_limit]        # how far the link's joints may tilt, by their maker", "eye_deg = 25",
        "foot_deg = 25", ""
    ]
    return "\n".join(out)


def car_toml():
    """The text of car.toml."""
    text = HEAD.format(wheelbase=WHEELBASE_MM)
    text += "\n" + _corner_text("front-left", ("droop", "set", "ride", "fitted"), 0.0, (112, 162))
    text += "\n" + _corner_text("front-right", ("set",), 0.0, (112, 162))
    return text
