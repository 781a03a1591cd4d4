"""What the photos of a job show of the phone's lens, each state's share by itself; the prior that the others'
shares make for one state.

All states of one phone see one lens, so that what is known of it in the end is one joint estimate.  Solved
state by state that is: with the lens at large as prior P (mean m), a state's photos alone tell an information
W of the lens (all else eliminated: the Schur complement of its normal matrix) and a pull g = W (l - l'), l
where they were linearised and l' what they alone say.  State A is solved with the prior P + sum of W over the
OTHER states; its own photos enter as its own observations, once.  What comes out is A's part of the joint
least-squares answer of all states (to first order), in whatever order states are measured.

Errors are shared accordingly.  The score e = W (l' - true) of a state is one source, keyed by that state,
with the effect M^-1[:, lens] on every state that uses it, on that state itself as well: what two states
share of their lens cancels in their difference or adds up, as it does in truth.

Left out: that states share their print (the card's bow and aspect are taken as each state's own where they
move the lens), and a phone whose lens is not the one of last time (another cover glass, a drop).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.images.photo import CameraIdentity
from calib.profile import other_camera
from calib.rows import Priors
from calib.solution import Solution
from photoangle.core.arrays import Array


@dataclass(frozen=True)
class LensShown:
    """One state's share in what is known of a lens with n parameters (`calib.lens`).

    camera: CameraIdentity; state: whose photos (the key of the source); photos: fingerprints of their files,
    sorted; lens (n,): where it was linearised; pull (n,) and information (n, n): the photos add
    (l - lens)^T information (l - lens) - 2 pull^T (l - lens) to the cost of a lens l; spread (n, n): variance
    of the score information @ (what they alone say - truth); dof: of the noise in it.
    """

    camera: CameraIdentity
    state: str
    photos: tuple[str, ...]
    lens: Array
    pull: Array
    information: Array
    spread: Array
    dof: float

    @property
    def key(self) -> tuple[str, str]:
        """Of its source of error."""
        return "lens shown", self.state


def shown_by(solution: Solution, inverse: Array, covariance: Array, dof: float, camera: CameraIdentity,
             state: str, photos: Sequence[str] = ()) -> LensShown:
    """What a solved set of photos alone tells of the lens, whatever prior it was solved with.

    inverse (size, size): of the normal matrix; covariance (size, size) of the unknowns.
    """
    priors, n = solution.bundle.priors, solution.bundle.lens_size
    whole = np.linalg.inv(inverse[:n, :n])
    spread = whole @ covariance[:n, :n] @ whole - priors.lens_information
    pull = priors.lens_information @ (solution.values.lens - priors.lens_mean)
    known = 1 / np.sqrt(priors.lens_information.diagonal())
    return LensShown(camera, state, tuple(sorted(photos)), solution.values.lens.copy(), pull,
                     _no_less_than_nothing(whole - priors.lens_information, known),
                     _no_less_than_nothing(spread, known), dof)


def _no_less_than_nothing(matrix: Array, scale: Array) -> Array:
    """The nearest positive semidefinite matrix, in units that ``scale`` (n,) makes comparable."""
    value, vector = np.linalg.eigh((matrix + matrix.T) / 2 * scale[:, None] * scale)
    vector = vector / scale[:, None]
    return (vector * np.maximum(value, 0)) @ vector.T


def same_phone(one: CameraIdentity, other: CameraIdentity) -> bool:
    """Whether two photos are of one phone, lens and zoom, as far as EXIF tells; a phone that left no name is
    nobody's."""
    return one.known and other_camera(one, other) is None


def others_of(shown: Iterable[LensShown], camera: CameraIdentity, state: str,
              photos: Iterable[str]) -> tuple[LensShown, ...]:
    """Those shares that may serve a state as prior: of the same phone, of other states, and of none of its
    own photos (one photo may lie in two folders)."""
    own, out = set(photos), []
    used: set[str] = set()
    for s in sorted(shown, key=lambda s: s.state):
        if s.state == state or not same_phone(s.camera, camera) or (own | used) & set(s.photos):
            continue
        used |= set(s.photos)
        out.append(s)
    return tuple(out)


def prior_with(priors: Priors, shown: Sequence[LensShown]) -> Priors:
    """Priors whose lens is what the lens at large and these photos say together."""
    information = priors.lens_information + sum(s.information for s in shown)
    told = priors.lens_information @ priors.lens_mean
    told = told + sum(s.information @ s.lens + s.pull for s in shown)
    return replace(priors, lens_mean=np.linalg.solve(information, told), lens_information=information)
