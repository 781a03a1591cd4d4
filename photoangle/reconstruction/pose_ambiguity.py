"""A flat tag seen once fits almost as well when tilted the other way: both tilts of every marker on the total
cost."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from calib.bodies_alone import fit_bodies_alone
from calib.bundle import Bundle
from calib.poses import Pose, angle_between_rotations, vector_from_rotation
from calib.resection import square_poses
from calib.solution import Singular

# Sightings of a marker whose other tilts are tried, the largest: in more photos the rivals lie between these.
_MOST_TRIED = 8
# Rivals whose cost is worse by less than this, everything else held, are tried with everything free; so many
# at most.
_CLOSE, _MOST_FREED = 60.0, 6
# Rounds of both, as long as the second gains.
_MOST_ROUNDS = 4


def try_other_tilts(solution, order):
    """Try every marker's other tilts; keep what costs less in all photos.

    Parameters: solution: calib.bundle Solution; order: what each body is (a marker's id, or a tuple for a
    plumb marker's further turns, which are left alone).
    Returns the solution; by marker, the cost by which the best rival tilt is worse; and that rival's
    world_from_marker Pose.
    """
    for _ in range(_MOST_ROUNDS):
        held, margins, rivals = _with_cameras_held(solution, order)
        solution, margins, rivals = _with_all_free(held, order, margins, rivals)
        if solution is held:
            break  # nothing more was gained: the margins are those of this solution
    return solution, margins, rivals


def _with_cameras_held(solution, order):
    bundle, values = solution.bundle, solution.values
    margins, rivals, flipped = {}, {}, False
    rotations, shifts = values.body_rotation.copy(), values.body_mm.copy()
    starts = _other_starts(solution, order)
    fitted = _fitted_alone(solution, starts)
    for body in dict.fromkeys(k for k, *_ in starts):
        marker, now = order[body], _tag_cost(solution, body)
        best, kept, rival = now, None, np.inf
        here = Pose(values.body_rotation[body], values.body_mm[body])
        for (of, *_), (cost, pose) in zip(starts, fitted, strict=True):
            if of != body or angle_between_rotations(pose.rotation, here.rotation) < np.radians(3):
                continue
            if cost < rival:
                rival, rivals[marker] = cost, pose
            if cost < best - 1e-6:
                best, kept = cost, pose
        if kept is None:
            margins[marker] = float(rival - now)
        else:
            margins[marker], rivals[marker] = float(now - best), here
            rotations[body], shifts[body], flipped = kept.rotation, kept.translation_mm, True
    if flipped:
        trial = bundle.solve(solution.with_values(body_rotation=rotations, body_mm=shifts))
        if trial.cost < solution.cost:
            solution = trial
    return solution, margins, rivals


def _other_starts(solution, order):
    """(body, its rows, start Pose) of every tilt that a sighting of a marker allows beside the one it has;
    one without a pose where it allows none."""
    bundle, values = solution.bundle, solution.values
    out = []
    for body, marker in enumerate(order):
        if body == 0 or isinstance(marker, tuple):
            continue
        rows = [r for r in bundle.tags if r.body == body]
        tried = [values.body_rotation[body]]
        if rows:
            out.append((body, rows, None))
        for r in _largest(rows):
            world_from_camera = Pose(values.camera_rotation[r.camera], values.camera_mm[r.camera]).inverse()
            for p, _ in square_poses(r.size_mm, r.corners_px, values.lens):
                pose = world_from_camera @ p
                if any(angle_between_rotations(pose.rotation, t) < np.radians(4) for t in tried):
                    continue
                tried.append(pose.rotation)
                out.append((body, rows, pose))
    return out


def _fitted_alone(solution, starts):
    """(cost, Pose) of each start that has a pose, everything but that marker held; of the others what is
    there."""
    whole, values = solution.bundle, solution.values
    asked = [(rows, pose) for _, rows, pose in starts if pose is not None]
    found = iter(())
    if asked:
        rows = [replace(r, body=k) for k, (seen, _) in enumerate(asked, 1) for r in seen]
        alone = Bundle(whole.cameras, len(asked) + 1, rows, [], whole.priors, nu=whole.nu)
        start = replace(values, body_rotation=np.stack([np.eye(3), *(p.rotation for _, p in asked)]),
                        body_mm=np.stack([np.zeros(3), *(p.translation_mm for _, p in asked)]))
        fitted, cost = fit_bodies_alone(alone, start)
        found = iter([(float(c), Pose(r, t)) for c, r, t in zip(
            cost[1:], fitted.body_rotation[1:], fitted.body_mm[1:], strict=True)])
    return [(np.inf, Pose(values.body_rotation[body], values.body_mm[body])) if pose is None else next(found)
            for body, _, pose in starts]


def _with_all_free(solution, order, margins, rivals):
    """The closest rivals once more, with cameras and lens free to follow: a lens that is hardly known bends
    to a wrong tilt, and from there the right one looks worse than it is.

    Returns as `try_other_tilts`; margins of those tried are of the whole cost.
    """
    margins, rivals = dict(margins), dict(rivals)
    close = sorted((m for m in rivals if margins[m] < _CLOSE), key=margins.get)[:_MOST_FREED]
    for marker in close:
        body, rival, v = order.index(marker), rivals[marker], solution.values
        here = Pose(v.body_rotation[body], v.body_mm[body])
        rotations, shifts = v.body_rotation.copy(), v.body_mm.copy()
        rotations[body], shifts[body] = rival.rotation, rival.translation_mm
        try:
            trial = solution.bundle.solve(solution.with_values(body_rotation=rotations, body_mm=shifts))
        except Singular:
            continue
        there = Pose(trial.values.body_rotation[body], trial.values.body_mm[body])
        if angle_between_rotations(there.rotation, here.rotation) < np.radians(3):
            continue  # it came back
        margins[marker] = abs(trial.cost - solution.cost)
        if trial.cost < solution.cost:
            solution, rivals[marker] = trial, here
        else:
            rivals[marker] = there
    return solution, margins, rivals


def _largest(rows):
    if len(rows) <= _MOST_TRIED:
        return rows
    side = [-float(np.linalg.norm(r.corners_px[0] - r.corners_px[2])) for r in rows]
    return [rows[k] for k in sorted(np.argsort(side, kind="stable")[:_MOST_TRIED])]


def doubt_of_tilt(pose, rival, margin):
    """What an undecided tilt adds to a marker's covariance (6, 6): the second moment of the rival about the
    kept pose.

    The two poses' odds are exp(-margin / 2), as their likelihoods are.  Turn in rad (acting on the left),
    then place in mm.
    """
    odds = np.exp(-max(margin, 0.0) / 2)
    apart = np.r_[vector_from_rotation(rival.rotation @ pose.rotation.T),
                  rival.translation_mm - pose.translation_mm]
    return odds / (1 + odds) * np.outer(apart, apart)


def _tag_cost(solution, body):
    chosen = solution.bundle.tag_body == body
    return float(solution.bundle.loss(solution.tag_square[chosen], 8).sum())
