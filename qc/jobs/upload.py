"""The end-of-day upload: sheets in, a receipt out.

Every sheet is read, unfolded and checked; what is accepted and what is held goes into the store in one
transaction; then the series that the sheets touch are judged anew. A sheet that cannot be read at all is
refused with one sentence and does not stop the others.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import astuple, dataclass, field
from pathlib import Path
from typing import Protocol, TypeAlias, TypedDict

import polars as pl

from qc.errors import QcError
from qc.ingest import (
    Checked,
    Known,
    SheetError,
    Unfolded,
    batch_reader,
    check,
    read_file,
    unfold,
)
from qc.jobs.judging import NOTHING_STORED, STORED_NOT_JUDGED, catch_up, ending, not_judged_since
from qc.jobs.past import known_of
from qc.jobs.pieces import HoldList, hold_list, hold_sentence
from qc.jobs.roles import refuse_no_name
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.plan import EVENT, HELD, READING
from qc.report.terminal import receipt_text, total_text
from qc.stats import Tabled
from qc.store import NewSheet, SheetCount, SignalRecord, sheet_hash, signal_id
from qc.watch import SeriesVerdict, SignalResult, heirs_of
from qc.words import count_words, kept_name

NOTHING_NEW = "The sheets brought nothing new, so nothing was stored; what waits is not yet judged."
"""How an upload of known sheets ends whose judging of what came before failed."""

GivenFile: TypeAlias = "tuple[str, bytes | SheetError]"
"""A file handed in: its name, and its content or why there is none."""


class ShowProgress(Protocol):
    """Told how far a long job has come."""

    def __call__(self, done: int, total: int, what: str) -> None:
        """`done` of `total` steps of `what` are done."""


class RaisedSignal(TypedDict):
    """What a receipt tells of a new signal."""

    id: str
    series: str
    kind: str
    raised_serial: str
    sentence: str
    because: str
    next_step: str


@dataclass(frozen=True, slots=True)
class SheetReceipt:
    """What became of one sheet.

    Attributes
    ----------
    count : SheetCount
        Rows accepted, held and already known, and the reasons of the held ones.
    signals : tuple of RaisedSignal
        Signals that this upload raised in series the sheet belongs to.
    marks : tuple of str
        What is worth knowing although nothing is held for it.
    """

    count: SheetCount
    signals: tuple[RaisedSignal, ...] = ()
    marks: tuple[str, ...] = ()

    def to_dict(self) -> JsonObject:
        """Return the contract of one sheet of ``qc upload --json``."""
        return {**self.count.to_dict(), "signals": list(self.signals), "marks": list(self.marks)}


@dataclass(frozen=True, slots=True)
class UploadReceipt(Tabled):
    """The answer to an upload: a receipt for each sheet, and a sentence for each file that was refused.

    Attributes
    ----------
    sheets : tuple of SheetReceipt
        In the order handed in.
    refused : tuple of str
        Why a file was not taken in.
    raised : tuple of RaisedSignal
        All signals raised by judging after this upload, those on no sheet of it too.
    late : frozenset of str
        Ids of those that sheets handed in before had brought, which had not been judged until now.
    hold : HoldList or None
        What holds the pieces of these sheets now; None where they brought nothing new.
    """

    ROWS = "sheets"

    sheets: tuple[SheetReceipt, ...]
    refused: tuple[str, ...] = ()
    raised: tuple[RaisedSignal, ...] = ()
    late: frozenset[str] = frozenset()
    hold: HoldList | None = None

    def to_dict(self) -> JsonObject:
        """Return the contract of ``qc upload --json``."""
        return {
            "sheets": [s.to_dict() for s in self.sheets],
            "refused": list(self.refused),
            "signals": list(self.raised),
            "hold": [row.to_dict() for row in self.hold.waiting] if self.hold else [],
        }

    def to_text(self) -> str:
        """Say what became of each sheet and what was raised, what had waited from before apart."""
        counts = [sheet.count for sheet in self.sheets]
        rows = [(c.file, c.rows, c.accepted, c.held, c.already_known, c.reasons) for c in counts]
        own = [s["sentence"] for s in self.raised if s["id"] not in self.late]
        late = [s["sentence"] for s in self.raised if s["id"] in self.late]
        return receipt_text(rows, own, late, hold_sentence(self.hold) if self.hold else "")


@dataclass(frozen=True, slots=True)
class Total:
    """The sums over the sheets of an upload."""

    sheets: int
    rows: int
    accepted: int
    held: int
    already_known: int

    @classmethod
    def of(cls, sheets: Sequence[SheetReceipt]) -> Total:
        """Add up the receipts."""
        names = ("rows", "accepted", "held", "already_known")
        return cls(len(sheets), *(sum(getattr(s.count, name) for s in sheets) for name in names))

    def sentence(self) -> str:
        """Say the sums in words."""
        return total_text(*astuple(self))


@dataclass(slots=True)
class _File:
    name: str
    data: bytes
    parts: list[Unfolded] = field(default_factory=list)
    checked: list[Checked] = field(default_factory=list)


def read_files(paths: Iterable[Path]) -> list[GivenFile]:
    """Read files from the disk for `upload`.

    Returns
    -------
    list of GivenFile
        One for each path, in their order: its name, and its content or why there is none. A file that is not
        there, may not be read, is no plain file or too large refuses itself only, and is not read.

    Raises
    ------
    QcError
        There is not one among them that can be read; it gives the sentence of each.
    """
    found: list[GivenFile] = []
    for path in paths:
        try:
            found.append((kept_name(path.name), read_file(path)))
        except SheetError as error:
            found.append((kept_name(path.name), error))
    errors = [str(data) for _, data in found if isinstance(data, SheetError)]
    if found and len(errors) == len(found):
        raise QcError(" ".join(errors))
    return found


def upload(
    workshop: Workshop,
    files: Sequence[GivenFile],
    *,
    who: str = "",
    progress: ShowProgress | None = None,
) -> UploadReceipt:
    """Take in sheets.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    files : sequence of (name, bytes)
        Csv or xlsx files as they came from the bench; `read_files` gives the error in place of the bytes of a
        file that it refuses.
    who : str
        Code of the person who uploads.
    progress : callable, optional
        Told how many sheets have been read.

    Returns
    -------
    UploadReceipt
        Made after the rows are durable on the disk and judged, with what waited from before.

    Raises
    ------
    UsageError
        The name of the person is no name.
    MachineError
        A lock, a full disk or a missing right; the text says whether the rows were stored by then.
    """
    with ending(NOTHING_STORED):
        refuse_no_name(who)
        taken, refused = _read(workshop, files, progress)
        parts = [part for file in taken for part in file.parts]
        checked = iter(check(parts, workshop.plan, _known(workshop, parts)) if parts else ())
        for file in taken:
            file.checked = [next(checked) for _ in file.parts]
        sheets = [_new_sheet(file) for file in taken]
        waited = not_judged_since(workshop) is not None
        counts = workshop.store.add_sheets(sheets, who=who, when=workshop.now)
    new = sum(count.accepted + count.held - count.held_again for count in counts)
    # sheets that bring nothing new still have what came before them judged: it may never have been
    with ending(_stored_words(counts) if new else NOTHING_NEW):
        raised = _judge(workshop)
    receipts = tuple(
        SheetReceipt(count, _own_signals(sheet, count, raised), _marks(file))
        for file, sheet, count in zip(taken, sheets, counts, strict=True)
    )
    every = tuple(signal for found in raised.values() for signal in found)
    own = {signal["id"] for receipt in receipts for signal in receipt.signals}
    late = frozenset(s["id"] for s in every if waited and s["id"] not in own)
    return UploadReceipt(receipts, tuple(refused), every, late, _hold(workshop, sheets) if new else None)


def _hold(workshop: Workshop, sheets: Sequence[NewSheet]) -> HoldList:
    """Return what holds the pieces on these sheets, as it stands now that they are judged."""
    serials = {serial for sheet in sheets for serial in sheet.readings["serial"].drop_nulls()}
    return hold_list(workshop, serials=serials, judge=False)


def _stored_words(counts: Sequence[SheetCount]) -> str:
    """Say how much was stored when judging it failed."""
    rows, held = sum(c.accepted for c in counts), sum(c.held for c in counts)
    told = f"{count_words(rows, 'row')} accepted and {held} held"
    return f"{count_words(len(counts), 'sheet')} stored ({told}). {STORED_NOT_JUDGED}"


def _read(
    workshop: Workshop, files: Sequence[GivenFile], progress: ShowProgress | None
) -> tuple[list[_File], list[str]]:
    """Read every file in the process that may break, and unfold what it gives; a bad sheet costs itself."""
    taken: list[_File] = []
    refused: list[str] = []
    if not files:
        return taken, refused
    with batch_reader() as reader:
        for number, (name, data) in enumerate(files, start=1):
            try:
                if isinstance(data, SheetError):
                    raise data
                parts = [unfold(grid, workshop.plan) for grid in reader.read(name, data)]
                taken.append(_File(name, data, parts))
            except SheetError as error:
                refused.append(str(error))
            if progress is not None:
                progress(number, len(files), "Reading sheet")
    return taken, refused


def _known(workshop: Workshop, parts: Sequence[Unfolded]) -> Known:
    columns = ["stage", "characteristic", "model", "serial"]
    rows = pl.concat([p.readings.select(columns) for p in parts]).unique()
    serials = {s for p in parts for frame in (p.readings, p.events) for s in frame["serial"].to_list() if s}
    days = [day for p in parts for frame in (p.readings, p.events) for day in frame["day"].unique() if day]
    return known_of(workshop, rows.iter_rows(), serials, since=min(days, default=None))


def _new_sheet(file: _File) -> NewSheet:
    def joined(frames: list[pl.DataFrame], columns: Mapping[str, str]) -> pl.DataFrame:
        return pl.concat([f.select(list(columns)) for f in frames], how="vertical_relaxed")

    return NewSheet(
        file=file.name,
        hash=sheet_hash(file.data),
        data=file.data,
        card=file.parts[0].card if file.parts else "",
        readings=joined([c.readings for c in file.checked], READING),
        events=joined([c.events for c in file.checked], EVENT),
        held=joined([c.held for c in file.checked], HELD),
    )


def _judge(workshop: Workshop) -> dict[str, list[RaisedSignal]]:
    """Judge the series touched and return the signals that were not there before, by stage."""
    before: dict[str, list[SignalRecord]] = {}
    for signal in workshop.store.signals():
        before.setdefault(signal.series, []).append(signal)
    found: dict[str, list[RaisedSignal]] = {}
    for verdict in catch_up(workshop):
        found.setdefault(verdict.key.stage, []).extend(_fresh(verdict, before.get(str(verdict.key), [])))
    return found


def _fresh(verdict: SeriesVerdict, before: Sequence[SignalRecord]) -> list[RaisedSignal]:
    """Return the signals that tell of a change that none had told of before."""
    fresh = []
    ordinals = {point.serial: point.ordinal for point in verdict.points}
    told = heirs_of([SignalResult.from_dict(row.plain) for row in before], verdict.signals, ordinals)
    for place, signal in enumerate(verdict.signals):
        number = signal_id(str(verdict.key), signal.kind, signal.raised_serial)
        if place not in told:
            fresh.append(
                RaisedSignal(
                    id=number,
                    series=str(verdict.key),
                    kind=signal.kind,
                    raised_serial=signal.raised_serial,
                    sentence=signal.sentence,
                    because=signal.because,
                    next_step=signal.next_step,
                )
            )
    return fresh


def _own_signals(
    sheet: NewSheet, count: SheetCount, raised: Mapping[str, list[RaisedSignal]]
) -> tuple[RaisedSignal, ...]:
    """Return the new signals whose newest piece stands on this sheet."""
    if not count.accepted:
        return ()
    own = set(sheet.readings.select("stage", "serial").iter_rows())
    return tuple(s for stage, found in raised.items() for s in found if (stage, s["raised_serial"]) in own)


def _marks(file: _File) -> tuple[str, ...]:
    return tuple(dict.fromkeys(mark.sentence for part in file.checked for mark in part.marks))
