"""Sightings that do not belong: left out, the worst first, and named."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from calib.poses import Pose
from calib.resection import square_poses
from calib.solution import Singular
from photoangle.core.findings import ATTENTION, Finding
from photoangle.reconstruction.problem import bundle_of, is_plumb

# A whole tag's squared whitened residual (expected 8) above which it does not belong.
_FOREIGN = 60.0


def without_foreign(solution, problem):
    """Leave out sightings that do not belong, one after the other, the worst first."""
    for _ in range(12):
        squares = solution.tag_square / max(1.0, solution.variance_factor())
        rows = solution.bundle.tags
        if not len(rows):
            break
        worst = int(np.argmax(squares))
        if squares[worst] < _FOREIGN:
            break
        marker = problem.order[rows[worst].body]
        name = problem.sightings[rows[worst].camera].name
        if isinstance(marker, int) and is_plumb(problem.kit, marker) and not problem.turning:
            turned = _let_plumb_turn(solution, problem)
            if turned is not None:
                solution, problem = turned
                continue
        marker = _marker(marker)
        if sum(r.body == rows[worst].body for r in rows) == 1:
            break  # its only sighting: nothing says that it is wrong
        problem = replace(problem, left_out=problem.left_out + ((name, marker),))
        try:
            solution = bundle_of(problem).solve(solution.values)
        except Singular:
            break
    return solution, problem


def taken_back(solution, problem):
    """Take back what was left out and fits after all: an early one may have been judged by a model that the
    later ones spoilt."""
    for sighting in problem.left_out:
        trial = replace(problem, left_out=tuple(s for s in problem.left_out if s != sighting))
        try:
            again = bundle_of(trial).solve(solution.values)
        except Singular:
            continue
        row = next(k for k, r in enumerate(again.bundle.tags)
                   if (trial.sightings[r.camera].name, _marker(trial.order[r.body])) == sighting)
        if again.tag_square[row] < _FOREIGN * max(1.0, again.variance_factor()):
            solution, problem = again, trial
    return solution, problem


def _marker(body):
    return body[0] if isinstance(body, tuple) else body


def _let_plumb_turn(solution, problem):
    """The same problem with each plumb marker free to turn about the string between photos."""
    order = list(problem.order)
    bodies = [
        Pose(r, t) for r, t in zip(solution.values.body_rotation, solution.values.body_mm, strict=False)
    ]
    lens = solution.values.lens
    for base in [i for i in problem.order if isinstance(i, int) and is_plumb(problem.kit, i)]:
        seen = [c for c, s in enumerate(problem.sightings) if base in s.tags]
        for c in seen[1:]:
            s = problem.sightings[c]
            camera = Pose(solution.values.camera_rotation[c], solution.values.camera_mm[c])
            both = [camera.inverse() @ p for p, _ in
                    square_poses(problem.sizes[base], s.tags[base].corners_px, lens)]
            if not both:
                continue
            here = bodies[problem.order.index(base)].translation_mm
            order.append((base, s.name))
            bodies.append(min(both, key=lambda p: np.linalg.norm(p.translation_mm - here)))
    if len(order) == len(problem.order):
        return None
    turned = replace(problem, order=tuple(order), turning=True)
    values = replace(solution.values, body_rotation=np.array([b.rotation for b in bodies]),
                     body_mm=np.array([b.translation_mm for b in bodies]))
    try:
        trial = bundle_of(turned).solve(values)
    except Singular:
        return None
    return (trial, turned) if trial.cost < 0.7 * solution.cost else None


def names_of_bent(problem, markers, where):
    """Findings for curled markers, whose corners count for less."""
    out = []
    for marker in sorted(markers):
        seen = [s for s in problem.sightings if marker in s.tags]
        names = [s.name for s in seen if s.tags[marker].bent]
        # one photo of several, or a few of many, may err: paper is bent in all of them
        if names and len(names) >= min(2, len(seen)) and 2 * len(names) >= len(seen):
            title = problem.kit.slot(marker).role.title
            out.append(
                Finding(
                    ATTENTION, where or ", ".join(names), f"marker {marker} ({title}) is not flat, or"
                    f" partly hidden, in {len(names)} photo{'s' * (len(names) > 1)}: its plus-or-minus"
                    " was made wider", "stick it on something flat and stiff and take the photos again"))
    return out


def names_of_foreign(problem, count):
    """Findings for sightings that were left out, gathered by marker."""
    by_marker = {}
    for name, marker in problem.left_out:
        by_marker.setdefault(marker, []).append(name)
    out = []
    for marker, names in sorted(by_marker.items()):
        title = problem.kit.slot(marker).role.title
        if len(names) >= max(2, count.get(marker, 0)):
            out.append(Finding(ATTENTION, ", ".join(names), f"marker {marker} ({title}) sits elsewhere than"
                               " in the other photos: it was moved, or its backing is loose or bent",
                               "fix it and take these photos again"))
        else:
            out.append(
                Finding(
                    ATTENTION, ", ".join(names), f"marker {marker} ({title}) does not fit the other"
                    " photos here and was left out (moved, half hidden, mirrored, or printed twice)",
                    "look at it in the annotated photo"))
    return out
