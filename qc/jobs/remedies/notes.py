"""The notes of a tuning sheet, row by row, with every cell checked where it stands."""

from __future__ import annotations

from dataclasses import replace

from qc.jobs.remedies.sheet import RemedySheet, SheetRow
from qc.trade import Instrument, Note, TradeError, cents_between, note_frequency, valve_state

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


def read_notes(sheet: RemedySheet, instrument: Instrument, a4_hz: float = 440.0) -> list[Note]:
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


def note_of_row(sheet: RemedySheet, row: SheetRow, instrument: Instrument, cents: float) -> Note:
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
    return replace(note, cents=cents)


def _setting(sheet: RemedySheet, row: SheetRow, column: str) -> float | None:
    value = sheet.optional_number(row, column)
    if value is not None and not 0.0 <= value <= 200.0:
        raise sheet.fault(
            row, column, f"{value:g} mm is no setting of a slide", "Give how far it stands out, in mm"
        )
    return value
