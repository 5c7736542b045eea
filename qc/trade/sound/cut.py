"""The cut: from a deviation in cents to millimetres of tube, on the whole air column."""

from __future__ import annotations

import math
from collections.abc import Sequence

from qc.trade.instrument import Instrument, column_mm
from qc.trade.sound.acoustics import CENTS_PER_NEPER, harmonic_deviation


def cents_per_mm(column: float) -> float:
    """Give how many cents one millimetre of tube changes a column; of *slide* it is twice that. [cent/mm].

    Parameters
    ----------
    column : float
        Whole air column. [mm]

    References
    ----------
    .. [1] Derivative of 1200 log2 of the length. Computed.

    Examples
    --------
    >>> round(cents_per_mm(2944.9), 4), round(cents_per_mm(3931.0), 4)
    (0.5879, 0.4404)
    """
    return CENTS_PER_NEPER / column


def length_change_mm(column: float, cents: float) -> float:
    """Give the tube to add (negative = remove) that brings a sounding column to its note, exactly. [mm].

    Parameters
    ----------
    column : float
        The whole air column that sounds, never the wrap alone. [mm]
    cents : float
        Deviation of the note, + = sharp. [cent]

    References
    ----------
    .. [1] L (2^(d/1200) - 1), from the definition of the cent. Computed.

    Examples
    --------
    >>> round(length_change_mm(3931.0, -12.0), 2)
    -27.15
    """
    return column * math.expm1(cents / CENTS_PER_NEPER)


def change_uncertainty_mm(column: float, reading_sd_cents: float, readings: int) -> float:
    """Give the standard uncertainty of a length change from repeated readings of one column. [mm].

    Parameters
    ----------
    column : float
        Whole air column. [mm]
    reading_sd_cents : float
        Spread of a single reading. [cent]
    readings : int, >= 1
        How many were averaged.

    References
    ----------
    .. [1] First-order propagation, L u(d) / 1731.234. Computed.

    Examples
    --------
    >>> round(change_uncertainty_mm(3931.0, 5.0, 4), 3)
    5.677
    """
    return column * reading_sd_cents / (CENTS_PER_NEPER * math.sqrt(readings))


def partial_pull_in_mm(
    instrument: Instrument, partial: int, position: int, state: Sequence[str] = ()
) -> float:
    """Give how far the slide must come in (+) for a naturally flat partial to sound the tempered note.

    Examples
    --------
    >>> round(partial_pull_in_mm(Instrument(2944.9), 7, 2), 2)
    27.84
    """
    return -0.5 * length_change_mm(column_mm(instrument, position, state), harmonic_deviation(partial))
