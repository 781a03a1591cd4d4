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
# By so much for each plumb marker and further photo the cost must fall where it may turn, or swing: twice
# what six numbers gain by chance.
_SWINGS = 12.0
# What its markers turn about is known within 2 mm, their places in a photo within about 0.2 mm.
_AXIS_KNOWN = 0.1


def without_foreign(solution, problem):
    """Leave out sightings that do not belong, one after the other, the worst first."""
    for _ in range(12):
        worst = _worst(solution)
        if worst is None:
            break
        rows = solution.bundle.tags
        marker = problem.order[rows[worst].body]
        name = problem.sightings[rows[worst].camera].name
        alone = None if sum(r.body == rows[worst].body for r in rows) == 1 else _without(
            solution, problem, (name, _marker(marker)))
        if _is_plumb(marker, problem) and not problem.turning:
            moved = _let_plumb_move(solution, problem)
            # one of several that does not fit is half hidden or mirrored; of two nothing says which
            several = sum(r.body == rows[worst].body for r in rows) > 2
            if moved is not None and not (moved[1].swinging and several and _plumbs_fit(alone)):
                solution, problem = moved
                continue
        if alone is None:
            break  # its only sighting: nothing says that it is wrong
        solution, problem = alone
    return solution, problem


def _worst(solution):
    """The row of the tag that fits worst, or None where all belong."""
    squares = solution.tag_square / max(1.0, solution.variance_factor())
    return int(np.argmax(squares)) if len(squares) and squares.max() >= _FOREIGN else None


def _without(solution, problem, sighting):
    """(solution, problem) without a (photo, marker), or None where that leaves too little."""
    problem = replace(problem, left_out=problem.left_out + (sighting,))
    try:
        return bundle_of(problem).solve(solution.values), problem
    except Singular:
        return None


def _plumbs_fit(built):
    """Whether all plumb markers of a (solution, problem) fit where they hang."""
    if built is None:
        return False
    solution, problem = built
    limit = _FOREIGN * max(1.0, solution.variance_factor())
    return all(square < limit for row, square in zip(solution.bundle.tags, solution.tag_square, strict=True)
               if _is_plumb(problem.order[row.body], problem))


def _is_plumb(body, problem):
    return isinstance(body, int) and is_plumb(problem.kit, body)


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


def _let_plumb_move(solution, problem):
    """The same problem with each plumb marker free to turn about the string between photos, or where that is
    not enough, to hang elsewhere in each; None where neither explains anything."""
    turning = _with_own_plumbs(solution, problem)
    if turning is None:
        return None
    swinging = replace(turning[1], swinging=True)
    best, more = (solution, problem), len(turning[1].order) - len(problem.order)
    try:
        turned = bundle_of(turning[1]).solve(turning[0])
        turning = turned.values, replace(turning[1], string_mm=_turned_about(turned, turning[1]))
        for trial in (turning[1], swinging):
            solved = bundle_of(trial).solve(turning[0])
            if best[0].cost - solved.cost > _SWINGS * more * solved.scale():
                best = solved, trial
    except Singular:
        pass
    return best if best[1] is not problem else None


def _turned_about(solution, problem):
    """marker -> the point on it (3,), mm, that stays where it is while it turns from photo to photo: where
    string or strip is fixed to it nobody measured."""
    values, out = solution.values, {}
    for base in (i for i in problem.order if _is_plumb(i, problem)):
        at = [k for k, i in enumerate(problem.order) if _marker(i) == base]
        rotations, places = values.body_rotation[at], values.body_mm[at]
        # R_k p + t_k alike for all, and p near where it is said to be
        rows = np.concatenate([*(rotations - rotations.mean(0)), np.eye(3) * _AXIS_KNOWN])
        seen = np.concatenate([*(places.mean(0) - places), problem.string_of(base) * _AXIS_KNOWN])
        out[base] = np.linalg.lstsq(rows, seen, rcond=None)[0]
    return out


def _with_own_plumbs(solution, problem):
    """(Values, Problem) with each plumb marker a body of its own in every photo that shows it but the first,
    or None."""
    order = list(problem.order)
    bodies = [
        Pose(r, t) for r, t in zip(solution.values.body_rotation, solution.values.body_mm, strict=False)
    ]
    lens = solution.values.lens
    gone = set(problem.left_out)
    for base in [i for i in problem.order if isinstance(i, int) and is_plumb(problem.kit, i)]:
        seen = [c for c, s in enumerate(problem.sightings) if base in s.tags and (s.name, base) not in gone]
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
    values = replace(solution.values, body_rotation=np.array([b.rotation for b in bodies]),
                     body_mm=np.array([b.translation_mm for b in bodies]))
    return values, replace(problem, order=tuple(order), turning=True)


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
