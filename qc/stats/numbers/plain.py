"""Numbers out: plain for JSON, and as a person writes them in a sentence."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from qc.stats.numbers.arrays import Floats


def number(value: float | None) -> float | None:
    """Return a plain float for JSON; what is missing, NaN or infinite becomes None."""
    if value is None:
        return None
    plain = float(value)
    return plain if math.isfinite(plain) else None


def numbers(values: Floats | Sequence[float]) -> list[float | None]:
    """Return plain floats for JSON; NaN becomes None."""
    array = np.asarray(values, dtype=np.float64)
    plain: list[float | None] = array.tolist()
    if not np.isfinite(array).all():
        plain = [number(value) for value in plain]
    return plain


def shown(value: float, digits: int = 5) -> str:
    """Return a number as a person writes it in a sentence: five significant digits."""
    return f"{value:.{digits}g}"
