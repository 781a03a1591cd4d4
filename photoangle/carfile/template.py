"""A new car folder with a commented car.toml."""

from __future__ import annotations

from pathlib import Path

from calib.files import write_whole

TEXT = """\
# One file for the whole car.  Everything here is optional; lines that start with # are
# ignored until you take the # away.  Lengths: "378 mm", "37.8 cm", "14 7/8 in".

[car]
name = "my car"
units = "{units}"                  # for numbers without a unit: "mm" or "in"
tape_division = "{division}"        # the finest division on your tape
tape_class = "II"              # stands on the tape in a small ring: I, II or III
# wheelbase = "2500 mm"

[print]                        # lay a steel rule on the two lines beside the card
# x_line = "200.0 mm"
# y_line = "150.0 mm"

[level]
by = "plumb"                   # "plumb" (strip or string), "card" (long edge levelled), "none"
# floor_slope_along_deg = 0.0  # floor higher at the car's nose: positive
# floor_slope_across_deg = 0.0 # floor higher on the car's left: positive

[front-left]
link_foot_on = "control arm"   # or "strut", "knuckle"
stuck_within = "1 mm"          # how well you could centre the markers

[front-left.standoff]          # from a marker's printed face back to the middle of the joint
# bar_bush = "38 mm"
# bar_eye = ["16 mm", "16.5 mm"]   # read twice, set anew each time: the mean counts, and is surer
# link_foot = "16 mm"
# arm_ball_joint = "25 mm"

[front-left.tape.droop]        # readings with the wheels hanging; also .set .ride .fitted
# hub_to_arch = "378 mm"
# bar_arm_length = "7 5/16 in"

[front-left.wanted]
bar_arm_angle_deg = 0.0        # level
within_deg = 3.0

[front-left.link]
# thread_pitch = "1.25 mm"
# threaded_ends = 2            # 0, 1 or 2
# shortest = "120 mm"          # centre to centre, by its maker
# longest = "165 mm"
# thread = "10 mm"             # the thread's diameter, and how much of it is in at each end now:
# thread_in = "22 mm"
# eye_holes = ["20 mm"]        # other holes of the bar, so much nearer to the bush

[front-left.travel]            # of the wheel, from ride height
# bump = "45 mm"               # to the bump stop; or the damper shaft's free length:
#   or damper_free = "30 mm"
#      damper_ratio = 0.8       # damper's travel over the wheel's

[front-left.radius]            # half the thickness, for the gaps
# hose = "5 mm"
# bar_eye = "14 mm"
# link = "10 mm"

[front-left.hose]
# hose_a_on = "chassis"        # or "between", "knuckle"; not needed when seen at droop and at set
# wanted_gap = "10 mm"

[front-left.joint_limit]       # how far the link's joints may tilt, by their maker
# eye_deg = 20
# foot_deg = 20
"""

FOLDERS = ("lens", "front-left/droop", "front-left/set", "front-left/ride", "front-left/fitted")


def start_folder(folder, units="mm"):
    """Make a car folder: photo folders and a car.toml, nothing overwritten.

    Parameters: folder: path, made where absent; units "mm" or "in".
    Returns (paths made, whether car.toml is new).  Raises OSError as the system does.
    """
    folder = Path(folder)
    made = []
    for name in FOLDERS:
        path = folder / name
        if not path.is_dir():
            path.mkdir(parents=True)
            made.append(path)
    carfile = folder / "car.toml"
    new = not carfile.exists()
    if new:
        division = "1 mm" if units == "mm" else "1/16 in"
        write_whole(carfile, TEXT.format(units=units, division=division))
        made.append(carfile)
    return made, new
