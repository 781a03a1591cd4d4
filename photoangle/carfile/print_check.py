"""The print check: what a steel rule says of the paper's size."""

from __future__ import annotations

import numpy as np

# Without a print check: printers do 97 to 102 % and differ along and across the feed (published reports).
_SCALE_U, _ASPECT_U = 0.01, 0.003


def print_scale(check):
    """True size of the print over nominal, its u, and the card's aspect prior.

    Parameters: check: carfile.PrintCheck.  Returns (scale, u, aspect mean, aspect sigma).
    """
    y = check.y_line_mm / 150.0 if check.y_line_mm else None
    x = check.x_line_mm / 200.0 if check.x_line_mm else None
    ux, uy = check.u_mm / 200.0, check.u_mm / 150.0
    if x and y:
        return y, uy, x / y - 1, float(np.hypot(ux, uy))
    if y:
        return y, uy, 0.0, _ASPECT_U
    if x:
        return x, float(np.hypot(ux, _ASPECT_U)), 0.0, _ASPECT_U
    return 1.0, _SCALE_U, 0.0, _ASPECT_U
