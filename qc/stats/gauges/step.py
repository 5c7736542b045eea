"""Is the gauge's step fine enough for the spread it has to show."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from qc.stats.errors import StatisticsError
from qc.stats.numbers import as_number, as_readings, factors
from qc.stats.tabled import Tabled

LEAST_STEPS = 5  # under five possible values inside the range limits the chart gives false signals
_NOISE = 1e-12  # relative: differences below it are rounding of the computer, not steps of the gauge


@dataclass(frozen=True, slots=True)
class Resolution(Tabled):
    """What a coarse step does to a moving-range chart.

    Attributes
    ----------
    step : float
        Smallest difference the readings show, or the stated step. [unit of the readings]
    steps_inside : int
        Possible values of the moving range inside its limits, 0 among them.
    share_of_sigma : float
        Step over the sigma behind the ranges. [1]
    fine_enough : bool
        Whether at least five values lie inside.
    sigma_floor : float
        Step / sqrt 12, below which no spread can be believed. [unit of the readings]
    """

    step: float
    steps_inside: int
    share_of_sigma: float
    fine_enough: bool
    sigma_floor: float


def gauge_resolution(
    values: ArrayLike, *, resolution: float | None = None, sigma: float | None = None
) -> Resolution:
    """Count the steps of the gauge inside the limits of the moving range, and say whether they are enough.

    Parameters
    ----------
    values : array_like of float, length n >= 2
        Readings in order of making. [any unit]
    resolution : float, optional
        Step of the gauge; the smallest difference seen when left out. [same unit]
    sigma : float, optional
        Spread of the process; from the moving range when left out. [same unit]

    Raises
    ------
    StatisticsError
        Fewer than two readings, or all equal and no resolution given.

    References
    ----------
    .. [1] A step of one sigma leaves four values inside D4 d2 = 3.69 sigma (trade columns on chunky data,
       read; the count computed). The floor is the sd of a rounding error, uniform over one step.

    Examples
    --------
    >>> found = gauge_resolution([0.0, 1.0, 0.0, 2.0], resolution=1.0, sigma=1.0)
    >>> found.steps_inside, found.fine_enough
    (4, False)
    """
    readings = as_readings(values, "gauge resolution: value", least=2)
    for name, value in (("resolution", resolution), ("sigma", sigma)):
        if value is not None:
            as_number(value, f"gauge resolution: {name}", above=0.0)
    gaps = np.diff(np.unique(readings))
    gaps = gaps[gaps > _NOISE * float(np.max(np.abs(readings)))]
    if resolution is None and gaps.size == 0:
        raise StatisticsError("gauge resolution: all readings are equal; give the step of the gauge")
    step = float(gaps.min()) if resolution is None else resolution
    pair = factors(2)
    if sigma is None:
        sigma = float(np.mean(np.abs(np.diff(readings)))) / pair.d2
    limit = pair.D4 * pair.d2 * max(sigma, step / math.sqrt(12.0))
    inside = 1 + math.floor(limit / step * (1.0 + 1e-12))
    share = step / sigma if sigma > 0 else math.sqrt(12.0)
    return Resolution(step, inside, share, inside >= LEAST_STEPS, step / math.sqrt(12.0))


def sigma_behind_steps(observed_sd: float, resolution: float) -> float:
    """Spread of the process behind readings rounded to steps (Sheppard's correction), never below the floor.

    Parameters
    ----------
    observed_sd : float, >= 0
        Sample sd of the rounded readings. [any unit]
    resolution : float, > 0
        Step of the gauge. [same unit]

    Returns
    -------
    float
        sqrt(sd^2 - step^2 / 12), or step / sqrt 12 where that is more. [same unit]

    Raises
    ------
    StatisticsError
        A negative spread or a step not above 0.

    References
    ----------
    .. [1] Sheppard's correction (from memory; checked against exact rounding of a normal in the tests).

    Examples
    --------
    >>> round(sigma_behind_steps(1.0, 1.0), 4)
    0.9574
    """
    as_number(observed_sd, "gauge resolution: spread", least=0.0)
    as_number(resolution, "gauge resolution: step", above=0.0)
    floor = resolution / math.sqrt(12.0)
    return max(math.sqrt(max(observed_sd**2 - floor**2, 0.0)), floor)
