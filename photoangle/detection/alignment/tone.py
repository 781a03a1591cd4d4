"""A camera's tone curve between a tag's black and its white."""

from __future__ import annotations

import numpy as np

# Reflectance of printed black over that of paper, in common light.
_BLACK = 0.06
_POWER = 1 / 2.4
_SPAN = 1 - _BLACK**_POWER


def tone(value):
    """Light from 0 (black) to 1 (white) as the standard curve stores it, from 0 to 1 (the power of IEC
    61966-2-1)."""
    return ((_BLACK + (1 - _BLACK) * np.maximum(value, 0))**np.float32(_POWER) -
            np.float32(_BLACK**_POWER)) / np.float32(_SPAN)


def tone_terms(value):
    """What a tone curve may add to a value (k,) in [0, 1]: three pairs of (term, its slope), which vanish at
    black and at white.

    The standard curve, and two bumps for what a phone makes of it.
    """
    lit = _BLACK + (1 - _BLACK) * np.maximum(value, 0)
    power = lit ** np.float32(_POWER)
    dark, turn = value * (1 - value), 1 - 2 * value
    return (((power - np.float32(_BLACK**_POWER)) / np.float32(_SPAN) - value,
             np.float32(_POWER * (1 - _BLACK) / _SPAN) * power / lit - 1),
            (dark, turn), (dark * turn, 1 - 6 * dark))
