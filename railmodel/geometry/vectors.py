"""Single vectors in plain arithmetic: numpy's own ways cost ten times as much for one vector of three numbers."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def cross(a: Array, b: Array) -> Array:
    """The cross product of two vectors (..., 3), to the last digit what `numpy.cross` gives."""
    if a.ndim != 1 or b.ndim != 1:
        return np.cross(a, b)
    (ax, ay, az), (bx, by, bz) = a.tolist(), b.tolist()
    return np.array([ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx])
