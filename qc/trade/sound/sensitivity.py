"""What a part really answers to a known change of length, learned from notes before and after."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from qc.stats import Tabled
from qc.trade.errors import TradeError
from qc.trade.instrument import Instrument, column_mm
from qc.trade.sound.acoustics import CENTS_PER_NEPER
from qc.trade.sound.note_set import Note
from qc.trade.sound.separation import part_words
from qc.trade.sound.sitting_model import PLANNING_READING_SD_CENTS, check_spreads

SENSITIVITY_PRIOR_SD = 0.1
"""How far the true answer may lie from the computed one before any cut is seen: planning value."""


@dataclass(frozen=True, slots=True)
class Sensitivity(Tabled):
    """How a part answered a known change, as a share of the computed answer.

    Parameters
    ----------
    part : str
        `main` or `valve:NAME`.
    share, standard_error : float
        Weighted with the computed answer (1 within 10 %), so that few readings move it little.
    by_partial : tuple of (int, float)
        Raw share of each partial that was blown before and after.
    """

    part: str
    share: float
    standard_error: float
    by_partial: tuple[tuple[int, float], ...]


def learn_sensitivity(
    before: Sequence[Note],
    after: Sequence[Note],
    instrument: Instrument,
    part: str,
    change_mm: float,
    reading_sd: float | None = None,
) -> Sensitivity:
    """Learn from notes before and after a known change how strongly a part really answers.

    Parameters
    ----------
    before, after : sequence of Note
        The same notes before and after.
    instrument : Instrument
        The model.
    part : str
        `main` or `valve:NAME`.
    change_mm : float
        Tube that was added (+) or removed (-). [mm]
    reading_sd : float, optional
        Spread of one reading; the planning value where none is known. [cent]

    Returns
    -------
    Sensitivity
        Share of the computed answer, overall and by partial.

    Raises
    ------
    TradeError
        No change, one that leaves no tube, or no note in common that the part sounds in.

    References
    ----------
    .. [1] Effective length of a partial, trade note section 1.2; inverse variances, the prior too. Computed.

    Examples
    --------
    >>> tenor = Instrument(2944.9)
    >>> before, after = [Note(2, -12.0), Note(4, -12.0)], [Note(2, -6.6), Note(4, -6.6)]
    >>> round(learn_sensitivity(before, after, tenor, "main", -10.0, 0.5).share, 2)
    0.95
    """
    _check_change(change_mm)
    name, sd = part.partition(":")[2], PLANNING_READING_SD_CENTS if reading_sd is None else reading_sd
    check_spreads(sd, None)
    groups: dict[tuple[int, int, tuple[str, ...]], tuple[list[float], list[float]]] = {}
    for side, notes in enumerate((before, after)):
        for note in notes:
            if part == "main" or name in note.valves:
                key = (note.partial, note.position, note.valves)
                groups.setdefault(key, ([], []))[side].append(note.cents)
    shares: dict[int, list[tuple[float, float]]] = {}
    for (partial, position, valves), (old, new) in groups.items():
        if old and new:
            column = column_mm(instrument, position, valves)
            if change_mm <= -column:
                raise TradeError(
                    f"taking off {-change_mm:g} mm leaves no tube", "Give the change in mm of tube, + = added"
                )
            answer = -CENTS_PER_NEPER * math.log1p(change_mm / column)
            share = (math.fsum(new) / len(new) - math.fsum(old) / len(old)) / answer
            variance = sd**2 * (1.0 / len(old) + 1.0 / len(new)) / answer**2
            shares.setdefault(partial, []).append((share, 1.0 / variance))
    if not shares:
        raise TradeError(f"no note in common sounds the {part_words(part)}", "Blow the same notes again")
    pairs = [pair for values in shares.values() for pair in values]
    # the computed answer counts as one more note: a cut of few millimetres says too little by itself
    prior = 1.0 / SENSITIVITY_PRIOR_SD**2
    total = prior + math.fsum(weight for _, weight in pairs)
    share = (prior + math.fsum(value * weight for value, weight in pairs)) / total
    by_partial = tuple(
        (partial, math.fsum(v * w for v, w in values) / math.fsum(w for _, w in values))
        for partial, values in sorted(shares.items())
    )
    return Sensitivity(part, share, 1.0 / math.sqrt(total), by_partial)


def _check_change(change_mm: float) -> None:
    hint = "Give the tube added (+) or removed (-) in mm"
    if change_mm == 0.0:
        raise TradeError("nothing was changed", hint)
    if not math.isfinite(change_mm):
        raise TradeError(f"{change_mm:g} mm is no change", hint)
