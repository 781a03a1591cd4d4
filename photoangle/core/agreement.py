"""Do two results agree?  E_n by ISO 13528."""

from __future__ import annotations

import math


def e_n(first, u_first, second, u_second, k=2.0):
    """E_n number of two results: their difference over the root sum of squares of the EXPANDED
    uncertainties (ISO 13528); |E_n| <= 1 agrees."""
    expanded = k * math.hypot(u_first, u_second)
    return math.inf if expanded == 0 else (first - second) / expanded
