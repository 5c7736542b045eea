"""`qc tune`: from a note set to what to cut, where, how much first, and in which order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from qc.ingest.cells import read_decimal
from qc.jobs.remedies.errors import RemedyUsageError
from qc.jobs.remedies.notes import read_notes
from qc.jobs.remedies.sheet import RemedySheet, SheetSource, read_sheet, sheet_named
from qc.report.terminal import tune_text
from qc.stats import Tabled
from qc.trade import (
    Instrument,
    Note,
    Sensitivity,
    TradeError,
    TuningRemedy,
    learn_sensitivity,
    tester_offsets,
    tuning_remedy,
)


@dataclass(frozen=True, slots=True)
class TuneResult(Tabled):
    """What `qc tune` answers: the remedy, and what was learned from a change already made."""

    ROWS = "lengths"

    remedy: TuningRemedy
    instrument: Instrument
    notes: tuple[Note, ...]
    learned: Sensitivity | None = None

    def to_dict(self) -> dict[str, object]:
        """Give the remedy in the agreed shape."""
        return self.remedy.to_dict()

    def to_text(self) -> str:
        """Give the sentence a technician needs first, then the tables."""
        return tune_text(self.remedy, self.learned)


def tune(
    sheet: SheetSource,
    instrument: Instrument,
    *,
    reading_sd: float | None = None,
    sitting_sd: float | None = None,
    reference_air_c: float = 20.0,
    a4_hz: float = 440.0,
    reference: SheetSource | None = None,
    before: SheetSource | None = None,
    changed: str | None = None,
    wav: Path | None = None,
) -> TuneResult:
    """Compute the remedy of a note set.

    Parameters
    ----------
    sheet : path, polars DataFrame, pandas DataFrame or RemedySheet
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
    reference : as `sheet`, optional
        Note set of the shared reference instrument, blown by the same testers.
    before : as `sheet`, optional
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
    sheet = read_sheet(sheet)
    _check_options(reading_sd, sitting_sd, before is not None, changed)
    notes = _notes(sheet, instrument, a4_hz, wav)
    offsets = None
    if reference is not None:
        other = sheet_named("reference", reference)
        offsets = _offsets(other, instrument, a4_hz)
        _same_testers(sheet, notes, offsets, other)
    learned = None
    try:
        if before is not None and changed is not None:
            part, change = _change(changed, instrument)
            old = read_notes(sheet_named("before", before), instrument, a4_hz)
            learned = learn_sensitivity(old, notes, instrument, part, change, reading_sd)
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


def _check_options(
    reading_sd: float | None, sitting_sd: float | None, before: bool, changed: str | None
) -> None:
    if reading_sd is not None and not 0 < reading_sd < 100:
        raise RemedyUsageError(f"--reading-sd {reading_sd:g}: a spread in cents above 0 is needed")
    if sitting_sd is not None and not 0 <= sitting_sd < 100:
        raise RemedyUsageError(f"--sitting-sd {sitting_sd:g}: a spread in cents, 0 or more, is needed")
    if before != (changed is not None):
        raise RemedyUsageError("--before and --changed belong together: the old notes, and what was changed")


def _notes(sheet: RemedySheet, instrument: Instrument, a4_hz: float, wav: Path | None) -> list[Note]:
    if wav is None:
        return read_notes(sheet, instrument, a4_hz)
    from qc.jobs.remedies.recording import notes_from_recording

    return notes_from_recording(sheet, wav, instrument, a4_hz)


def _offsets(sheet: RemedySheet, instrument: Instrument, a4_hz: float) -> dict[str, float]:
    sheet.need("tester")
    notes = read_notes(sheet, instrument, a4_hz)
    try:
        return tester_offsets(notes, instrument)
    except TradeError as error:
        raise sheet.blame(error, sheet.rows, {}) from error


def _same_testers(
    sheet: RemedySheet, notes: Sequence[Note], offsets: dict[str, float], reference: RemedySheet
) -> None:
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
