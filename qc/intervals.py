"""How people read a figure with its interval; a leaf beside `qc.words` that every floor may use."""

from __future__ import annotations

import math

from qc.words import MINUS, number_words, places_words, unit_words


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
    """
    low, high = min(low, high), max(low, high)
    if unit == "mm" and 0 < max(abs(value), abs(low), abs(high)) < 0.1:
        value, low, high, unit = 1000 * value, 1000 * low, 1000 * high, "um"
    half = (high - low) / 2
    if math.isfinite(half) and half > 0:
        places = max(0, math.ceil(-math.log10(half / 2)))
        told, least, most = (places_words(one, places) for one in (value, low, high))
    else:
        told, least, most = (number_words(one) for one in (value, low, high))
    if signed:
        told, least, most = (
            f"+{one}" if not one.startswith(MINUS) and float(one) else one for one in (told, least, most)
        )
    return f"{told} {unit_words(unit)}".rstrip() + f" ({least} to {most}{sure and f', {sure}'})"
