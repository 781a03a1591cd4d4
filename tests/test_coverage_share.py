"""A few of the coverage scenes (`tests.coverage` renders 200): are the stated intervals true, and not
inflated?"""

import numpy as np
from scipy.stats import binom

from tests.coverage import run, settings

SCENES, SEED = 9, 29
# Figures of one scene share its errors: over 200 scenes the share's variance is 1.7 times the binomial's.
CLUSTERING = 1.7


def test_a_share_of_the_coverage_scenes():
    rows, poses = run(SCENES, SEED)
    groups = {g for s in settings(SCENES, SEED) for g in s.groups}
    assert groups == {
        "one photo", "two photos", "many photos", "profile", "no profile", "moving focus", "denoiser"
    }
    inside = np.array([r[5] for r in rows])
    assert len(inside) >= 40 and len({r[0] for r in rows}) == SCENES
    # true 95 % intervals fall below this once in a thousand draws of as many scenes
    independent = int(len(inside) / CLUSTERING)
    assert inside.mean() >= binom.ppf(0.001, independent, 0.95) / independent
    z = np.array([r[3] / r[4] for r in rows])
    assert 0.5 < np.sqrt((z**2).mean()) < 1.5
    assert np.median([p[2] for p in poses if not p[3]]) > 0.3  # 0.89 where nothing is inflated
