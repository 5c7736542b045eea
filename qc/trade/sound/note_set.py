"""A note set as numbers: what was blown, and the linear model that splits it into causes.

For partial n, position k and valves v, with the column L_kv of the model:
``y = -S (dM + 2 dX_k + sum dV_v) / L_kv + r_n + tester + e``, where y is the reading less what belongs to the
harmonic series, to the model's valve combination, to the air and to the slides' settings.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from qc.intervals import digits_words
from qc.stats import Floats
from qc.trade.errors import TradeError
from qc.trade.instrument import Instrument, column_mm, combination_cents, state_length_mm
from qc.trade.sound.acoustics import CENTS_PER_NEPER, harmonic_deviation, temperature_cents

METHODS = ("stop", "gauge-block", "marked", "by-ear")
"""How the slide was placed for a note."""

HIGHEST_PARTIAL = 16
"""Highest partial that is blown; above it neighbouring notes run together."""

WIDEST_READING_CENTS = 80.0
"""A reading further off than this belongs to another note: the slide steps are 100 cents apart."""

SLIP_FROM_OTHERS_CENTS = 70.0
"""A reading this far from the middle of its neighbours is nearer to the next slide step than to them."""


@dataclass(frozen=True, slots=True)
class Note:
    """One reading of one note.

    Parameters
    ----------
    partial : int
        Partial blown.
    cents : float
        Raw deviation against the tempered note, + = sharp. [cent]
    position : int
        Slide position within the valve state.
    valves : tuple of str
        Valves down.
    tester, sitting : str
        Who blew it and in which sitting; empty when not recorded.
    air_c : float, optional
        Room temperature. [C]
    method : str
        How the slide was placed: one of `METHODS`, or empty.
    main_out_mm, wrap_out_mm : float, optional
        How far the main slide and the wrap's slide stood out. [mm of slide]
    """

    partial: int
    cents: float
    position: int = 1
    valves: tuple[str, ...] = ()
    tester: str = ""
    sitting: str = ""
    air_c: float | None = None
    method: str = ""
    main_out_mm: float | None = None
    wrap_out_mm: float | None = None


@dataclass(frozen=True, slots=True)
class NoteDesign:
    """The design matrix of a note set.

    Parameters
    ----------
    names : tuple of str
        Parameters: `main`, `valve:F`, `position:3`, `partial:5`, `tester:AB`.
    matrix : array, shape (notes, parameters)
        Cents per unit of each parameter: lengths in units of `unit_mm`, the rest in cents.
    deviations : array, shape (notes,)
        Readings less all that is known. [cent]
    common : array, shape (notes,)
        What was taken off for air and tester. [cent]
    unit_mm : float
        Unit of the lengths, chosen so that one unit is about one cent. [mm]
    """

    names: tuple[str, ...]
    matrix: Floats
    deviations: Floats
    common: Floats
    unit_mm: float

    def columns(self, prefix: str) -> list[int]:
        """Give the indices of the parameters whose name starts with `prefix`."""
        return [index for index, name in enumerate(self.names) if name.startswith(prefix)]


def check_notes(notes: Sequence[Note], instrument: Instrument) -> None:
    """Raise TradeError for the first note that cannot be what was meant, with a proposed mend.

    Parameters
    ----------
    notes : sequence of Note
        The readings.
    instrument : Instrument
        The model they were blown on.

    Raises
    ------
    TradeError
        A partial, position, valve or method that does not exist, or cents that belong to another note or are
        hertz; its `index` and `column` say which.
    """
    if not notes:
        raise TradeError("the note set is empty", "Blow at least the open notes in 1st position")
    for index, note in enumerate(notes):
        try:
            _check_note(note, instrument)
        except TradeError as error:
            raise TradeError(error.problem, error.hint, index, error.column) from None
    _check_slips(notes, instrument)


def note_design(
    notes: Sequence[Note],
    instrument: Instrument,
    reference_air_c: float = 20.0,
    tester_offsets: Mapping[str, float] | None = None,
) -> NoteDesign:
    """Build the linear model of a note set, one row a note.

    Parameters
    ----------
    notes : sequence of Note
        Checked readings.
    instrument : Instrument
        The model.
    reference_air_c : float
        Temperature at which the instrument shall be in tune. [C]
    tester_offsets : mapping of str to float, optional
        How sharp each tester blows, from a shared reference instrument. [cent]
    """
    offsets = tester_offsets or {}
    columns: dict[str, Floats] = {}
    size = len(notes)
    common = np.zeros(size)
    deviations = np.zeros(size)
    main_at, wrap_at = slide_settings(notes)
    for row, note in enumerate(notes):
        column = column_mm(instrument, note.position, note.valves)
        # parameters in cents of the open column, so that lengths and partials are of one
        # size and rank can be judged
        per_unit = -instrument.length_mm / column
        _cell(columns, "main", row, size, per_unit)
        for valve in note.valves:
            _cell(columns, f"valve:{valve}", row, size, per_unit)
        if note.position > 1:
            _cell(columns, f"position:{note.position}", row, size, 2.0 * per_unit)
        _cell(columns, f"partial:{note.partial}", row, size, 1.0)
        # offsets learned from a reference instrument are taken off below; the set itself then learns none
        if note.tester and not offsets:
            _cell(columns, f"tester:{note.tester}", row, size, 1.0)
        common[row] = offsets.get(note.tester, 0.0)
        if note.air_c is not None:
            common[row] += temperature_cents(note.air_c, reference_air_c)
        out_mm = 0.0 if note.main_out_mm is None else note.main_out_mm - main_at
        if note.wrap_out_mm is not None and note.valves:
            out_mm += note.wrap_out_mm - wrap_at[note.valves]
        natural = harmonic_deviation(note.partial) + combination_cents(instrument, note.valves)
        deviations[row] = note.cents - natural - common[row] + 2.0 * out_mm * CENTS_PER_NEPER / column
    # one tester's offset is the common offset, which nothing tells from main length
    if len([name for name in columns if name.startswith("tester:")]) < 2:
        columns = {name: cells for name, cells in columns.items() if not name.startswith("tester:")}
    names = sorted(columns, key=_order)
    matrix = np.column_stack([columns[name] for name in names])
    return NoteDesign(tuple(names), matrix, deviations, common, instrument.length_mm / CENTS_PER_NEPER)


def slide_settings(notes: Sequence[Note]) -> tuple[float, dict[tuple[str, ...], float]]:
    """Give the settings of main slide and wraps the lengths refer to: those most notes were blown at."""
    main = _commonest([note.main_out_mm for note in notes if note.main_out_mm is not None])
    states = {note.valves for note in notes}
    wraps = {
        state: _commonest([n.wrap_out_mm for n in notes if n.wrap_out_mm is not None and n.valves == state])
        for state in states
    }
    return main, wraps


def firm_notes(notes: Sequence[Note]) -> list[int]:
    """Give the notes that say something about lengths: those whose slide was not placed by ear.

    A player who places the slide by ear brings the note to pitch, so neither mark nor length shows in it.
    First position by ear counts only where the set has no better one, and then holds a set-out from the stop.
    """
    by_ear = [note.method == "by-ear" for note in notes]
    firm_first = {
        note.valves for note, ear in zip(notes, by_ear, strict=True) if note.position == 1 and not ear
    }
    return [
        index
        for index, (note, ear) in enumerate(zip(notes, by_ear, strict=True))
        if not ear or (note.position == 1 and note.valves not in firm_first)
    ]


def valve_column_mm(instrument: Instrument, name: str) -> float:
    """Give the column on which a valve's wrap is judged: the valve with all it depends on."""
    state = [name]
    while (needed := instrument.valve(state[-1]).depends_on) is not None:
        state.append(needed)
    return state_length_mm(instrument, state)


def _check_note(note: Note, instrument: Instrument) -> None:
    """Refuse a note that cannot be what was meant; the bounds lie where another note would be nearer."""
    if not 1 <= note.partial <= HIGHEST_PARTIAL:
        raise TradeError(
            f"partial {note.partial} is off the range 1 to {HIGHEST_PARTIAL}",
            "Count the partials from the pedal note = 1",
            column="partial",
        )
    if note.method and note.method not in METHODS:
        raise TradeError(
            f"method {note.method!r} is not known", f"Write one of {', '.join(METHODS)}", column="method"
        )
    column_mm(instrument, note.position, note.valves)
    if not math.isfinite(note.cents):
        raise TradeError("the cents are not a number", "Read the note again", column="cents")
    natural = harmonic_deviation(note.partial)
    if abs(note.cents - natural) > WIDEST_READING_CENTS:
        raise TradeError(
            f"{note.cents:g} cents is not this note", _slip_hint(note, natural, instrument), column="cents"
        )


def _check_slips(notes: Sequence[Note], instrument: Instrument) -> None:
    """Find a reading that lies a whole slide step away from the others with the same valves."""
    for state in dict.fromkeys(note.valves for note in notes):
        group = [index for index, note in enumerate(notes) if note.valves == state]
        level = {index: notes[index].cents - harmonic_deviation(notes[index].partial) for index in group}
        middle = float(np.median(list(level.values())))
        # chosen: of three notes the middle may itself be the slip
        for index in group if len(group) > 3 else ():
            if abs(level[index] - middle) > SLIP_FROM_OTHERS_CENTS:
                raise TradeError(
                    f"{notes[index].cents:g} cents stands a slide step away from the other notes",
                    _slip_hint(notes[index], notes[index].cents - level[index] + middle, instrument),
                    index,
                    "cents",
                )


def _slip_hint(note: Note, natural: float, instrument: Instrument) -> str:
    octaves = (note.cents - natural) / 1200.0
    # chosen: within half a semitone of whole octaves
    if round(octaves) != 0 and abs(octaves - round(octaves)) * 1200.0 < 50.0:
        return f"It is {abs(round(octaves))} octave off: check the partial, write the cents within the octave"
    meant = note.position - round((note.cents - natural) / 100.0)
    # chosen: a slide has six steps, so further off no position was mistaken for another
    if abs(note.cents) < 750.0 and 1 <= meant <= instrument.positions:
        left = note.cents - 100.0 * round((note.cents - natural) / 100.0)
        own = digits_words(left, 4, signed=True)
        return f"If the slide stood in position {meant}, write position {meant} and {own} cents"
    # chosen: no pitch of a card in hertz is lower, the deepest pedal being about 29
    if note.cents > 20.0:
        return "If the column holds hertz, let the tuner show cents, or upload the card with its unit Hz"
    return "Give the deviation from the tempered note in cents, + = sharp"


def _cell(columns: dict[str, Floats], name: str, row: int, size: int, value: float) -> None:
    columns.setdefault(name, np.zeros(size))[row] = value


def _commonest(values: Sequence[float | None]) -> float:
    known = [value for value in values if value is not None]
    return max(sorted(set(known)), key=known.count) if known else 0.0


def _order(name: str) -> tuple[int, int, str]:
    kind, _, rest = name.partition(":")
    rank = ("main", "valve", "position", "partial", "tester").index(kind)
    return rank, int(rest) if rest.isdecimal() else 0, rest
