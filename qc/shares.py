"""Shares as people read them: parts that add up to their printed sum, per cent, intervals in per cent."""

from __future__ import annotations

import math
from collections.abc import Sequence


def adding_up(values: Sequence[float], places: int = 0) -> list[str]:
    """Write figures rounded so that those printed add up to their printed sum.

    Each is rounded down and the steps that are missing go to those with the largest rests (the method of
    largest remainders, as seats are shared out by votes), of equal ones to the first.

    Parameters
    ----------
    values : sequence of float
        Figures of 0 and above.
    places : int
        Decimals that are printed.

    Examples
    --------
    >>> adding_up([100 / 3, 100 / 3, 100 / 3]), adding_up([0.25, 0.25, 0.5], 1)
    (['34', '33', '33'], ['0.3', '0.2', '0.5'])
    """
    steps = [round(value * 10**places, 6) for value in values]  # what binary leaves behind is no rest
    down = [math.floor(step) for step in steps]
    missing = math.floor(round(sum(steps), 6) + 0.5) - sum(down)
    largest = sorted(range(len(steps)), key=lambda place: down[place] - steps[place])
    for place in largest[:missing]:
        down[place] += 1
    return [f"{step / 10**places:.{places}f}" for step in down]


def percent_words(share: float) -> str:
    """Write a share in per cent; whole ones, but never all or nothing where it is not quite.

    Examples
    --------
    >>> percent_words(0.923), percent_words(1.0), percent_words(0.998), percent_words(0.0)
    ('92 %', '100 %', '99.8 %', '0 %')
    """
    whole = round(100 * share)
    if whole in (0, 100) and share not in (0.0, 1.0):
        return f"{min(max(100 * share, 0.1), 99.9):.1f} %"
    return f"{whole} %"


def between_words(low: float, high: float) -> str:
    """Write two shares as an interval in per cent.

    Examples
    --------
    >>> between_words(0.6305, 1.0)
    '63 to 100 %'
    """
    return f"{percent_words(low).removesuffix(' %')} to {percent_words(high)}"
