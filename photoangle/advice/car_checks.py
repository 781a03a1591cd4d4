"""The car itself: did it move between photos, does set height equal ride height, were readings exchanged, is
the wheel straight?"""

from __future__ import annotations

import math

import numpy as np

from photoangle.core.findings import ATTENTION, Finding
from photoangle.core.roles import HUB
from photoangle.core.states import DROOP, FITTED, RIDE, SET

# So many markers on the car left out of one photo together: the car moved, not the markers.
_TOGETHER = 3
# Half a turn of the steering wheel turns the hub by far more; toe and a hub marker's own slant by less
# (common practice, no source).
_STEER_DEG = 6.0
_SET_MM = 2.0


def moved_between_photos(result, kit):
    """A Finding for each photo of a state in which several of the car's markers do not fit together with the
    card."""
    by_photo = {}
    for name, marker in result.scene.left_out:
        if kit.slot(marker).role.body in ("chassis", "bar", "link", "arm", "knuckle"):
            by_photo.setdefault(name, []).append(marker)
    return [
        Finding(
            ATTENTION, name,
            f"{len(markers)} markers on the car do not fit the other photos together: the car (or the card)"
            " moved between the photos of this state",
            "chock it, let nobody lean on it, and take this state's photos again")
        for name, markers in sorted(by_photo.items()) if len(markers) >= _TOGETHER
    ]


def set_height(corner, notes):
    """A Finding where hub to arch at set (or fitted) is not what it is on the wheels."""
    out = []
    ride = notes.tape.get(RIDE, {}).get("hub_to_arch")
    for state in (SET, FITTED):
        there = notes.tape.get(state, {}).get("hub_to_arch")
        if ride is None or there is None:
            continue
        off, u = there.value_mm - ride.value_mm, math.hypot(there.u_mm, ride.u_mm)
        if abs(off) > _SET_MM + 2 * u:
            out.append(
                Finding(
                    ATTENTION,
                    f"{corner}/{state}",
                    f"hub to arch is {there.value_mm:.0f} mm here and {ride.value_mm:.0f} mm on the"
                    " wheels: this is not ride height, and angles here are not those at ride height",
                    "jack both knuckles until hub to arch reads the same; `photoangle link` allows for the"
                    " difference",
                )
            )
    droop = notes.tape.get(DROOP, {}).get("hub_to_arch")
    if ride is not None and droop is not None and droop.value_mm < ride.value_mm - 5:
        out.append(
            Finding(
                ATTENTION, f"car.toml, {corner}.tape",
                f"hub to arch is less hanging ({droop.value_mm:.0f} mm) than on the wheels"
                f" ({ride.value_mm:.0f} mm): droop and ride exchanged?", "look at the two readings again"))
    return out


def steering(states, kit):
    """A Finding where the hub's marker points another way, seen from above, in one state than in the
    others."""
    yaw = {}
    for s in states:
        marker = s.points.marker.get(HUB)
        axes = s.axes or s.lateral
        if marker is None or axes is None or marker in s.scene.ambiguous:
            continue
        normal = axes.axes.T @ s.scene.markers[marker].rotation[:, 2]
        if math.hypot(normal[0], normal[1]) > 0.5:
            # the hub's face looks along the car's y axis while the wheel is straight, whichever side it is on
            yaw[s.state] = math.degrees(math.atan2(normal[0], abs(normal[1])))
    if len(yaw) < 2:
        return []
    middle = float(np.median(list(yaw.values())))
    out = []
    for state, angle in yaw.items():
        if abs(angle - middle) > _STEER_DEG:
            out.append(
                Finding(
                    ATTENTION, f"{states[0].corner}/{state}",
                    f"the hub is turned by {abs(angle - middle):.0f} deg against the other"
                    " states: the steering was not straight (or its marker was stuck on again)",
                    "set the steering straight and take these photos again"))
    return out
