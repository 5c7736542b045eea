"""Names for the arrays, readings and intervals that go in and out, so that every module calls them alike."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Flags = NDArray[np.bool_]
Places = NDArray[np.intp]  # what numpy answers where it is asked for an index
Values = Sequence[float] | Floats
Interval = tuple[float, float]
