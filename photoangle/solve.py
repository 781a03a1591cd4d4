"""All photos of a state together: sightings in, a Scene with its covariance out.

Start values are chained together; the bundle is solved; both tilts of every marker are tried on the total
cost; sightings that do not belong are named and left out; and whether the phone moved
its lens from photo to photo is decided by the residuals.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace

import numpy as np

from calib.bundle import Bundle, Singular
from calib.calibrate import MOVING_SIGMA
from calib.kit import card_saddles_mm
from calib.poses import Pose
from calib.resection import square_poses
from calib.rows import CardRow, Priors, TagRow, Tie, Values
from photoangle.model import ATTENTION, NOTE, UNUSABLE, Finding, Refusal, Scene
from photoangle.start import start_poses
from photoangle.tilts import doubt_of_tilt, try_other_tilts

# A whole tag's squared whitened residual (expected 8) above which it does not belong.
_FOREIGN = 60.0
# A tilt whose rival costs less than this more is not decided.
TILT_MARGIN = 20.0
# Below this its odds are above 1 in 55: enough to be told.
_TOLD_MARGIN = 8.0
# A curled tag's corners err by this much of its bend (rendered tags round tubes of 50 to 400 mm: 0.8 to 1.8).
_CURL_SHARE = 1.5
_PLUMB_STANDOFF_MM, _STRING_TIE_MM = 1.6, 0.15
# How well parts lie in the plane of a card held beside them.
_PLANE_MM, _PLANE_TILT_DEG = 1.0, 2.0


@dataclass(frozen=True)
class LensKnowledge:
    """What is known of the lens before the photos of a state are looked at.

    priors: lens mean and information, and the spread of a moving lens; floor_px: added to every
    corner; source: "profile", "exif" or "card"; can_move: whether a moving lens may be tried.
    """

    priors: Priors
    floor_px: float = 0.0
    source: str = "profile"
    can_move: bool = True


def solve_scene(sightings, kit, knowledge, where="", more=None, planar=False):
    """Solve one set of photos.

    Parameters: sightings: list of PhotoSighting; kit; knowledge: LensKnowledge; where: for
    messages; more: optional callback (scene, sightings) -> sightings with tags found by a second,
    guided look, or the same list; planar: the markers lie in the card's plane.
    Returns Scene or Refusal.
    """
    sizes = {i: kit.slot(i).size_mm for s in sightings for i in s.tags}
    used = [s for s in sightings if s.tags or s.card is not None]
    if not used:
        return Refusal(Finding(UNUSABLE, where, "no marker and no card was found in any photo",
                               "check that the markers are this kit's, face the phone, are lit, and fill"
                               " at least 40 pixels each"))
    scene = _solve_once(used, kit, sizes, knowledge, where, planar)
    if isinstance(scene, Refusal) or more is None:
        return scene
    fuller = more(scene, used)
    if fuller is not used:
        again = _solve_once(fuller, kit, sizes, knowledge, where, planar)
        if not isinstance(again, Refusal):
            return again
    return scene


def _solve_once(sightings, kit, sizes, knowledge, where, planar):
    built = _start(sightings, kit, sizes, knowledge, where, planar)
    if isinstance(built, Refusal):
        return built
    lost, built = built
    solution, problem = built
    solution, problem = _without_foreign(solution, problem)
    moving = solution.bundle.per_camera == 9
    if not moving and knowledge.can_move and len(problem.sightings) >= 2:
        moving, solution, problem = _try_moving(solution, problem)
    solution, margins, rivals = try_other_tilts(solution, problem.order)
    solution, problem = _without_foreign(solution, problem)
    try:
        covariance = solution.covariance()
    except Singular:
        return Refusal(Finding(UNUSABLE, where, "the photos do not tie the markers together",
                               "take photos that each show the card, or at least two markers that"
                               " another photo shows too"))
    for body, marker in enumerate(problem.order):
        if margins.get(marker, np.inf) < TILT_MARGIN and marker in rivals:
            at = solution.bundle.body_slice_of(body)
            pose = Pose(solution.values.body_rotation[body], solution.values.body_mm[body])
            covariance[at, at] += doubt_of_tilt(pose, rivals[marker], margins[marker] / max(1.0, solution.scale()))
    return _scene(solution, problem, covariance, margins, moving, lost, knowledge, where)


@dataclass(frozen=True)
class _Problem:
    """Sightings in the order of the bundle's cameras, marker ids in the order of its bodies."""

    sightings: tuple
    order: tuple  # None for the card, then marker ids; plumb markers that turn may come several times
    sizes: dict
    kit: object
    knowledge: LensKnowledge
    priors: Priors
    left_out: tuple = ()
    turning: bool = False
    planar: bool = False


def _rows(problem):
    floor = problem.knowledge.floor_px**2
    body = {}
    for k, i in enumerate(problem.order):
        body.setdefault(i, k)
    saddles = card_saddles_mm(problem.kit.card) if problem.kit.card else None
    bent = Counter(i for s in problem.sightings for i, t in s.tags.items() if t.bent)
    tags, cards = [], []
    gone = set(problem.left_out)
    for c, s in enumerate(problem.sightings):
        for i in sorted(s.tags):
            own = (i, s.name) if (i, s.name) in body else i
            if own in body and (s.name, i) not in gone:
                # a curl shifts the corners alike in every photo: more photos must not average it away
                curl = bent[i] * (_CURL_SHARE * s.tags[i].bend_px) ** 2 if s.tags[i].bent else 0.0
                tags.append(TagRow(c, body[own], problem.sizes[i], s.tags[i].corners_px,
                                   s.tags[i].covariance_px2 + (floor + curl) * np.eye(8)))
        if s.card is not None and None in body:
            cards.append(CardRow(c, saddles[s.card.index], s.card.pixels,
                                 s.card.covariance_px2 + floor * np.eye(2)))
    return tags, cards


def _bundle(problem, priors=None):
    tags, cards = _rows(problem)
    size = (252.0, 168.0)
    if problem.kit.card:
        size = (problem.kit.card.width_mm, problem.kit.card.height_mm)
    return Bundle(len(problem.sightings), len(problem.order), tags, cards,
                  priors or problem.priors,
                  _string_ties(problem) + _plane_ties(problem), size)


def _string_ties(problem):
    """Markers on a string may turn about it between photos: only their points on the string are shared."""
    if not problem.turning:
        return ()
    ties = []
    point = np.array([0, 0, _PLUMB_STANDOFF_MM])
    for base in (i for i in problem.order if isinstance(i, int) and _is_plumb(problem.kit, i)):
        a = problem.order.index(base)
        ties += [Tie(a, point, b, point, np.eye(3) / _STRING_TIE_MM)
                 for b, other in enumerate(problem.order)
                 if isinstance(other, tuple) and other[0] == base]
    return tuple(ties)


def _plane_ties(problem):
    """Markers said to lie in the card's plane: three points of each are held near z = 0."""
    if not problem.planar:
        return ()
    tilt = np.radians(_PLANE_TILT_DEG) * 100
    ties = []
    for body, marker in enumerate(problem.order):
        if isinstance(marker, int) and not _is_plumb(problem.kit, marker):
            ties.append(Tie(body, np.zeros(3), -1, np.zeros(3), np.array([[0, 0, 1 / _PLANE_MM]])))
            for arm in (np.array([100.0, 0, 0]), np.array([0, 100.0, 0])):
                # the difference of two points of one body: its tilt alone
                ties.append(Tie(body, arm, body, np.zeros(3), np.array([[0, 0, 1 / tilt]])))
    return tuple(ties)


def _is_plumb(kit, marker):
    slot = kit.slot(marker)
    return slot is not None and slot.role.body == "plumb"


def _start(sightings, kit, sizes, knowledge, where, planar):
    priors = knowledge.priors
    lens = priors.lens_mean
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
        problem = _Problem(tuple(sightings[k] for k in placed), order, sizes, kit, knowledge, priors,
                           planar=planar and with_card)
        poses = [cameras[k] for k in placed]
        try:
            solution = _bundle(problem).solve(_values(lens, poses, [markers.get(i) for i in order],
                                                      priors.paper_mean))
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


def _try_moving(solution, problem):
    """Let each photo have its own focal length and principal point if the data ask for it.

    Taken where the cost falls by clearly more than the new unknowns, three a photo, would bring by chance.
    """
    width = max(s.width_px for s in problem.sightings)
    sigma = MOVING_SIGMA * [1, width / 4032, width / 4032]
    freer = replace(problem, priors=replace(problem.priors, shift_sigma=sigma))
    try:
        trial = _bundle(freer).solve(solution.values)
    except Singular:
        return False, solution, problem
    gain = (solution.cost - trial.cost) / trial.scale()
    if gain > 3 * len(problem.sightings) + 9:
        return True, trial, freer
    return False, solution, problem


def _without_foreign(solution, problem):
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
        if isinstance(marker, int) and _is_plumb(problem.kit, marker) and not problem.turning:
            turned = _let_plumb_turn(solution, problem)
            if turned is not None:
                solution, problem = turned
                continue
        marker = marker[0] if isinstance(marker, tuple) else marker
        if sum(r.body == rows[worst].body for r in rows) == 1:
            break  # its only sighting: nothing says that it is wrong
        problem = replace(problem, left_out=problem.left_out + ((name, marker),))
        try:
            solution = _bundle(problem).solve(solution.values)
        except Singular:
            break
    return solution, problem


def _let_plumb_turn(solution, problem):
    """The same problem with each plumb marker free to turn about the string between photos."""
    order = list(problem.order)
    bodies = [Pose(r, t) for r, t in zip(solution.values.body_rotation, solution.values.body_mm)]
    lens = solution.values.lens
    for base in [i for i in problem.order if isinstance(i, int) and _is_plumb(problem.kit, i)]:
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
        trial = _bundle(turned).solve(values)
    except Singular:
        return None
    return (trial, turned) if trial.cost < 0.7 * solution.cost else None


def _scene(solution, problem, covariance, margins, moving, lost, knowledge, where):
    v = solution.values
    markers = {i: Pose(v.body_rotation[k], v.body_mm[k]) for k, i in enumerate(problem.order)
               if isinstance(i, int)}
    count = Counter(problem.order[r.body] for r in solution.bundle.tags)
    count = Counter({i: count[i] + sum(n for k, n in count.items() if isinstance(k, tuple) and k[0] == i)
                     for i in markers})
    findings = [Finding(ATTENTION, name, "this photo shares too little with the others to be placed",
                        "have the card, or two markers that other photos show, in every photo")
                for name in lost]
    findings += _names_of_foreign(problem, count) + _names_of_bent(problem, markers, where)
    findings += [Finding(ATTENTION, where, f"marker {i} ({problem.kit.slot(i).role.title}) fits the photos at two tilts:"
                         " its plus-or-minus holds both", "take one more photo of it, from another side")
                 for i in sorted(markers) if margins.get(i, np.inf) < _TOLD_MARGIN]
    loose = tuple(i for i in markers if margins.get(i, np.inf) < TILT_MARGIN)
    if moving and knowledge.source == "profile" and knowledge.priors.shift_sigma is None:
        findings.append(Finding(NOTE, where, "the phone focused differently from photo to photo;"
                                " each photo got its own focal length", ""))
    return Scene(tuple(s.name for s in problem.sightings),
                 tuple(Pose(r, t) for r, t in zip(v.camera_rotation, v.camera_mm)), markers,
                 {i: problem.sizes[i] for i in markers}, problem.order, solution, covariance, margins,
                 dict(count), moving, problem.order[0] is None, problem.left_out, tuple(findings), loose,
                 knowledge.source)


def _names_of_bent(problem, markers, where):
    """Findings for curled markers, whose corners count for less."""
    out = []
    for marker in sorted(markers):
        names = [s.name for s in problem.sightings if marker in s.tags and s.tags[marker].bent]
        if names:
            title = problem.kit.slot(marker).role.title
            out.append(Finding(ATTENTION, where or ", ".join(names), f"marker {marker} ({title}) is not flat, or"
                               f" partly hidden, in {len(names)} photo{'s' * (len(names) > 1)}: its plus-or-minus"
                               " was made wider", "stick it on something flat and stiff and take the photos again"))
    return out


def _names_of_foreign(problem, count):
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
            out.append(Finding(ATTENTION, ", ".join(names), f"marker {marker} ({title}) does not fit the other"
                               " photos here and was left out (moved, half hidden, mirrored, or printed twice)",
                               "look at it in the annotated photo"))
    return out
