"""The air column of a slide instrument: effective lengths, valves, slide travel, and the exact cut.

Every length here is the effective length c / (2 f1) of the whole air column, f1 the nominal fundamental. It
is longer than the metal, and it alone turns cents into millimetres: a wrap's own length does not.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from qc.trade.errors import TradeError
from qc.trade.sound import (
    ISO_16_A4_HZ,
    SOUND_20C_M_PER_S,
    harmonic_semitones,
    nearest_note,
    tempered_frequency,
)

REACH_MARGIN_MM = 15.0
"""Slide left beyond the last marked position: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Valve:
    """A valve and the tube it adds.

    Parameters
    ----------
    name : str
        What the bench calls it, "F" for example.
    added_mm : float
        Tube added to the air column. [mm]
    depends_on : str, optional
        Valve that must be down for this one to sound at all.
    legs : int
        Legs of the wrap that share a cut.
    """

    name: str
    added_mm: float
    depends_on: str | None = None
    legs: int = 2


@dataclass(frozen=True, slots=True)
class Instrument:
    """What the computations need to know of a model.

    Parameters
    ----------
    length_mm : float
        Effective length of the open instrument in first position, c / (2 f1). [mm]
    valves : tuple of Valve
        The valves, in the order of the air.
    pedal_note : int, optional
        Number of the nominal fundamental (B-flat1 = 34); found from the length when left out.
    positions : int
        Full slide positions of the open instrument.
    tuning_slide_travel_mm : float, optional
        How far the main tuning slide can be pulled. [mm of slide]
    """

    length_mm: float
    valves: tuple[Valve, ...] = ()
    pedal_note: int | None = None
    positions: int = 7
    tuning_slide_travel_mm: float | None = None

    def __post_init__(self) -> None:
        """Refuse a length or a valve in another unit: metres and inches look like millimetres in a cell."""
        if not 500 <= self.length_mm <= 12000:
            raise TradeError(
                f"an effective length of {self.length_mm} mm is no slide instrument's",
                "Give it in millimetres; a tenor is about 2945, an alto 2206, a contrabass 5890",
            )
        names = [valve.name for valve in self.valves]
        plain = [name.strip().casefold() for name in names]
        for valve in self.valves:
            if plain.count(valve.name.strip().casefold()) > 1 or not valve.name.strip():
                raise TradeError(f"valve name {valve.name!r} is empty or used twice", "Name each valve once")
            if not 0 < valve.added_mm < 3 * self.length_mm:
                raise TradeError(
                    f"valve {valve.name} cannot add {valve.added_mm} mm",
                    "Give the added tube in millimetres, about 986 for the F wrap of a tenor",
                )
            if valve.depends_on is not None and valve.depends_on not in names:
                raise TradeError(
                    f"valve {valve.name} depends on {valve.depends_on!r}, which the model does not have",
                    f"The valves are: {', '.join(names)}",
                )
        on = {valve.name: valve.depends_on for valve in self.valves}
        for name in names:
            below = on[name]
            for _ in names:
                below = None if below is None else on[below]
            if below is not None:  # more steps than there are valves: the chain never ends
                raise TradeError(
                    f"valve {name} depends on itself, directly or through another valve",
                    "Leave `depends_on` out where the valve sounds alone",
                )

    @property
    def fundamental_note(self) -> int:
        """The number of the nominal fundamental (pedal) note."""
        if self.pedal_note is not None:
            return self.pedal_note
        return nearest_note(1000.0 * SOUND_20C_M_PER_S / (2.0 * self.length_mm))[0]

    def valve(self, name: str) -> Valve:
        """Find a valve by its name, ignoring case.

        Raises
        ------
        TradeError
            The model has no such valve.
        """
        for valve in self.valves:
            if valve.name.casefold() == name.strip().casefold():
                return valve
        have = ", ".join(valve.name for valve in self.valves) or "none"
        raise TradeError(
            f"valve {name!r} is not in the model (it has: {have})",
            "Write the valve as the model names it, or leave the cell empty for an open note",
            column="valve",
        )


def valve_state(instrument: Instrument, text: str | None) -> tuple[str, ...]:
    """Read a valve cell: empty, `open`, `none` or `-` for no valve, else names joined by `+`.

    Raises
    ------
    TradeError
        A valve that is not in the model, or a dependent valve without the one it hangs on.

    Examples
    --------
    >>> tenor = Instrument(2944.9, (Valve("F", 986.1),))
    >>> valve_state(tenor, "open"), valve_state(tenor, "f")
    ((), ('F',))
    """
    word = (text or "").strip()
    if word.casefold() in {"", "open", "none", "-", "0"}:
        return ()
    # a model may name a valve "F+D" itself: the whole cell is tried before it is cut at the plus
    whole = {valve.name.casefold(): valve.name for valve in instrument.valves}.get(word.casefold())
    names = {instrument.valve(part).name for part in ([whole] if whole else word.split("+"))}
    for name in names:
        needed = instrument.valve(name).depends_on
        if needed is not None and needed not in names:
            raise TradeError(
                f"valve {name} sounds only together with {needed}", f"Write {needed}+{name}", column="valve"
            )
    return tuple(valve.name for valve in instrument.valves if valve.name in names)


def effective_length_mm(fundamental_hz: float, sound_m_per_s: float = SOUND_20C_M_PER_S) -> float:
    """Give the effective length c / (2 f1) of an instrument from its nominal fundamental. [mm].

    Parameters
    ----------
    fundamental_hz : float
        Nominal fundamental (pedal). [Hz]
    sound_m_per_s : float
        Speed of sound. [m/s]

    Raises
    ------
    TradeError
        A frequency that is not above 0.

    References
    ----------
    .. [1] The phase along the column rises by pi per resonance, so added tube moves a resonance as in a
       column of length c / (2 spacing). Computed.

    Examples
    --------
    >>> round(effective_length_mm(58.2705), 1)
    2944.9
    """
    if not fundamental_hz > 0:
        raise TradeError(f"a fundamental of {fundamental_hz} Hz does not exist", "Give it in hertz, above 0")
    return 1000.0 * sound_m_per_s / (2.0 * fundamental_hz)


def local_length_mm(below_hz: float, above_hz: float, sound_m_per_s: float = SOUND_20C_M_PER_S) -> float:
    """Give the effective length at one partial from its two neighbouring resonances, c / (f above - f below).

    Examples
    --------
    >>> round(local_length_mm(116.541, 233.082), 1)
    2944.9
    """
    if not 0 < below_hz < above_hz:
        raise TradeError(
            f"resonances {below_hz} and {above_hz} Hz are not in order", "Give the lower one first"
        )
    return 1000.0 * sound_m_per_s / (above_hz - below_hz)


def state_length_mm(instrument: Instrument, state: Sequence[str] = ()) -> float:
    """Give the column length in first position with the named valves down, in mm."""
    return instrument.length_mm + sum(instrument.valve(name).added_mm for name in state)


def state_semitones(instrument: Instrument, state: Sequence[str] = ()) -> int:
    """Give by how many semitones the named valves lower the instrument, to the nearest."""
    return round(12.0 * math.log2(state_length_mm(instrument, state) / instrument.length_mm))


def combination_cents(instrument: Instrument, state: Sequence[str]) -> float:
    """Give how far (- = flat) a combination of valves lies from its nearest tempered note by design. [cent].

    Two independent wraps pressed together fall flat, since the second is measured against a longer column;
    no fault of a wrap. One valve alone is judged against the tempered note itself.

    Parameters
    ----------
    instrument : Instrument
        The model.
    state : sequence of str
        Valves down.

    References
    ----------
    .. [1] Geometry: 1200 log2 of the ratio of the tempered to the actual column. Computed.

    Examples
    --------
    >>> bass = Instrument(2944.9, (Valve("F", 986.07), Valve("G-flat", 765.44)))
    >>> round(combination_cents(bass, ("F", "G-flat")), 1)
    -8.0
    """
    if len(state) < 2:
        return 0.0
    semitones = 12.0 * math.log2(state_length_mm(instrument, state) / instrument.length_mm)
    return 100.0 * (round(semitones) - semitones)


def column_mm(instrument: Instrument, position: int = 1, state: Sequence[str] = ()) -> float:
    """Give the whole air column of a note. [mm].

    Parameters
    ----------
    instrument : Instrument
        The model.
    position : int, 1 to 7
        Slide position, counted within the valve state.
    state : sequence of str
        Valves down.

    Raises
    ------
    TradeError
        A position the slide cannot reach, or a valve that is not there.

    References
    ----------
    .. [1] Equal temperament: each position multiplies the column by 2^(1/12). Computed.

    Examples
    --------
    >>> tenor = Instrument(2944.9, (Valve("F", 986.1),))
    >>> round(column_mm(tenor, 1, ("F",)), 1), round(column_mm(tenor, 4), 1)
    (3931.0, 3502.1)
    """
    check_position(instrument, position, state)
    return state_length_mm(instrument, state) * math.exp2((position - 1) / 12.0)


def check_position(instrument: Instrument, position: int, state: Sequence[str] = ()) -> None:
    """Raise TradeError when the slide has no such position with these valves down."""
    known = 1 <= position <= instrument.positions
    travel = slide_travel_mm(state_length_mm(instrument, state), position - 1) if known else 0.0
    longest = slide_travel_mm(instrument.length_mm, instrument.positions - 1) + REACH_MARGIN_MM
    if not known or travel > longest:
        reach = math.floor(reachable_semitones(instrument, state)) + 1
        down = f" with {'+'.join(state)} down" if state else ""
        raise TradeError(
            f"position {position} is off the model's slide{down}",
            f"Positions 1 to {reach} can be reached{down}",
            column="position",
        )


def slide_travel_mm(length_mm: float, semitones: float) -> float:
    """Give the slide travel from first position to a lowering of the column, half of the added tube. [mm].

    Parameters
    ----------
    length_mm : float
        Column length in first position, valves included. [mm]
    semitones : float
        How far down.

    References
    ----------
    .. [1] Geometry of two legs and equal temperament. Computed.

    Examples
    --------
    >>> round(slide_travel_mm(2944.9, 6), 1)
    609.9
    """
    return 0.5 * length_mm * (math.exp2(semitones / 12.0) - 1.0)


def reachable_semitones(instrument: Instrument, state: Sequence[str] = ()) -> float:
    """Give how many semitones the marked slide travel reaches with the named valves down.

    Examples
    --------
    >>> round(reachable_semitones(Instrument(2944.9, (Valve("F", 986.07),)), ("F",)), 3)
    4.679
    """
    travel = slide_travel_mm(instrument.length_mm, instrument.positions - 1)
    return 12.0 * math.log2(1.0 + 2.0 * travel / state_length_mm(instrument, state))


def slide_table(instrument: Instrument, state: Sequence[str] = ()) -> tuple[tuple[int, float], ...]:
    """List the positions that can be reached in a valve state with their slide travel in mm.

    Examples
    --------
    >>> [round(mm, 1) for _, mm in slide_table(Instrument(2944.9, (Valve("F", 986.07),)), ("F",))]
    [0.0, 116.9, 240.7, 371.9, 510.9]
    """
    length = state_length_mm(instrument, state)
    # a hair more, so that the last position of the open slide is not lost to rounding
    last = math.floor(reachable_semitones(instrument, state) + 1e-9)
    return tuple((step + 1, slide_travel_mm(length, step)) for step in range(last + 1))


def note_of(instrument: Instrument, partial: int, position: int = 1, state: Sequence[str] = ()) -> int:
    """Give the number of the tempered note meant by a partial, a slide position and a valve state.

    Examples
    --------
    >>> note_of(Instrument(2944.9), 4, 3)
    56
    """
    check_position(instrument, position, state)
    return (
        instrument.fundamental_note
        + harmonic_semitones(partial)
        - (position - 1)
        - state_semitones(instrument, state)
    )


def note_frequency(
    instrument: Instrument, partial: int, position: int, state: Sequence[str], a4_hz: float = ISO_16_A4_HZ
) -> float:
    """Give the tempered frequency of the note meant by partial, position and valves, in Hz."""
    return tempered_frequency(note_of(instrument, partial, position, state), a4_hz)
