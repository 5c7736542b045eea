"""Readings in: arrays and figures taken as finite numbers, or refused with their place and name."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from qc.stats.errors import StatisticsError
from qc.stats.numbers.arrays import Floats

# fourth powers (of variances, in intervals) stay finite below the one and above 0 beyond the other
GREATEST, LEAST = 1e60, 1e-60


def as_readings(values: ArrayLike, name: str = "value", *, least: int = 2) -> Floats:
    """Take readings as an array of finite numbers.

    Parameters
    ----------
    values : array-like of float, length n
        Readings in order of making. [any unit]
    name : str
        What to call them in a message.
    least : int
        Fewest readings that will do.

    Returns
    -------
    ndarray of float, length n

    Raises
    ------
    StatisticsError
        Not a plain list of numbers, too few, one that is missing or infinite (its place is named), or
        numbers too large or too small for their squares to be computed with.

    Examples
    --------
    >>> as_readings([1, 2.5])
    array([1. , 2.5])
    """
    array = as_floats(values, name)
    if array.ndim != 1:
        raise StatisticsError(f"{name} has {array.ndim} dimensions: one reading after the other is needed")
    faulty = np.flatnonzero(~np.isfinite(array))
    if faulty.size:
        raise StatisticsError(
            f"{name}, reading {int(faulty[0]) + 1} is {array[faulty[0]]}: every reading must be a finite "
            "number; leave a missing one out"
        )
    if array.size:
        check_magnitude(max(array.max(), -array.min()), name)
    if array.size < least:
        raise StatisticsError(f"{name} has {array.size} readings: at least {least} are needed")
    return array


def as_floats(values: ArrayLike, name: str) -> Floats:
    """Take an array of any shape as real numbers; text, holes and complex numbers are refused."""
    try:
        array = np.asarray(values)
        if array.dtype.kind == "c":
            raise TypeError("complex")
        return np.asarray(array, dtype=np.float64)
    except (TypeError, ValueError):
        raise StatisticsError(
            f"{name} holds something that is not a number: only numbers can be judged"
        ) from None


def check_magnitude(peak: float, name: str) -> None:
    """Refuse readings whose greatest magnitude is so large or small that squares leave a double's range."""
    if peak > GREATEST:
        raise StatisticsError(f"{name} holds a reading beyond {GREATEST:g}: too large to compute with")
    if 0 < peak < LEAST:
        raise StatisticsError(
            f"{name} holds no reading above {LEAST:g}: too small to compute with; use a smaller unit"
        )


def as_number(value: float, name: str, *, above: float | None = None, least: float | None = None) -> float:
    """Take one figure that a statistic is asked with, finite and within its range.

    Raises
    ------
    StatisticsError
        Not finite, beyond what can be squared, or out of its range; the message names the figure.

    Examples
    --------
    >>> as_number(3, "width", above=0.0)
    3.0
    """
    figure = float(value)
    if not abs(figure) <= GREATEST:
        raise StatisticsError(f"{name} is {value}: a finite number is needed")
    if above is not None and not figure > above:
        raise StatisticsError(f"{name} is {value}: it must be above {above:g}")
    if above == 0.0 and figure < LEAST:
        raise StatisticsError(f"{name} is {value}: too small to compute with; use a smaller unit")
    if least is not None and not figure >= least:
        raise StatisticsError(f"{name} is {value}: it must be at least {least:g}")
    return figure


def check_between(value: float, name: str, low: float = 0.0, high: float = 1.0) -> None:
    """Refuse a share, or another figure, that is not strictly between two others."""
    if not low < value < high:
        raise StatisticsError(f"{name} is {value}, must lie between {low:g} and {high:g}")


def check_paired(count: int, name: str, beside: int, other: str, need: str = "one each") -> None:
    """Refuse two lists of which each needs as many as the other."""
    if count != beside:
        raise StatisticsError(f"there are {count} {name} and {beside} {other}: {need} is needed")


def check_limits(lower: float | None, upper: float | None, what: str = "") -> None:
    """Refuse specification limits that are no numbers or the wrong way round."""
    for name, value in (("lower limit", lower), ("upper limit", upper)):
        if value is not None:
            as_number(value, what + name)
    if lower is not None and upper is not None and not lower < upper:
        raise StatisticsError(f"{what}lower limit {lower:g} is not below upper limit {upper:g}")
