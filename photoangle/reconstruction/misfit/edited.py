"""Were photos changed after they were taken?

Cropped, enlarged, straightened, squeezed, lens-corrected: tried as an explanation, each photo its own,
whenever the lens as it is known does not explain the photos.

Two models are weighed by their evidence (Laplace's approximation; MacKay 2003, chapter 28): the gain in cost
against what the further unknowns would gain by chance, and how often photos are changed at all.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from calib.lens import EDITS
from calib.solution import Singular
from photoangle.core.assumed import EDITED_ODDS, EDITS_SPREAD
from photoangle.core.findings import ATTENTION, Finding
from photoangle.reconstruction.problem import bundle_of

# Cost of a sighting that is left out: what it would have to fit worse by.
LEFT_OUT_COST = 60.0
# Further than this from being likelier, the explanation is not worth a solution of its own.
_NOT_WORTH = 12.0
# An edit of this size is worth a word: enlarged, moved (of the width), squeezed, sheared, perspective,
# distortion taken out, radial term.
_SAID = np.array([0.015, 0.02, 0.02, 0.003, 0.003, 0.004, 0.004, 0.5, 0.03])
_SURE = 4.0
# Held where it is.
_HELD = 1e-6


def edits_spread(sightings, knowledge):
    """Prior standard deviations (9,) of a photo's own focal length, principal point and edits.

    A lens of which no profile is known may be distorted in any way: to say more of it is no edit.
    """
    spread = np.array(EDITS_SPREAD)
    spread[1:3] *= max(s.width_px for s in sightings)
    if knowledge.source != "profile":
        spread[-2:] = _HELD
    return spread


def is_edited(problem):
    """Whether a Problem takes its photos to have been changed."""
    return problem.priors.shift_sigma is not None and len(problem.priors.shift_sigma) == 3 + EDITS


def try_edited(solution, problem):
    """(solution, problem) with photos that may have been edited, or None where that is far from likely."""
    freer = replace(problem, priors=replace(problem.priors, shift_sigma=edits_spread(problem.sightings,
                                                                                problem.knowledge)))
    shift = solution.values.shift
    start = solution.with_values(shift=np.pad(shift[:, :3], ((0, 0), (0, EDITS))))
    bundle = bundle_of(freer)
    parts = bundle.whitened(start, True)
    matrix, gradient, _ = bundle._normal(start, *parts)
    free = np.flatnonzero(bundle.free)
    try:
        gain = float(gradient[free] @ np.linalg.solve(matrix[np.ix_(free, free)], gradient[free]))
        chance = _log_det(bundle, matrix) - _log_det(solution.bundle, solution.information()[0])
        if gain - chance < -_NOT_WORTH:
            return None
        return bundle.solve(start, most_rounds=120), freer
    except (Singular, np.linalg.LinAlgError):
        return None


def evidence(solution, problem, factor):
    """Minus twice the log evidence of a solution, to a constant of the problem: less is likelier.

    factor: on the pixels' variance.
    """
    odds = -2 * math.log(EDITED_ODDS) if is_edited(problem) else 0.0
    return (solution.cost / factor + _log_det(solution.bundle, solution.information()[0])
            + LEFT_OUT_COST * len(problem.left_out) + odds)


def likelier(one, other):
    """The likelier of two (solution, problem)."""
    factor = max(1.0, min(one[0].scale(), other[0].scale()))
    return min((one, other), key=lambda p: evidence(*p, factor))


def _log_det(bundle, matrix):
    """Of the normal matrix, less that of the photos' own priors."""
    free = np.flatnonzero(bundle.free)
    sign, value = np.linalg.slogdet(matrix[np.ix_(free, free)])
    sigma = bundle.priors.shift_sigma
    own = 0.0 if sigma is None else -2 * bundle.cameras * np.log(sigma).sum()
    return value - own if sign > 0 else np.inf


def edited_findings(solution, problem, covariance, where):
    """What was done to which photos, in words; those that only a phone's lens explains are not named."""
    bundle, found = solution.bundle, {}
    width = max(s.width_px for s in problem.sightings)
    for c, sighting in enumerate(problem.sightings):
        at = bundle.camera_start + bundle.per_camera * c + 6 + np.arange(bundle.shifts)
        own = solution.values.shift[c] / np.r_[1, width, width, np.ones(EDITS)]
        u = np.sqrt(covariance[at, at].clip(0)) / np.r_[1, width, width, np.ones(EDITS)]
        sure = (np.abs(own) > _SAID) & (np.abs(own) > _SURE * u)
        if sure.any():
            found[sighting.name] = _words(own, sure)
    if not found:
        return [Finding(ATTENTION, where,
                        "the lens as it is known does not explain these photos; photos that were changed"
                        " after they were taken would: that was allowed for, and the plus-or-minus is wider",
                        "use the original photos, as the phone wrote them, with no filter and no app"
                        " between")]
    words = list(dict.fromkeys(w for ws in found.values() for w in ws))
    return [Finding(ATTENTION, ", ".join(found),
                    f"changed after {'they were' if len(found) > 1 else 'it was'} taken: {', '.join(words)},"
                    " as far as the photos tell; that was allowed for, and the plus-or-minus is wider",
                    "use the original photos, as the phone wrote them; no zoom, no filter, no app between")]


def _words(own, sure):
    out = []
    if sure[0]:
        out.append(f"{'enlarged' if own[0] > 0 else 'made smaller'} (zoom or crop)")
    if sure[1] or sure[2]:
        out.append("cut out off its middle")
    if sure[5] or sure[6]:
        out.append("its perspective straightened")
    if sure[3]:
        out.append("squeezed to another shape")
    if sure[4]:
        out.append("sheared")
    if sure[7] or sure[8]:
        out.append("its lens corrected")
    return out
