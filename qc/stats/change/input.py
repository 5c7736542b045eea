"""What may go into the detector, and what is refused in plain words."""

from __future__ import annotations

import math
from collections.abc import Sequence, Sized

import numpy as np

from qc.stats.change.block import ShapeAndStep
from qc.stats.change.result import Shape
from qc.stats.change.thresholds import check_rate
from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.noise import NORMAL, PRIOR, Noise
from qc.stats.numbers import Floats, Values, as_floats

SHAPES: tuple[Shape, ...] = ("auto", "normal", "positive", "any")
LARGEST = 1e100  # beyond it the squares of readings leave the range of a double


def check_setting(shape: str, resolution: float | None) -> ShapeAndStep:
    """Take shape and resolution, or refuse them."""
    for known in SHAPES:
        if shape == known:
            break
    else:
        raise StatisticsUsageError(f"shape {shape!r} is not known: use `auto`, `normal`, `positive` or `any`")
    if resolution is not None and not (math.isfinite(resolution) and 0 < resolution < LARGEST):
        raise StatisticsError(f"resolution {resolution!r}: the step of the gauge must be a number above 0")
    return ShapeAndStep(known, None if resolution is None else float(resolution))


def check_value(value: float, point: int, shape: Shape) -> float:
    """Take one reading, or refuse it and name its point."""
    number = float(value)
    if not abs(number) < LARGEST:
        raise StatisticsError(
            f"value at point {point} is {value!r}: a finite number is needed, leave gaps out"
        )
    if shape == "positive" and number < 0:
        raise StatisticsError(f"value at point {point} is {value!r}: the shape `positive` takes none below 0")
    return number


def check_values(values: Values, shape: Shape) -> Floats:
    """Take a whole series, or refuse it and name the first bad point."""
    try:
        series = as_floats(values, "values")
    except StatisticsError as problem:
        raise StatisticsError("values must be numbers, one a point") from problem
    if series.ndim != 1:
        raise StatisticsError(f"values have {series.ndim} dimensions: a series has one")
    bad = ~(np.abs(series) < LARGEST)
    if shape == "positive":
        bad |= series < 0
    if bad.any():
        at = int(np.flatnonzero(bad)[0])
        check_value(float(series[at]), at + 1, shape)
    return series


def check_as_many(given: Sized | None, name: str, size: int) -> None:
    """Refuse rates or labels that are not as many as the values beside them."""
    if given is not None and len(given) != size:
        raise StatisticsError(f"{len(given)} {name} for {size} values")


def rates_of(rates: float | Values, size: int) -> Floats:
    """Take one rate for all points or one for each, or refuse them."""
    if isinstance(rates, int | float):
        return np.full(size, check_rate(rates))
    each = np.array([check_rate(rate) for rate in rates], dtype=np.float64)
    check_as_many(each, "rates", size)
    return each


def noise_unless_given(noise: Noise | None, shape: Shape) -> Noise:
    """Take what was learned of a series; of one of which nothing was, what is taken for granted."""
    if noise is not None:
        return noise
    return PRIOR if shape == "auto" else NORMAL


def noise_of_points(noise: Noise | Sequence[Noise] | None, shape: Shape, size: int) -> list[Noise]:
    """Take one noise for all points or one for each, or refuse them."""
    if noise is None or isinstance(noise, Noise):
        return [noise_unless_given(noise, shape)] * size
    check_as_many(noise, "noises", size)
    return list(noise)
