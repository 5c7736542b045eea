"""Names for the arrays that go in and out, so that every module calls them alike."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Flags = NDArray[np.bool_]
Places = NDArray[np.intp]  # what numpy answers where it is asked for an index
