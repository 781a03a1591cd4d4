"""What corrections.json points at in a state's photos, placed in its scene."""

from __future__ import annotations

import numpy as np

from photoangle.core.findings import ATTENTION, Finding
from photoangle.core.roles import ROLE_BY_KEY
from photoangle.detection.pointing.point import Tap
from photoangle.detection.pointing.view import View
from photoangle.geometry.parts import photo_lens
from photoangle.geometry.place_points import with_pointed


def place_pointed(points, scene, taken, corner, up, picture, scale=(1.0, 0.0), where=""):
    """The points of a scene with those that its photos were pointed at for.

    Parameters: points: joints.Points; scene; taken: photo's name -> role key -> (x, y, sigma px, what), of
    the state's photos; corner: CornerNotes; up: Direction or None; picture(name) -> grey (H, W); scale,
    where: as in `with_pointed`.
    Returns (Points, findings, PointedPlace each).
    """
    index = {name: k for k, name in enumerate(scene.photos)}
    pointed, findings = {}, []
    for name, roles in sorted(taken.items()):
        for role, (x, y, sigma, what) in sorted(roles.items()):
            if name in index:
                pointed.setdefault(role, []).append(Tap(index[name], np.array([x, y]), sigma, what))
            else:
                findings.append(Finding(
                    ATTENTION, name, f"what was pointed at here for {ROLE_BY_KEY[role].title} was left out:"
                    " this photo could not be used", "point at it in another photo of the state"))
    if not pointed:
        return points, findings, ()
    views = [View(name, picture(name), scene.cameras[k], photo_lens(scene, k))
             for name, k in index.items()]
    points, told, places = with_pointed(points, scene, views, pointed, corner, up, scale, where)
    return points, findings + told, places
