"""How people read a figure with its interval; a leaf beside `qc.words` that every floor may use."""

from __future__ import annotations

import math

from qc.words import MINUS, MOST_IN_FOUR, MOST_PLACES, figure_words, number_words, places_words, unit_words

LAST_BITS = 1e-9
"""Ends nearer to each other than such a share of them differ by the arithmetic alone."""


def interval_words(
    value: float, low: float, high: float, unit: str = "", *, sure: str = "95 %", signed: bool = False
) -> str:
    """Write a figure with its interval: one unit and as many places for all three.

    Parameters
    ----------
    value, low, high : float
        The figure and the ends of its interval, either end first. [`unit`]
    unit : str
        As in the plan; hundredths of a millimetre and less are said in micrometres.
    sure : str
        How often such an interval holds the true figure; empty where a heading says it.
    signed : bool
        A plus before what is above nought: of deviations.

    Notes
    -----
    The places follow from the width: the half of it keeps one or two digits that count, as is usual for an
    uncertainty (Guide to the expression of uncertainty in measurement, JCGM 100:2008, 7.2.6).

    Examples
    --------
    >>> interval_words(0.0139, 0.0108, 0.0171, "mm"), interval_words(-3.06, -4.31, -1.8, "um")
    ('14 µm (11 to 17, 95 %)', '−3.1 µm (−4.3 to −1.8, 95 %)')
    >>> interval_words(0.1 + 0.2, 0.3, 0.1 + 0.2, "um")  # alike but for the last bit
    '0.3 µm (0.3 to 0.3, 95 %)'
    """
    low, high = min(low, high), max(low, high)
    if unit == "mm" and 0 < max(abs(value), abs(low), abs(high)) < 0.1:
        value, low, high, unit = 1000 * value, 1000 * low, 1000 * high, "um"
    half = (high - low) / 2
    if math.isfinite(half) and half > LAST_BITS * max(abs(low), abs(high)):
        places = max(0, math.ceil(-math.log10(half / 2)))
        told, least, most = (places_words(one, places) for one in (value, low, high))
    else:
        told, least, most = (number_words(one) for one in (value, low, high))
    if signed:
        told, least, most = (
            f"+{one}" if not one.startswith(MINUS) and float(one) else one for one in (told, least, most)
        )
    return f"{told} {unit_words(unit)}".rstrip() + f" ({least} to {most}{sure and f', {sure}'})"


def stepped_words(value: float, step: float | None) -> str:
    """Write a figure with the places that its gauge shows; four digits where the gauge is not known.

    Examples
    --------
    >>> stepped_words(14.6, 0.001), stepped_words(14.07983, 0.001), stepped_words(8.1, 0.05)
    ('14.600', '14.080', '8.10')
    >>> stepped_words(149.96, 1), stepped_words(149.96, None), stepped_words(-0.04, 0.1)
    ('150', '150', '0.0')
    """
    text = f"{value:.4g}" if step is None and abs(value) < MOST_IN_FOUR else f"{value:.{step_places(step)}f}"
    return figure_words(text)


def digits_words(value: float, digits: int, *, signed: bool = False) -> str:
    """Write a figure with so many digits that count, a deviation (`signed`) with its sign.

    Examples
    --------
    >>> digits_words(-0.012345, 3), digits_words(14.0, 4), digits_words(0.5, 3, signed=True)
    ('−0.0123', '14', '+0.5')
    """
    return figure_words(f"{value:{'+' if signed else ''}.{digits}g}")


def step_places(step: float | None) -> int:
    """Return how many places a gauge shows whose step is this; none where the step is not known.

    Examples
    --------
    >>> step_places(0.001), step_places(0.05), step_places(1.0), step_places(None)
    (3, 2, 0, 0)
    """
    if step is None:
        return 0
    return min(MOST_PLACES, len(f"{step:.{MOST_PLACES}f}".rstrip("0").partition(".")[2]))
