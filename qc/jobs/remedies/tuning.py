"""`qc tune`: from a note set to what to cut, where, how much first, and in which order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from qc.ingest.cells import read_decimal
from qc.jobs.remedies.cards import NOTES, asked_sheet
from qc.jobs.remedies.errors import RemedyUsageError
from qc.jobs.remedies.instruments import model_of
from qc.jobs.remedies.notes import read_notes
from qc.jobs.remedies.planned import Given, given, instrument_for, one_piece
from qc.jobs.remedies.sheet import RemedySheet, SheetSource, with_taken
from qc.plain import as_meant
from qc.report.terminal import learned_words, taken_text, tune_summary, tune_text
from qc.stats import Tabled
from qc.trade import (
    Instrument,
    Note,
    Sensitivity,
    TradeError,
    TuningRemedy,
    learn_sensitivity,
    note_map,
    tester_offsets,
    tuning_remedy,
)
from qc.trade import NotePlace as NotePlace


@dataclass(frozen=True, slots=True)
class TuneResult(Tabled):
    """What `qc tune` answers: the remedy, and what was learned from a change already made."""

    ROWS = "lengths"

    remedy: TuningRemedy
    instrument: Instrument
    notes: tuple[Note, ...]
    learned: Sensitivity | None = None
    taken: tuple[str, ...] = ()
    places: tuple[NotePlace, ...] = ()
    offsets: Mapping[str, float] | None = None

    @property
    def summary(self) -> tuple[str, ...]:
        """How far the notes are off now and after the work, and what a change already made has taught."""
        learned = (learned_words(self.learned),) if self.learned is not None else ()
        return tune_summary(self.remedy) + learned

    def to_dict(self) -> dict[str, object]:
        """Give the remedy in the agreed shape; `taken` where something came from a card's head or a plan."""
        return self.remedy.to_dict() | with_taken(self.taken)

    def to_text(self) -> str:
        """Give the sentence a technician needs first, then the tables."""
        return taken_text(tune_text(self.remedy, self.learned), self.taken)


@as_meant
def tune(
    sheet: SheetSource,
    instrument: Instrument | None = None,
    *,
    reading_sd: float | None = None,
    sitting_sd: float | None = None,
    reference_air_c: float | None = None,
    a4_hz: float | None = None,
    reference: SheetSource | None = None,
    before: SheetSource | None = None,
    changed: str | None = None,
    wav: Path | None = None,
    model: str | None = None,
    workshop: Path | None = None,
    plan: Path | None = None,
) -> TuneResult:
    """Compute the remedy of a note set.

    Parameters
    ----------
    sheet : path, polars DataFrame, pandas DataFrame or RemedySheet
        Columns `partial, position, valve, cents` (or `hz`) and optionally `repeat, tester, sitting, air_c,
        method, main_out_mm, wrap_out_mm`; or a bench's tuning card, in any layout an upload takes.
    instrument : Instrument, optional
        What was blown; else `model`, or the model that the card or its piece's record says.
    reading_sd, sitting_sd : float, optional
        Known spread of a reading and from day to day. [cent]
    reference_air_c : float, optional
        Temperature the workshop tunes for; else the plan's, else 20. [C]
    a4_hz : float, optional
        Tuner's A4, used for a column `hz` or a recording; else the card's, the plan's, 440. [Hz]
    reference : as `sheet`, optional
        Note set of the shared reference instrument, blown by the same testers.
    before : as `sheet`, optional
        The note set before the last change, with `changed`.
    changed : str, optional
        What was changed, `main=-6` or `F=-16`: millimetres of tube.
    wav : Path, optional
        Recording of the card's notes in order; it then needs no cents.
    model, workshop, plan : str or Path, optional
        Model of the plan; workshop folder, or plan file, whose models and temperatures hold.

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
    by = given(workshop, plan)
    _check_options(reading_sd, sitting_sd, before is not None, changed)
    sheet, instrument, taken = _read(sheet, by, instrument, model, wav)
    reference_air_c, a4_hz, said = _pitch(sheet, by, reference_air_c, a4_hz)
    notes = _notes(sheet, instrument, a4_hz, wav)
    learned, offsets = None, None
    if reference is not None:
        other = asked_sheet(reference, NOTES, name="reference", plan=by.plan)
        offsets = _offsets(other, instrument, a4_hz, sheet, notes)
    try:
        if before is not None and changed is not None:
            old = read_notes(asked_sheet(before, NOTES, name="before", plan=by.plan), instrument, a4_hz)
            learned = learn_sensitivity(old, notes, instrument, *_change(changed, instrument), reading_sd)
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
    mapped = note_map(notes, instrument, remedy.lengths, reference_air_c, offsets)
    return TuneResult(remedy, instrument, tuple(notes), learned, taken + said, mapped, offsets)


def _read(
    source: SheetSource, by: Given, instrument: Instrument | None, model: str | None, wav: Path | None
) -> tuple[RemedySheet, Instrument, tuple[str, ...]]:
    """Read the note set and find what it was blown on, with what to say of where that is known from."""
    if instrument is None and model is not None and by.plan is not None:
        model_of(by.plan, model)  # an unknown model is told before anything is read
    wanted = NOTES
    if wav is not None:  # a card for a recording holds no pitches
        wanted = replace(NOTES, needed=(*NOTES.needed, ("partial", "position")))
    sheet = asked_sheet(source, wanted, plan=by.plan)
    one_piece(sheet)
    if instrument is not None:
        return sheet, instrument, sheet.taken
    found, said = instrument_for(sheet, by, model)
    return sheet, found, sheet.taken + said


def _pitch(
    sheet: RemedySheet, by: Given, air_c: float | None, a4_hz: float | None
) -> tuple[float, float, tuple[str, ...]]:
    """Return temperature and A4: as asked, else as the card says, else the plan's; with what was taken."""
    said = []
    row = next(iter(sheet.rows), None)
    if a4_hz is None and row is not None and sheet.has("a4_hz"):
        a4_hz = sheet.optional_number(row, "a4_hz")
    shop = by.plan.workshop if by.plan is not None else None
    if shop is not None and by.shop is not None and sheet.taken:
        if air_c is None:
            said.append(f"tuned for {shop.reference_temperature_c:g} C")
        if a4_hz is None:
            said.append(f"A4 {shop.a4_hz:g} Hz")
    if shop is not None:
        air_c = shop.reference_temperature_c if air_c is None else air_c
        a4_hz = a4_hz or shop.a4_hz
    told = (f"From {by.name}: {', '.join(said)}",) if said else ()
    return 20.0 if air_c is None else air_c, a4_hz or 440.0, told


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


def _offsets(
    reference: RemedySheet, instrument: Instrument, a4_hz: float, sheet: RemedySheet, notes: Sequence[Note]
) -> dict[str, float]:
    """Learn how sharp each tester blows from the reference; every tester of the sheet must stand there."""
    reference.need("tester")
    blown = read_notes(reference, instrument, a4_hz)
    try:
        offsets = tester_offsets(blown, instrument)
    except TradeError as error:
        raise reference.blame(error, reference.rows, {}) from error
    _same_testers(sheet, notes, offsets, reference)
    return offsets


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
