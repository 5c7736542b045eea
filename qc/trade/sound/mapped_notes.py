"""The notes of a set one by one: how far each is off now, and how far it would be after the work."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from qc.stats import Tabled
from qc.trade.instrument import Instrument, column_mm
from qc.trade.sound.acoustics import CENTS_PER_NEPER
from qc.trade.sound.note_set import Note, note_design
from qc.trade.sound.work_order import LengthRemedy


@dataclass(frozen=True, slots=True)
class NotePlace(Tabled):
    """One note of the instrument, its readings averaged.

    Parameters
    ----------
    partial, position : int
        Which note.
    valves : tuple of str
        Valves down.
    readings : int
        How many were averaged.
    cents : float
        How sharp (+) it is against what its partial naturally sounds, air and tester taken off. [cent]
    after_cents : float
        The same once every length is put right in full. [cent]
    """

    partial: int
    position: int
    valves: tuple[str, ...]
    readings: int
    cents: float
    after_cents: float


def note_map(
    notes: Sequence[Note],
    instrument: Instrument,
    lengths: Sequence[LengthRemedy] = (),
    reference_air_c: float = 20.0,
    tester_offsets: Mapping[str, float] | None = None,
) -> tuple[NotePlace, ...]:
    """Give every note of a set as it is and as it would be.

    Parameters
    ----------
    notes : sequence of Note
        Checked readings of one instrument.
    instrument : Instrument
        The model.
    lengths : sequence of LengthRemedy
        What will be done; what is left alone moves nothing.
    reference_air_c, tester_offsets
        As for `fit_note_set`.

    Returns
    -------
    tuple of NotePlace
        By valves, position and partial.

    References
    ----------
    .. [1] A column of length L sounds -1731.234 ln(L / model) cents against its note. Computed.

    Examples
    --------
    >>> note_map([Note(2, 8.0), Note(2, 6.0)], Instrument(2944.9))[0].cents
    7.0
    """
    design = note_design(notes, instrument, reference_air_c, tester_offsets)
    together: dict[tuple[tuple[str, ...], int, int], list[float]] = {}
    for note, cents in zip(notes, design.deviations, strict=True):
        together.setdefault((note.valves, note.position, note.partial), []).append(float(cents))
    found = []
    for (valves, position, partial), own in sorted(together.items(), key=lambda item: _order(item[0])):
        parts = {"main", *(f"valve:{name}" for name in valves)}
        added = math.fsum(
            one.exact_change_mm for one in lengths if one.action != "none" and one.part in parts
        )
        mean = math.fsum(own) / len(own)
        # the column is as long as it sounds, not as the model has it
        longer = math.exp(-mean / CENTS_PER_NEPER) + added / column_mm(instrument, position, valves)
        after = -CENTS_PER_NEPER * math.log(longer)
        found.append(NotePlace(partial, position, valves, len(own), mean, after))
    return tuple(found)


def _order(place: tuple[tuple[str, ...], int, int]) -> tuple[int, tuple[str, ...], int, int]:
    valves, position, partial = place
    return len(valves), valves, position, partial
