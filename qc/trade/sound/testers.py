"""How sharp each tester blows, learned from a shared reference instrument."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from qc.trade.errors import TradeError
from qc.trade.instrument import Instrument
from qc.trade.sound.acoustics import temperature_cents
from qc.trade.sound.note_set import Note, check_notes


def tester_offsets(notes: Sequence[Note], instrument: Instrument) -> dict[str, float]:
    """Learn how sharp each tester blows from a shared reference instrument.

    Parameters
    ----------
    notes : sequence of Note
        The same notes of one instrument, blown by every tester.
    instrument : Instrument
        Its model.

    Returns
    -------
    dict of str to float
        Offset of each tester from the mean of all testers, + = sharp. [cent]

    Raises
    ------
    TradeError
        Fewer than two testers, testers with no notes in common, or a note whose tester is not named.

    References
    ----------
    .. [1] Two-way additive fit (tester + note) by least squares, offsets summing to zero. Computed.

    Examples
    --------
    >>> cents = {("AB", 2): 4, ("AB", 3): 6, ("CD", 2): -2, ("CD", 3): 0}
    >>> notes = [Note(partial, c, tester=tester) for (tester, partial), c in cents.items()]
    >>> {tester: round(c, 6) for tester, c in tester_offsets(notes, Instrument(2944.9)).items()}
    {'AB': 3.0, 'CD': -3.0}
    """
    check_notes(notes, instrument)
    for index, note in enumerate(notes):
        if not note.tester:
            raise TradeError("a reference note names no tester", "Write who blew it", index, "tester")
    testers = list(dict.fromkeys(note.tester for note in notes))
    played = list(dict.fromkeys((note.partial, note.position, note.valves) for note in notes))
    if len(testers) < 2:
        raise TradeError("a reference set needs two testers", "Let each tester blow the same notes")
    rows = np.zeros((len(notes) + 1, len(testers) + len(played)))
    target = np.zeros(len(notes) + 1)
    for row, note in enumerate(notes):
        rows[row, testers.index(note.tester)] = 1.0
        rows[row, len(testers) + played.index((note.partial, note.position, note.valves))] = 1.0
        target[row] = note.cents - (0.0 if note.air_c is None else temperature_cents(note.air_c))
    # offsets sum to zero: a common one cannot be told from the notes
    rows[-1, : len(testers)] = 1.0
    solution, _, rank, _ = np.linalg.lstsq(rows, target, rcond=None)
    if rank < rows.shape[1]:
        raise TradeError("the testers blew no notes in common", "Let each tester blow the same notes")
    return {tester: float(solution[index]) for index, tester in enumerate(testers)}
