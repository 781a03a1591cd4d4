"""Do two results agree?  E_n by ISO 13528, in one place."""

from __future__ import annotations

import math

from photoangle.core.estimate import Estimate

# Expanded uncertainties of about 95 % (JCGM 100, 6.2.1).
_K = 2.0


def e_n(difference: float, u_difference: float) -> float:
    """E_n number of a difference with its standard uncertainty: |E_n| <= 1 agrees (ISO 13528).

    The expanded uncertainty of the difference of two independent results is the root sum of squares of their
    own.
    """
    return difference / (_K * u_difference) if u_difference > 0 else math.inf if difference else 0.0


def e_n_of(first: Estimate, second: Estimate) -> float:
    """E_n of two estimates of one name: what both share counts in their difference once."""
    apart = first.minus(second)
    return e_n(float(apart.values[0]), apart.u(apart.names[0]))
