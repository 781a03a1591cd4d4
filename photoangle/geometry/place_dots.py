"""Plain dots that the user tapped in several photos of a state: points in space, without a marker.

A dot is placed after everything else is solved, where the rays through it meet best.  It adds nothing to the
photos' poses, which the card and the markers hold far better; its own covariance carries theirs, by the
derivatives.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from photoangle.core.estimate import Source
from photoangle.core.findings import ATTENTION, NOTE, Finding
from photoangle.core.roles import ROLE_BY_KEY
from photoangle.geometry.joints import ROOT3, coordinates, scale_source
from photoangle.geometry.lines_of_sight import met

EDGE = "dot's edge"


def with_dots(points, scene, dots, corner, scale=(1.0, 0.0), where=""):
    """The points of a scene with those of its dots.

    Parameters: points: Points of the markers; scene; dots: photo name -> role key -> (x, y, sigma) px in the
    sensor's frame; corner: carfile's Corner; scale: true size of the print over its nominal size, and its
    standard uncertainty; where: for messages.
    Returns (Points, findings).
    """
    views = {}
    for index, name in enumerate(scene.photos):
        for role, (x, y, u) in dots.get(name, {}).items():
            views.setdefault(role, []).append((index, np.array([x, y]), u))
    new, findings = {}, []
    for role, seen in sorted(views.items()):
        title = ROLE_BY_KEY[role].title
        if role in points:
            findings.append(Finding(NOTE, where, f"{title}: a marker stands for it, its dot was left out",
                                    "dismiss the marker in all photos to have the dot count"))
            continue
        made, told = met(scene, seen, f"the dot {title}", where)
        findings += told
        if made is None:
            continue
        new[role] = made
        given = role in corner.standoff_mm or role in corner.offset_mm
        findings.append(
            Finding(
                ATTENTION if given else NOTE,
                where,
                f"the dot {title} counts as the joint's own middle, within"
                f" {corner.stuck_within_mm:g}"
                f" mm{': the stand-off given for its marker is not used' if given else ''}",
                "where a dot stands off its joint, use a marker with a stand-off" if given else "",
            )
        )
    return (_joined(points, new, scale, scene, corner.stuck_within_mm / ROOT3) if new else points), findings


def _joined(points, new, scale, scene, stuck_mm):
    """Points with new ones, in the order of their names.  stuck_mm: how well a dot was put on its joint, 1
    sigma."""
    names = tuple(sorted(new))
    positions = np.array([new[n].place for n in names])
    by_unknown = np.concatenate([new[n].by_unknown for n in names])
    made = scene.errors.linear(by_unknown, coordinates(names), scale[0] * positions.ravel())
    made = made.also(scale_source(scene.origin, scale[1]), (positions - points.centre_mm).reshape(-1, 1))
    for k, name in enumerate(names):
        effect = np.zeros((3 * len(names), 3))
        effect[3 * k:3 * k + 3] = np.eye(3)
        # nothing tells whether a dot was painted anew, so that its place is the state's own
        for kind, covariance in ((EDGE, new[name].covariance), ("sticking", np.eye(3) * stuck_mm**2)):
            made = made.also(Source((kind, scene.origin.state, name), kind, covariance), effect)
    every = tuple(sorted((*points.names, *names)))
    return replace(points, names=every, estimate=points.estimate.join(made).pick(coordinates(every)),
                   marker=points.marker | dict.fromkeys(names))
