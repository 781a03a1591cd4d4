"""How differently the print came out along and across, as the photos of the card have it."""

from __future__ import annotations

import math

from photoangle.carfile.print_check import aspect_read, misread
from photoangle.core.agreement import e_n

ASPECT = 4  # among the paper's unknowns: see calib.rows
# Photos that know it no better than this say nothing.
_KNOWN = 0.003


def seen_aspect(scenes):
    """(x over y less one, its standard uncertainty) of the card by the photos alone; None where they say
    nothing.

    A scene's own value is its solution's less the prior's share: of independent normal knowledge the
    inverse variances add, and so do the values weighted with them.
    """
    total = weighted = 0.0
    for scene in scenes:
        bundle, values = scene.solution.bundle, scene.solution.values
        mean, sigma = bundle.priors.paper_mean[ASPECT], bundle.priors.paper_sigma[ASPECT]
        at = bundle.lens_size + ASPECT
        variance = float(scene.covariance[at, at])
        if not scene.has_card or sigma <= 0 or not 0 < variance < 0.9 * sigma**2:
            continue
        own = 1 / variance - 1 / sigma**2
        total += own
        weighted += values.paper[ASPECT] / variance - mean / sigma**2
    if total <= 1 / _KNOWN**2:
        return None
    return weighted / total, 1 / math.sqrt(total)


def contradicted_check(scenes, check):
    """A Finding where the photos contradict what the two print-check lines say of the card's aspect, else
    None."""
    read, seen = aspect_read(check), seen_aspect(scenes)
    if read is None or seen is None or abs(e_n(read[0] - seen[0], math.hypot(read[1], seen[1]))) <= 1:
        return None
    return misread(check, seen)
