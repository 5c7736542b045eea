"""How many kinds of parts a gauge tells apart."""

from __future__ import annotations

import math

CATEGORY_FACTOR = 1.41  # as the guides write the root of 2; a hand check must agree


def parts_told_apart(part: float, gauge: float) -> int | None:
    """Kinds of parts that a gauge tells apart, from the sds of parts and gauge; None where it adds nothing.

    Examples
    --------
    >>> parts_told_apart(1.0, 0.2), parts_told_apart(1.0, 0.0)
    (7, None)
    """
    return math.floor(CATEGORY_FACTOR * part / gauge) if gauge > 0 else None
