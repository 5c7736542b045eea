"""How many false signals the whole board may raise, shared out over all series.

The plan gives a number a month for the board; every series gets the same chance per point, so the chance
follows from how many points a month are to be expected. A workshop with more series or more pieces is
watched with a smaller chance per point and the board as a whole stays as quiet.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from qc.words import count_words

DAYS_PER_MONTH = 365.25 / 12
LOOK_BACK_DAYS = 92
"""The pace of a series, and that of a tool, is taken from its last quarter (house rule)."""

LEAST_RATE, GREATEST_RATE = 1e-5, 5e-3
"""The detector is calibrated from 1e-5 to 2e-2. No series is watched more nervously than one false signal in
200 points: in a first month nobody knows yet how many points will come, and a pace guessed too low would
spend months of budget at once (house rule)."""


@dataclass(frozen=True, slots=True)
class Budget:
    """The false-alarm budget as it works out.

    Attributes
    ----------
    per_month : float
        False signals a month that the plan allows the whole board.
    series : int
        Series that take part.
    points_per_month : float
        Points expected a month over all series.
    rate : float
        Chance of a false signal per point.
    """

    per_month: float
    series: int
    points_per_month: float
    rate: float

    @property
    def days_between(self) -> float:
        """Days between two false signals on average."""
        return DAYS_PER_MONTH / (self.rate * self.points_per_month)

    def sentence(self) -> str:
        """Say the budget in words."""
        return budget_words(self.days_between, self.series)


def budget_words(days: float, series: int) -> str:
    """Say how often a whole board cries wolf.

    Examples
    --------
    >>> budget_words(30.4, 84)
    'At this setting: about one false signal in 30 days over 84 series.'
    """
    every = count_words(max(1, round(days)), "day")
    return f"At this setting: about one false signal in {every} over {series} series."


def expected_points(days: Iterable[date], today: date) -> float:
    """Return the points a month to expect of a series from the days of its points.

    Parameters
    ----------
    days : iterable of date
        Day of each point.
    today : date
        The day asked about; later points do not count.

    Returns
    -------
    float
        Pace of the last quarter, at least one a month (a series without a forecast counts one). [1/month]

    Examples
    --------
    >>> expected_points([date(2026, 11, 1)] * 12, date(2026, 11, 24))
    3.97010...
    """
    since = today - timedelta(days=LOOK_BACK_DAYS)
    recent = sum(since < day <= today for day in days)
    return max(1.0, recent * DAYS_PER_MONTH / LOOK_BACK_DAYS)


def month_of(day: date) -> str:
    """Return the month of a day, ``YYYY-MM``.

    Examples
    --------
    >>> month_of(date(2026, 5, 14))
    '2026-05'
    """
    return f"{day:%Y-%m}"


def month_pace(days: Iterable[date], month: str) -> float:
    """Return the points a month to expect of a series in one month, told by its own count or what was before.

    Parameters
    ----------
    days : iterable of date
        Day of each point that is known.
    month : str
        ``YYYY-MM``.

    Returns
    -------
    float
        The count of the month itself or the pace of the quarter before it, whichever is larger; at least one.
        [1/month]

    Examples
    --------
    >>> month_pace([date(2026, 5, d) for d in range(1, 13)], "2026-05")
    12.0
    """
    first = date.fromisoformat(f"{month}-01")
    known = list(days)
    own = sum(month_of(day) == month for day in known)
    return max(float(own), expected_points(known, first - timedelta(days=1)))


def share_budget(per_month: float, pace: Sequence[float]) -> Budget:
    """Share the board's budget over its series.

    Parameters
    ----------
    per_month : float
        False signals a month the board may raise, > 0.
    pace : sequence of float
        Points a month expected of each series, each > 0.

    Returns
    -------
    Budget
        Its `rate` is kept between 1e-5 and 5e-3.

    Examples
    --------
    >>> share_budget(1.0, [10.0] * 25).rate
    0.004
    """
    total = sum(pace) or 1.0
    rate = min(max(per_month / total, LEAST_RATE), GREATEST_RATE)
    return Budget(per_month, len(pace), total, rate)
