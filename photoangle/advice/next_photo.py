"""The next photo: where to stand so that it narrows the wanted figure most, and when it is no longer worth
it.

Stand points around the corner are tried on the solution's covariance (`imagined`); the whole way from markers
to figure is gone again for each, so that what is promised is what a measure run would state.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from calib.poses import Pose
from calib.running.cancellation import may_leave
from calib.solution import Singular
from photoangle.carfile.print_check import print_scale
from photoangle.core.figure import Figure
from photoangle.core.roles import (
    ARCH_LIP,
    BAR_BUSH,
    BAR_EYE,
    LINK_FOOT,
    PLUMB_BOTTOM,
    PLUMB_TOP,
    SILL_FRONT,
    SILL_REAR,
)
from photoangle.figures.measure import measured
from photoangle.geometry.datums import carried_axes, gravity, level_axes
from photoangle.geometry.joints import joint_points
from photoangle.geometry.plumb.plumb_line import steadied
from photoangle.geometry.registration import tie_scenes
from photoangle.reconstruction.predicted_covariance import scene_with, view_from

WANTED = (("bar_arm_angle", "chassis"), ("bar_arm_angle", "gravity"), ("bar_arm_elevation", "gravity"))
# A photo that narrows the figure by less than this share is not worth it.
WORTH = 0.10
_ABOUT = 1.03
_AZIMUTH_DEG, _HEIGHT_DEG, _DISTANCE_MM = (-60, -40, -20, 0, 20, 40, 60), (-20, 0, 15, 30,
                                                                           45), (500.0, 750.0, 1000.0, 1300.0)
# How far beyond where a photo was taken one may hope that nothing hides the markers.
_BEYOND_DEG = 40.0
_BY_PHOTOS = ("pixels", "lens", "print", "level", "chassis", "tie to ride")
_WORDS = {BAR_BUSH: "bush", BAR_EYE: "bar eye", PLUMB_TOP: "plumb", SILL_FRONT: "front sill marker",
          SILL_REAR: "rear sill marker", LINK_FOOT: "link foot", ARCH_LIP: "arch lip"}


@dataclass(frozen=True)
class NextPhoto:
    """Advice for one state: figure: the one cared about, as it is; u_then: its standard uncertainty with the
    advised photo; worth: whether that photo is worth it; words: where to stand, or what else to do;
    position_mm (3,), camera: the stand point and camera_from_world in the scene's world, None where none
    helps; markers: ids it should see."""

    figure: Figure
    u_then: float
    worth: bool
    words: str
    camera: Pose | None
    markers: tuple


def wanted_figure(figures, corner, state, wanted=WANTED):
    """The figure cared about: the first of ``wanted`` (name, datum) that the state has, or None."""
    for name, against in wanted:
        for f in figures:
            if (f.corner, f.state, f.name, f.datum) == (corner, state, name, against):
                return f
    return None


def next_photo(result, figure, car, kit, reference=None):
    """Where to stand for the one more photo that narrows ``figure`` most.

    result: StateResult; figure: Figure of this state; car: CarFile; reference: the StateResult that this
    state's axes come from, or None.  Returns NextPhoto.
    """
    if _least_u(figure) > (1 - WORTH) * figure.u:
        return NextPhoto(figure, _least_u(figure), False, _not_worth(figure, _least_u(figure)), None, ())
    size_px = _photo_size(result)
    tried = []
    for camera in stand_points(result, kit):
        view = view_from(result.scene, kit, camera, size_px)
        if len(view.markers) + 3 * view.card < 3:
            continue
        u = u_with(result, view, figure, car, kit, reference)
        if u is not None:
            tried.append((u, view))
    if not tried:
        return NextPhoto(figure, figure.u, False,
                         "no stand point around these markers would see enough of them", None, ())
    # of those about as good, the one that has most in view: it forgives a hidden marker
    least = min(u for u, _ in tried)
    u, view = max((t for t in tried if t[0] <= _ABOUT * least),
                  key=lambda t: (len(t[1].markers) + 3 * t[1].card, -t[0]))
    worth = u < (1 - WORTH) * figure.u
    words = _stand_words(result, view, kit) if worth else _not_worth(figure, u)
    return NextPhoto(figure, u, worth, words, view.camera, view.markers)


def _least_u(figure):
    """The standard uncertainty that would be left if photos made all that they can make smaller vanish."""
    return figure.u * np.sqrt(max(0.0, 1 - sum(figure.budget.get(k, 0.0) for k in _BY_PHOTOS)))


def _photo_size(result):
    sighting = result.sightings[0]
    return sighting.width_px, sighting.height_px


def u_with(result, view, figure, car, kit, reference=None):
    """The standard uncertainty that ``figure`` would have with one more photo, or None where it cannot be
    had."""
    may_leave()
    try:
        scene = scene_with(result.scene, view)
    except Singular:
        return None
    scale, scale_u, _, _ = print_scale(car.print_check)
    points, _ = joint_points(scene, kit, result.notes, car.level, scale, scale_u)
    up, _ = gravity(points, scene, car.level)
    if up is not None:
        up, _ = steadied(up, result.plumb_lines, scene)
    axes = result.axes
    if axes is not None and reference is not None and result.tie is not None:
        tie = tie_scenes(scene, reference.scene, kit)
        axes = carried_axes(reference.axes, tie, scene) if tie is not None else axes
    lateral = level_axes(points, up, result.roll) if up is not None else None
    would = measured(replace(result, scene=scene, points=points, up=up, axes=axes, lateral=lateral),
                     (figure.name, figure.datum))
    return would.estimate.u(would.estimate.names[0]) if would.rows else None


def _frame(result):
    """(centre, out, side, up) of the corner: out towards the photos, side to the right of who stands
    there."""
    scene = result.scene
    up = result.up.vector if result.up is not None else np.array(
        [0, -1.0, 0]) if scene.has_card else np.array([0, 0, 1.0])
    centre = np.mean([p.translation_mm for p in scene.markers.values()], axis=0)
    eyes = np.array([-c.rotation.T @ c.translation_mm for c in scene.cameras])
    out = (eyes - centre).mean(0)
    out = out - up * (out @ up)
    out /= np.linalg.norm(out)
    return centre, out, np.cross(up, out), up


def stand_points(result, kit):
    """Cameras (camera_from_world) around the corner that a phone could be held at, aimed at all the markers
    or at those that the bar's angle hangs on."""
    centre, out, side, up = _frame(result)
    taken = [-c.rotation.T @ c.translation_mm - centre for c in result.scene.cameras]
    taken = [t / np.linalg.norm(t) for t in taken]
    lowest = min((p.translation_mm - centre) @ up for p in result.scene.markers.values()) - 150.0
    aims = [centre, _middle_of_needed(result, kit, centre)]
    cameras = []
    for azimuth in np.radians(_AZIMUTH_DEG):
        for height in np.radians(_HEIGHT_DEG):
            way = np.cos(height) * (np.cos(azimuth) * out + np.sin(azimuth) * side) + np.sin(height) * up
            if max(way @ t for t in taken) < np.cos(np.radians(_BEYOND_DEG)):
                continue
            for distance in _DISTANCE_MM:
                if distance * np.sin(height) > lowest:
                    cameras += [_aimed(aim + distance * way, aim, up) for aim in aims]
    return cameras


def _middle_of_needed(result, kit, centre):
    """The middle of bar, plumb and card: what must be in view for the bar's angle."""
    needed = [p.translation_mm for i, p in result.scene.markers.items()
              if kit.slot(i).role.key in (BAR_BUSH, BAR_EYE, PLUMB_TOP, PLUMB_BOTTOM)]
    if result.scene.has_card and kit.card is not None:
        needed.append(np.array([kit.card.width_mm / 2, kit.card.height_mm / 2, 0.0]))
    return np.mean(needed, axis=0) if needed else centre


def _aimed(position, target, up):
    ahead = (target - position) / np.linalg.norm(target - position)
    right = np.cross(ahead, up)
    right /= np.linalg.norm(right)
    rotation = np.stack([right, np.cross(ahead, right), ahead])
    return Pose(rotation, -rotation @ position)


def _stand_words(result, view, kit):
    centre, out, side, up = _frame(result)
    position = -view.camera.rotation.T @ view.camera.translation_mm
    away = position - centre
    rise = away @ up
    across = np.degrees(np.arctan2(away @ side, away @ out))
    words = [f"stand about {np.linalg.norm(away) / 1000:.1f} m from the middle of the markers"]
    if abs(rise) > 80:
        words.append(f"hold the phone {abs(rise) / 10:.0f} cm {'above' if rise > 0 else 'below'} it")
    else:
        words.append("hold the phone level with it")
    if abs(across) > 10:
        words.append(f"{abs(across):.0f} deg round to the {_toward(result, side * np.sign(across), across)}")
    seen = [_WORDS[r] for r in _WORDS if r in {kit.slot(m).role.key for m in view.markers}]
    seen += ["card"] if view.card else []
    return ", ".join(words) + "; in view: " + ", ".join(seen or ["as many markers as will go"])


def _toward(result, direction, across):
    axes = result.axes or result.lateral
    if axes is None:
        return "right" if across > 0 else "left"
    forward = direction @ axes.axes[:, 0]
    if abs(forward) < 0.5:
        return "right" if across > 0 else "left"
    return f"{'front' if forward > 0 else 'rear'} of the car"


def _not_worth(figure, u):
    source, share = next(iter(figure.budget.items()), ("", 0.0))
    gain = 100 * (1 - u / figure.u)
    return (f"another photo would narrow it by {max(gain, 0):.0f} % at most and is not worth it"
            + (f": {source} is {100 * share:.0f} % of what is not known" if source else ""))
