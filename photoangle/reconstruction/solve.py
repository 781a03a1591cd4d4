"""All photos of a state together: sightings in, a Scene with its covariance out.

Start values are chained together and the bundle is solved by the likeliest model: a lens that stands still or
moves from photo to photo, or photos that were changed (`misfit`).  Both tilts of every marker are tried on
the total cost; sightings and photos that do not belong are named and left out; where nothing fits there is no
Scene.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace

import numpy as np

from calib.calibrate import MOVING_SIGMA
from calib.poses import Pose
from calib.rows import Values
from calib.solution import Singular
from photoangle.core.assumed import PLUMB_STANDOFF_MM
from photoangle.core.findings import ATTENTION, NOTE, UNUSABLE, Finding, Refusal
from photoangle.core.origin import Origin
from photoangle.reconstruction.initial_poses import start_poses
from photoangle.reconstruction.lens.shown import shown_by
from photoangle.reconstruction.misfit.edited import (
    edited_findings,
    edits_spread,
    is_edited,
    likelier,
    try_edited,
)
from photoangle.reconstruction.misfit.said import in_parts, nothing_fits, strangers
from photoangle.reconstruction.misfit.same_photo import counted_once
from photoangle.reconstruction.misfit.togetherness import ASKED_FROM, clear_majority, groups, may_compare
from photoangle.reconstruction.outliers import names_of_bent, names_of_foreign, taken_back, without_foreign
from photoangle.reconstruction.paper_bend import with_bend
from photoangle.reconstruction.pose_ambiguity import doubt_of_tilt, try_other_tilts
from photoangle.reconstruction.problem import Problem, bundle_of, is_plumb
from photoangle.reconstruction.scene import Scene, Taken, scene_errors


@dataclass(frozen=True)
class SceneOptions:
    """planar: the markers lie in the card's plane; origin: whose errors these are; plumb_standoff_mm: from a
    plumb marker's face to the string."""

    planar: bool = False
    origin: Origin = Origin()
    plumb_standoff_mm: float = PLUMB_STANDOFF_MM


# A tilt whose rival costs less than this more is not decided.
TILT_MARGIN = 20.0
# Typical squares of so many times what is expected are no measurement: three standard deviations; and a
# change of the pictures that leaves more than noise explains nothing.
_NO_FIGURE, _NO_EXPLANATION = 9.0, 3.0
# By how much pictures may have been enlarged, as starts: from each the next is within reach.
_ENLARGED = (1.0, 1.3, 1.8)
# Below this its odds are above 1 in 55: enough to be told.
_TOLD_MARGIN = 8.0


def solve_scene(sightings, kit, knowledge, where="", more=None, options=SceneOptions()):
    """Solve one set of photos.

    Parameters: sightings: list of Detections; kit; knowledge: LensKnowledge; where: for
    messages; more: optional callback (scene, sightings) -> sightings with tags found by a second,
    guided look, or the same list; options: SceneOptions.
    Returns Scene or Refusal.
    """
    sizes = {i: kit.slot(i).size_mm for s in sightings for i in s.tags}
    used = [s for s in sightings if s.tags or s.card is not None]
    if not used:
        return Refusal(Finding(UNUSABLE, where, "no marker and no card was found in any photo",
                               "check that the markers are this kit's, face the phone, are lit, and fill"
                               " at least 40 pixels each"))
    used, twins = counted_once(used)
    scene = _solve_once(used, kit, sizes, knowledge, where, options)
    if isinstance(scene, Refusal):
        return scene
    # a guided look needs a lens that says where things are; those of changed photos are not sought after
    fuller = used if more is None or scene.edited else more(scene, used)
    if fuller is not used:
        again = _solve_once(fuller, kit, sizes, knowledge, where, options)
        scene = scene if isinstance(again, Refusal) else again
    return replace(scene, findings=scene.findings + tuple(twins))


def _solve_once(sightings, kit, sizes, knowledge, where, options):
    given = (kit, sizes, knowledge, where, options)
    built = _fitted(sightings, *given)
    if isinstance(built, Refusal):
        return built
    findings = []
    if _doubtful(*built[1:]) and may_compare(sightings):
        parts = groups(sightings, lambda pair: _plainly_fitted(pair, *given))
        if len(parts) > 1:
            if not clear_majority(parts):
                return Refusal(in_parts(sightings, parts))
            built = _fitted([sightings[k] for k in parts[0]], *given)
            if isinstance(built, Refusal):
                return built
            findings = strangers(sightings, parts)
    lost, solution, problem = built
    solution, margins, rivals = try_other_tilts(solution, problem.order)
    solution, problem = taken_back(*without_foreign(solution, problem))
    if _fits_nothing(solution, problem):
        return Refusal(nothing_fits(solution, problem))
    try:
        inverse = solution.inverse()
    except Singular:
        return Refusal(Finding(UNUSABLE, where, "the photos do not tie the markers together",
                               "take photos that each show the card, or at least two markers that"
                               " another photo shows too"))
    covariance = solution.covariance(inverse=inverse)
    doubt = {}
    for body, marker in enumerate(problem.order):
        if margins.get(marker, np.inf) < TILT_MARGIN and marker in rivals:
            at = solution.bundle.body_slice_of(body)
            pose = Pose(solution.values.body_rotation[body], solution.values.body_mm[body])
            doubt[marker] = doubt_of_tilt(pose, rivals[marker], margins[marker] / max(1.0, solution.scale()))
            covariance[at, at] += doubt[marker]
    taken = Taken.of(options.origin, sightings[0].camera, knowledge)
    dof = solution.degrees_of_freedom()
    errors = scene_errors(solution.bundle, inverse, covariance, dof, taken)
    errors = with_bend(errors, solution, problem.order, options.origin.prints, inverse)
    findings += _findings(problem, Counter(_counts(problem, solution.bundle)), lost, margins, where)
    moving = solution.bundle.shifts > 0
    if is_edited(problem):
        findings += edited_findings(solution, problem, covariance, where)
    elif moving and knowledge.source == "profile" and knowledge.priors.shift_sigma is None:
        findings.append(Finding(NOTE, where, "the phone focused differently from photo to photo;"
                                " each photo got its own focal length", ""))
    scene = _scene(solution, problem, errors, taken)
    ambiguous = tuple(i for i in scene.markers if margins.get(i, np.inf) < TILT_MARGIN)
    shown = None
    if knowledge.source != "profile" and not is_edited(problem):
        shown = shown_by(solution, inverse, covariance, dof, taken.camera, options.origin.state)
    return replace(scene,
                   lens_shown=shown,
                   tilt_margin=margins,
                   doubt=doubt,
                   ambiguous=ambiguous,
                   moving_lens=moving,
                   edited=is_edited(problem),
                   findings=tuple(findings))


def _fitted(sightings, kit, sizes, knowledge, where, options):
    """(names of photos that could not be placed, Solution, Problem) by the likeliest model of the lens and of
    what was done to the photos, or Refusal."""
    built = _start(sightings, kit, sizes, knowledge, where, options)
    if isinstance(built, Refusal):
        return built
    lost, built = built
    # a lens that moves comes before sightings that do not belong: it makes good ones look foreign
    moved = _with_moving(*built)
    plain = _with_moving(*without_foreign(*moved))
    freer = try_edited(*moved)
    if freer is not None or _doubtful(*plain):
        # each with the tilts that suit it: a wrong tilt looks like a change of the picture
        plain = _settled(*plain)
    best = plain if freer is None else likelier(plain, _settled(*freer))
    for enlarged in _ENLARGED:
        if not _doubtful(*best):
            break
        # from far off the right focal length is not found: changed pictures, enlarged or not, from the start
        built = _start(sightings, kit, sizes, knowledge, where, options, enlarged)
        if not isinstance(built, Refusal) and len(built[0]) <= len(lost):
            best = likelier(best, _settled(*built[1]))
    return lost, *best


def _settled(solution, problem):
    """(solution, problem) with the tilts tried before anything is left out: those that a wrong lens chose
    make good sightings look foreign."""
    return taken_back(*without_foreign(try_other_tilts(solution, problem.order)[0], problem))


def _plainly_fitted(sightings, kit, sizes, knowledge, where, options):
    """(Solution, Problem) of photos as the phone took them; None where they cannot be put together."""
    built = _start(sightings, kit, sizes, knowledge, where, options)
    if isinstance(built, Refusal) or built[0]:
        return None
    fitted = without_foreign(*_with_moving(*built[1]))
    return _settled(*fitted) if len(fitted[1].left_out) > 1 else fitted


def _doubtful(solution, problem):
    return len(problem.left_out) >= ASKED_FROM or _fits_nothing(solution, problem)


def _fits_nothing(solution, problem):
    return solution.typical_misfit() > (_NO_EXPLANATION if is_edited(problem) else _NO_FIGURE)


def _start(sightings, kit, sizes, knowledge, where, options, enlarged=None):
    """(names of photos that could not be placed, (Solution, Problem)), or Refusal.

    enlarged: by how much the pictures were made larger, where they are tried as changed ones; None: they were
    not.
    """
    priors = knowledge.priors
    lens = priors.lens_mean
    if enlarged is not None:
        priors = replace(priors, shift_sigma=edits_spread(sightings, knowledge))
        lens = np.r_[lens[0] * enlarged, lens[1:]]
    with_card = kit.card is not None and any(
        s.card is not None and len(s.card.index) >= 6 for s in sightings)
    if with_card:
        trials = [(None, 0)]
    else:
        count = Counter(i for s in sightings for i in s.tags)
        if not count:
            return Refusal(Finding(UNUSABLE, where, "too little of the card and no marker is seen",
                                   "take the photo again with the whole card or the markers in it"))
        best = max(count.values())
        root = max((i for i in count if count[i] == best), key=lambda i: max(
            np.linalg.norm(s.tags[i].corners_px[0] - s.tags[i].corners_px[2])
            for s in sightings if i in s.tags))
        trials = [(root, 0), (root, 1)]
    solutions = []
    for root, tilt in trials:
        cameras, markers = start_poses(sightings, sizes, kit.card, lens, root, tilt)
        placed = [k for k, c in enumerate(cameras) if c is not None]
        if not placed:
            continue
        order = ((None,) if with_card else (root,)) + tuple(
            sorted(i for i in markers if i != root))
        problem = Problem(tuple(sightings[k] for k in placed), order, sizes, kit, knowledge, priors,
                           planar=options.planar and with_card,
                          plumb_standoff_mm=options.plumb_standoff_mm)
        poses = [cameras[k] for k in placed]
        try:
            start = _values(priors.lens_mean, poses, [markers.get(i) for i in order], priors.paper_mean)
            if enlarged is not None:
                shift = np.zeros((len(poses), len(priors.shift_sigma)))
                shift[:, 0] = enlarged - 1
                start = replace(start, shift=shift)
            solution = bundle_of(problem).solve(start, most_rounds=60 if enlarged is None else 120)
        except (Singular, np.linalg.LinAlgError):
            continue
        lost = tuple(s.name for k, s in enumerate(sightings) if k not in placed)
        solutions.append((solution.cost, lost, (solution, problem)))
    if not solutions:
        return Refusal(Finding(UNUSABLE, where, "the photos could not be put together",
                               "take photos that each show the card, or at least two markers that"
                               " another photo shows too"))
    _, lost, built = min(solutions, key=lambda s: (len(s[1]), s[0]))
    return lost, built


def _values(lens, cameras, bodies, paper):
    first = Pose.identity()
    bodies = [first] + list(bodies[1:])
    return Values(np.array(lens, float), np.array(paper, float),
                  np.array([p.rotation for p in cameras]),
                  np.array([p.translation_mm for p in cameras]),
                  np.zeros((len(cameras), 3)),
                  np.array([p.rotation for p in bodies]),
                  np.array([p.translation_mm for p in bodies]))


def _with_moving(solution, problem):
    """(solution, problem) with a lens that moves from photo to photo, where that may be and the data ask for
    it."""
    if solution.bundle.shifts or not problem.knowledge.can_move or len(problem.sightings) < 2:
        return solution, problem
    return _try_moving(solution, problem)


def _try_moving(solution, problem):
    """Let each photo have its own focal length and principal point if the data ask for it.

    Taken where the cost falls by clearly more than the new unknowns, three a photo, would bring by chance.
    """
    width = max(s.width_px for s in problem.sightings)
    sigma = MOVING_SIGMA * [1, width / 4032, width / 4032]
    freer = replace(problem, priors=replace(problem.priors, shift_sigma=sigma))
    try:
        trial = bundle_of(freer).solve(solution.values)
    except Singular:
        return solution, problem
    gain = (solution.cost - trial.cost) / trial.scale()
    if gain > 3 * len(problem.sightings) + 9:
        return trial, freer
    return solution, problem


def _counts(problem, bundle):
    """Marker -> number of photos that count; the turns of one on a plumb string are one marker."""
    count = Counter(problem.order[r.body] for r in bundle.tags)
    return {i: count[i] + sum(n for k, n in count.items() if isinstance(k, tuple) and k[0] == i)
            for i in problem.order if isinstance(i, int)}


def _findings(problem, count, lost, margins, where):
    markers = [i for i in problem.order if isinstance(i, int)]
    findings = [Finding(ATTENTION, name, "this photo shares too little with the others to be placed",
                        "have the card, or two markers that other photos show, in every photo")
                for name in lost]
    findings += names_of_foreign(problem, count) + names_of_bent(problem, markers, where)
    findings += [
        # of a plumb marker its place counts, which hardly moves with the tilt
        Finding(
            NOTE if is_plumb(problem.kit, i) else ATTENTION, where,
            f"marker {i} ({problem.kit.slot(i).role.title}) fits the photos at two tilts:"
            " its plus-or-minus holds both", "take one more photo of it, from another side")
        for i in sorted(markers) if margins.get(i, np.inf) < _TOLD_MARGIN
    ]
    return findings


def _scene(solution, problem, errors, taken):
    """The Scene of a solution; what is doubtful about it is for the caller to add."""
    v = solution.values
    markers = {
        i: Pose(v.body_rotation[k], v.body_mm[k])
        for k, i in enumerate(problem.order) if isinstance(i, int)
    }
    return Scene(photos=tuple(s.name for s in problem.sightings),
                 cameras=tuple(Pose(r, t) for r, t in zip(v.camera_rotation, v.camera_mm, strict=True)),
                 markers=markers,
                 sizes_mm={i: problem.sizes[i]
                           for i in markers},
                 order=problem.order,
                 solution=solution,
                 errors=errors,
                 tilt_margin={},
                 sightings=_counts(problem, solution.bundle),
                 moving_lens=False,
                 has_card=problem.order[0] is None,
                 swinging=problem.swinging,
                 left_out=problem.left_out,
                 taken=taken)
