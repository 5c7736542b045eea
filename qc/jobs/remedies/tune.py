"""`qc tune`: from a note set to what to cut, where, how much first, and in which order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from qc.jobs.remedies.errors import RemedyUsageError
from qc.jobs.remedies.sheet import Sheet, SheetRow, read_decimal, read_sheet
from qc.trade import (
    Instrument,
    Note,
    Sensitivity,
    TradeError,
    TuningRemedy,
    Valve,
    cents_between,
    learn_sensitivity,
    note_frequency,
    tester_offsets,
    tuning_remedy,
    valve_state,
)

if TYPE_CHECKING:
    from qc.plan import Model, Plan

METHOD_WORDS = {
    "stop": "stop",
    "at stop": "stop",
    "gauge block": "gauge-block",
    "gauge-block": "gauge-block",
    "block": "gauge-block",
    "mark": "marked",
    "marked": "marked",
    "by ear": "by-ear",
    "by-ear": "by-ear",
    "ear": "by-ear",
}
"""How benches write the placing of the slide."""

DEFAULT_READING_SD = 5.0
"""Spread of one reading when learning from before and after and none is given: planning value."""


@dataclass(frozen=True, slots=True)
class TuneResult:
    """What `qc tune` answers: the remedy, and what was learned from a change already made."""

    remedy: TuningRemedy
    instrument: Instrument
    notes: tuple[Note, ...]
    learned: Sensitivity | None = None

    def to_dict(self) -> dict[str, object]:
        """Give the remedy in the agreed shape."""
        return self.remedy.to_dict()

    def to_text(self) -> str:
        """Give the sentence a technician needs first, then the tables."""
        from qc.jobs.remedies.words import tune_text

        return tune_text(self)


def tune(
    sheet: Sheet,
    instrument: Instrument,
    *,
    reading_sd: float | None = None,
    sitting_sd: float | None = None,
    reference_air_c: float = 20.0,
    a4_hz: float = 440.0,
    reference: Path | None = None,
    before: Path | None = None,
    changed: str | None = None,
    wav: Path | None = None,
) -> TuneResult:
    """Compute the remedy of a note set.

    Parameters
    ----------
    sheet : Sheet
        Columns `partial, position, valve, cents` (or `hz`) and optionally `repeat, tester, sitting, air_c,
        method, main_out_mm, wrap_out_mm`.
    instrument : Instrument
        The model.
    reading_sd, sitting_sd : float, optional
        Known spread of a reading and from day to day. [cent]
    reference_air_c : float
        Temperature the workshop tunes for. [C]
    a4_hz : float
        Tuner's A4, used for a column `hz` or a recording. [Hz]
    reference : Path, optional
        Note set of the shared reference instrument, blown by the same testers.
    before : Path, optional
        The note set before the last change, with `changed`.
    changed : str, optional
        What was changed, `main=-6` or `F=-16`: millimetres of tube.
    wav : Path, optional
        Recording of the card's notes in its order; the card then needs no cents.

    Returns
    -------
    TuneResult
        Remedy with `to_dict` and `to_text`.

    Raises
    ------
    RemedyError
        A cell that cannot be what was meant, with place and mend.
    RemedyUsageError
        Options that do not fit together.
    """
    for name, spread in (("--reading-sd", reading_sd), ("--sitting-sd", sitting_sd)):
        if spread is not None and not (0 < spread < 100 or (name == "--sitting-sd" and spread == 0)):
            raise RemedyUsageError(f"{name} {spread:g}: a spread in cents above 0 is needed")
    if (before is None) != (changed is None):
        raise RemedyUsageError("--before and --changed belong together: the old notes, and what was changed")
    if wav is None:
        notes = read_notes(sheet, instrument, a4_hz)
    else:
        from qc.jobs.remedies.recording import notes_from_recording

        notes = notes_from_recording(sheet, wav, instrument, a4_hz)
    offsets = None
    if reference is not None:
        offsets = _offsets(reference, instrument, a4_hz)
        _same_testers(sheet, notes, offsets, reference)
    learned = None
    try:
        if before is not None and changed is not None:
            part, change = _change(changed, instrument)
            old = read_notes(read_sheet(before), instrument, a4_hz)
            learned = learn_sensitivity(
                old, notes, instrument, part, change, reading_sd or DEFAULT_READING_SD
            )
        remedy = tuning_remedy(
            notes,
            instrument,
            reading_sd=reading_sd,
            sitting_sd=sitting_sd,
            reference_air_c=reference_air_c,
            tester_offsets=offsets,
            sensitivity=None if learned is None else {learned.part: learned.share},
        )
    except TradeError as error:
        raise sheet.blame(error, sheet.rows, {}) from error
    return TuneResult(remedy, instrument, tuple(notes), learned)


def tune_plain(length_mm: float, valves: Sequence[str] = ()) -> Instrument:
    """Make an instrument from `--length-mm` and `--valve NAME=ADDED_MM` (or `NAME@NEEDED=ADDED_MM`).

    Raises
    ------
    RemedyUsageError
        A valve that is not written so, or figures no instrument has.

    Examples
    --------
    >>> tune_plain(2944.9, ["F=986.1", "D@F=743.8"]).valves[1].depends_on
    'F'
    """
    made = []
    for text in valves:
        name, equals, figure = text.rpartition("=")
        added = read_decimal(figure)
        if not equals or added is None or not name.strip():
            raise RemedyUsageError(f"--valve {text}: write NAME=ADDED_MM, for example F=986.1")
        name, _, needed = name.partition("@")
        made.append(Valve(name.strip(), added, needed.strip() or None))
    try:
        return Instrument(length_mm, tuple(made))
    except TradeError as error:
        raise RemedyUsageError(str(error)) from error


def instrument_of(model: Model) -> Instrument:
    """Make an instrument from a model of the plan."""
    return Instrument(
        model.length_mm,
        tuple(Valve(v.name, v.added_mm, v.depends_on, v.legs) for v in model.valves),
        model.pedal_midi,
        model.positions,
    )


def model_of(plan: Plan, name: str) -> Model:
    """Find a model of the plan by id or name.

    Raises
    ------
    RemedyUsageError
        The plan has no such model.
    """
    for model in plan.models:
        if name.casefold() in {model.id.casefold(), model.name.casefold()}:
            return model
    there = ", ".join(model.id for model in plan.models)
    raise RemedyUsageError(f"--model {name}: the plan has no such model (it has: {there})")


def read_notes(sheet: Sheet, instrument: Instrument, a4_hz: float = 440.0) -> list[Note]:
    """Read the notes of a tuning sheet, one a row.

    Raises
    ------
    RemedyError
        A missing column, or a cell that holds no figure, valve or method.
    """
    figure = "hz" if sheet.has("hz") and not sheet.has("cents") else "cents"
    sheet.need("partial", "position", figure)
    notes = []
    for row in sheet.rows:
        note = note_of_row(sheet, row, instrument, 0.0)
        value = sheet.number(row, figure)
        if figure == "hz":
            try:
                meant = note_frequency(instrument, note.partial, note.position, note.valves, a4_hz)
                value = cents_between(value, meant)
            except TradeError as error:
                raise sheet.fault(row, error.column or "hz", error.problem, error.hint) from error
        notes.append(with_cents(note, value))
    return notes


def note_of_row(sheet: Sheet, row: SheetRow, instrument: Instrument, cents: float) -> Note:
    """Read everything of a note but its pitch."""
    try:
        state = valve_state(instrument, sheet.text(row, "valve"))
    except TradeError as error:
        raise sheet.fault(row, "valve", error.problem, error.hint) from error
    method = sheet.text(row, "method").casefold().replace("_", " ")
    if method and method not in METHOD_WORDS:
        raise sheet.fault(
            row, "method", f"{method!r} is not known", "Write stop, gauge block, marked or by ear"
        )
    air = sheet.optional_number(row, "air_c")
    if air is not None and not 0.0 <= air <= 45.0:
        raise sheet.fault(row, "air_c", f"{air:g} C is no room to blow in", "Give the room in Celsius")
    return Note(
        partial=sheet.whole(row, "partial"),
        cents=cents,
        position=sheet.whole(row, "position"),
        valves=state,
        tester=sheet.text(row, "tester"),
        sitting=sheet.text(row, "sitting"),
        air_c=air,
        method=METHOD_WORDS.get(method, ""),
        main_out_mm=_setting(sheet, row, "main_out_mm"),
        wrap_out_mm=_setting(sheet, row, "wrap_out_mm"),
    )


def with_cents(note: Note, cents: float) -> Note:
    """Give the same note with another reading."""
    from dataclasses import replace

    return replace(note, cents=cents)


def _setting(sheet: Sheet, row: SheetRow, column: str) -> float | None:
    value = sheet.optional_number(row, column)
    if value is not None and not 0.0 <= value <= 200.0:
        raise sheet.fault(
            row, column, f"{value:g} mm is no setting of a slide", "Give how far it stands out, in mm"
        )
    return value


def _offsets(reference: Path, instrument: Instrument, a4_hz: float) -> dict[str, float]:
    sheet = read_sheet(reference)
    sheet.need("tester")
    notes = read_notes(sheet, instrument, a4_hz)
    try:
        return tester_offsets(notes, instrument)
    except TradeError as error:
        raise sheet.blame(error, sheet.rows, {}) from error


def _same_testers(sheet: Sheet, notes: Sequence[Note], offsets: dict[str, float], reference: Path) -> None:
    for row, note in zip(sheet.rows, notes, strict=True):
        if note.tester not in offsets:
            raise sheet.fault(
                row,
                "tester",
                f"tester {note.tester or '(empty)'} did not blow the reference instrument",
                f"Testers in {reference.name}: {', '.join(offsets)}",
            )


def _change(text: str, instrument: Instrument) -> tuple[str, float]:
    name, equals, figure = text.rpartition("=")
    change = read_decimal(figure)
    if not equals or change is None or change == 0.0:
        raise RemedyUsageError(f"--changed {text}: write main=MM or VALVE=MM, negative = removed")
    name = name.strip().removeprefix("valve:")
    if name.casefold() == "main":
        return "main", change
    try:
        return f"valve:{instrument.valve(name).name}", change
    except TradeError as error:
        raise RemedyUsageError(f"--changed {text}: {error.problem}") from error
