"""How sharp each tester blows, learned from a shared reference instrument."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy import special

from qc.stats import Floats
from qc.trade.errors import TradeError
from qc.trade.instrument import Instrument
from qc.trade.sound.acoustics import temperature_cents
from qc.trade.sound.note_set import Note, check_notes

_CHANCE = 0.01  # chosen: testers who blow alike are held up one time in a hundred
_LEAST_SD = 0.1 / math.sqrt(12.0)  # cents: a tuner shows tenths


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
    if len(testers) < 2:
        raise TradeError("a reference set needs two testers", "Let each tester blow the same notes")
    rows, target = _two_ways(notes, testers)
    solution, _, rank, _ = np.linalg.lstsq(rows, target, rcond=None)
    if rank < rows.shape[1]:
        raise TradeError("the testers blew no notes in common", "Let each tester blow the same notes")
    return {tester: float(solution[index]) for index, tester in enumerate(testers)}


def differing_testers(
    notes: Sequence[Note], reading_sd: float | None = None
) -> tuple[str, str, float] | None:
    """Find two testers who clearly blow the same notes of one instrument at different pitches.

    Parameters
    ----------
    notes : sequence of Note
        Of one instrument; only those of named testers are compared.
    reading_sd : float, optional
        Known spread of a reading, else that of the fit. [cent]

    Returns
    -------
    (sharper, flatter, cents) or None
        The two furthest apart and by how much; None where no notes are in common, nothing is repeated, or the
        difference is within chance (1 % over all pairs).

    References
    ----------
    .. [1] As `tester_offsets`; Student's t of a difference, Bonferroni over the pairs. Computed.

    Examples
    --------
    >>> sharp = [Note(n, 7.0 + wander, tester="AB") for n, wander in ((2, 0.5), (3, -0.5), (4, 0.3))]
    >>> differing_testers(sharp + [Note(n, 0.0, tester="CD") for n in (2, 3, 4)])
    ('AB', 'CD', 7.1)
    """
    named = [note for note in notes if note.tester]
    testers = list(dict.fromkeys(note.tester for note in named))
    if len(testers) < 2:
        return None
    rows, target = _two_ways(named, testers)
    solution, _, rank, _ = np.linalg.lstsq(rows, target, rcond=None)
    spare = len(named) + 1 - rank
    if rank < rows.shape[1] or (spare < 1 and reading_sd is None):
        return None
    left = target - rows @ solution
    variance = reading_sd**2 if reading_sd is not None else max(float(left @ left) / spare, _LEAST_SD**2)
    covariance = np.linalg.inv(rows.T @ rows) * variance
    high, low = int(np.argmax(solution[: len(testers)])), int(np.argmin(solution[: len(testers)]))
    cents = float(solution[high] - solution[low])
    sd = math.sqrt(covariance[high, high] + covariance[low, low] - 2.0 * covariance[high, low])
    level = 1.0 - _CHANCE / (len(testers) * (len(testers) - 1))
    reach = special.ndtri(level) if reading_sd is not None else special.stdtrit(spare, level)
    return (testers[high], testers[low], round(cents, 6)) if cents > reach * sd else None


def _two_ways(notes: Sequence[Note], testers: Sequence[str]) -> tuple[Floats, Floats]:
    """Rows of the additive fit of tester and note, and its cents."""
    played = list(dict.fromkeys((note.partial, note.position, note.valves) for note in notes))
    rows = np.zeros((len(notes) + 1, len(testers) + len(played)))
    target = np.zeros(len(notes) + 1)
    for row, note in enumerate(notes):
        rows[row, testers.index(note.tester)] = 1.0
        rows[row, len(testers) + played.index((note.partial, note.position, note.valves))] = 1.0
        target[row] = note.cents - (0.0 if note.air_c is None else temperature_cents(note.air_c))
    # offsets sum to zero: a common one cannot be told from the notes
    rows[-1, : len(testers)] = 1.0
    return rows, target
