"""Types of arrays; their shapes stand in the docstrings."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

# Real numbers, in the unit that goes with the name.
Array = NDArray[np.float64]
# One number, or an array that broadcasts with the other arguments.
Floats = float | Array
# Indices, or ids of markers.
Indices = NDArray[np.int_]
# Which of them.
Mask = NDArray[np.bool_]
