"""The end-of-day upload: sheets in, a receipt out.

Every sheet is read, unfolded and checked; what is accepted and what is held goes into the store in one
transaction; then the series that the sheets touch are judged anew. A sheet that cannot be read at all is
refused with one sentence and does not stop the others.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import date
from pathlib import Path

import polars as pl

from qc.errors import QcError
from qc.ingest import (
    CardMapping,
    Known,
    SheetError,
    SheetLayout,
    Unfolded,
    check,
    read_file,
)
from qc.jobs.errors import JobError
from qc.jobs.halves import AsBefore
from qc.jobs.handed_in import GivenFile as GivenFile
from qc.jobs.handed_in import HandedIn, read_all, read_waiting_too, those_kept
from qc.jobs.handed_in import ShowProgress as ShowProgress
from qc.jobs.headings import confirmed_text, mappings_for
from qc.jobs.judging import (
    NOTHING_STORED,
    STORED_AND_JUDGED,
    STORED_NOT_JUDGED,
    catch_up,
    ending,
    not_judged_since,
)
from qc.jobs.past import known_of_parts
from qc.jobs.pieces import HoldList, LeftPiece, hold_list, left_before, with_parts
from qc.jobs.receipts import (
    Accepted,
    RaisedSignal,
    SheetReceipt,
    UploadReceipt,
    accepted_since,
    brought_by,
    still_missing,
)
from qc.jobs.roles import refuse_no_name
from qc.jobs.rows import told_reasons
from qc.jobs.whole_piece import shipped_without
from qc.jobs.workshop import Workshop
from qc.plan import EVENT, HELD, READING
from qc.store import NewSheet, NewUnread, SheetCount, SignalRecord, sheet_hash, signal_id
from qc.watch import SeriesVerdict, SignalResult, heirs_of
from qc.words import count_words, kept_name, listed

WAITS = "What waited before is not yet judged: the next command judges it."
NOTHING_NEW = f"The sheets brought nothing new, so nothing was stored. {WAITS}"
"""How an upload of known sheets ends whose judging of what came before failed."""

MANY_SHEETS = 30
"""From so many on, an upload is not the cards of a day and what they lack is not told; chosen."""


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
    found = [_read(path) for path in paths]
    errors = [str(data) for _, data in found if isinstance(data, SheetError)]
    if found and len(errors) == len(found):
        raise QcError(" ".join(errors))
    return found


def _read(path: Path) -> GivenFile:
    try:
        return kept_name(path.name), read_file(path)
    except SheetError as error:
        return kept_name(path.name), error


def _given(files: Sequence[GivenFile | Path | str] | Path | str) -> list[GivenFile]:
    """Read from the disk what was named and not brought along."""
    every = [files] if isinstance(files, str | Path) else files
    return [_read(Path(one)) if isinstance(one, str | Path) else one for one in every]


def upload(
    workshop: Workshop,
    files: Sequence[GivenFile | Path | str] | Path | str,
    *,
    who: str = "",
    progress: ShowProgress | None = None,
    mappings: Sequence[CardMapping] = (),
    layouts: Sequence[SheetLayout] = (),
    entered_as: str = "",
    in_words: bool = True,
) -> UploadReceipt:
    """Take in sheets; one that can be opened and not read is kept, and waits for its layout.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    files : path or sequence of paths or (name, bytes)
        Csv or xlsx files of the bench; an error in place of the bytes refuses that file alone.
    who : str
        Code of the person who uploads.
    progress : callable, optional
        Told how many sheets have been read.
    mappings : sequence of CardMapping
        What their headings mean, confirmed by handing them in; remembered for each heading line.
    layouts : sequence of SheetLayout
        Layouts that were shown, likewise; what waited of a sheet is settled where it is read through one.
    entered_as : str
        Id that a tablet gave to the one sheet there is, where it was typed at the bench.
    in_words : bool
        False where nobody reads the receipt: what sheets lack and what holds their pieces is left out.

    Returns
    -------
    UploadReceipt
        Made after the rows are durable on the disk and judged, with what waited from before.

    Raises
    ------
    UsageError
        The name of the person is no name.
    JobError
        A mapping names a heading that stands on none of the sheets.
    MachineError
        A lock, a full disk or a missing right; the text says whether the rows were stored by then.
    """
    with AsBefore() as files_beside, ending(NOTHING_STORED):
        refuse_no_name(who)
        known = mappings_for(workshop, mappings, layouts)
        given = _given(files)
        read = read_all(workshop, given, known, progress)
        if mappings or layouts:
            read.taken += read_waiting_too(workshop, given, known)
        taken, parts = read.taken, [part for file in read.taken for part in file.parts]
        _refuse_strange(mappings, parts, read.refused)
        record = known_of_parts(workshop, parts) if parts else None
        checked = iter(check(parts, workshop.plan, record) if record is not None else ())
        for file in taken:
            file.checked = [next(checked) for _ in file.parts]
        sheets = [_new_sheet(file, entered_as) for file in taken]
        unread = [] if entered_as else read.unread  # what was typed on a tablet stays there until it is read
        kept = _not_on_record(workshop, unread)
        reached = workshop.store.reached()
        waited = not_judged_since(workshop) is not None
        text = confirmed_text(workshop, parts, files_beside) if mappings or layouts else None
        counts = workshop.store.add_sheets(sheets, who=who, when=workshop.now, mappings=text, unread=unread)
    new = sum(count.accepted + count.held - count.held_again for count in counts)
    with ending(_stored_words(counts, kept, remembered=text is not None)):
        raised = judge_new(workshop)  # of sheets that bring nothing new as well: what was before may wait
    with ending(STORED_AND_JUDGED):
        whole = record if in_words and len(taken) < MANY_SHEETS else None
        receipts = _receipts(workshop, zip(taken, sheets, counts, strict=True), raised, whole)
        every = tuple(signal for found in raised.values() for signal in found)
        late = _late(every, receipts) if waited else frozenset()
        accepted = accepted_since(workshop, reached.readings) if new else Accepted()
        pieces, gone = _pieces_on(sheets)
        hold, before = _held(workshop, sheets, counts, pieces, gone) if new and in_words else (None, ())
        said, asks = tuple(read.refused), tuple(read.asked)
        left = tuple(those_kept(workshop, unread)), tuple(read.not_kept)
        return UploadReceipt(receipts, said, every, late, asks, accepted, hold, pieces, gone, before, *left)


def _held(
    workshop: Workshop,
    sheets: Sequence[NewSheet],
    counts: Sequence[SheetCount],
    pieces: Collection[str],
    gone: Collection[str],
) -> tuple[HoldList, tuple[LeftPiece, ...]]:
    """Return what holds the pieces of some sheets, and which had left when these showed them outside."""
    asked = {*pieces, *_typed_on(sheets), *with_parts(workshop, gone)}
    found = hold_list(workshop, serials=asked, judge=False)
    # a sheet that was known already has told it before
    brought = [s.hash for s, c in zip(sheets, counts, strict=True) if c.accepted + c.held > c.held_again]
    return found, left_before(workshop, found.rows, brought, gone)


def _receipts(
    workshop: Workshop,
    sheets: Iterable[tuple[HandedIn, NewSheet, SheetCount]],
    raised: Mapping[str, list[RaisedSignal]],
    record: Known | None,
) -> tuple[SheetReceipt, ...]:
    """Say what became of each sheet, and what it lacks where the record is given and all else that came."""
    told, plan = list(sheets), workshop.plan
    beside = brought_by(part for file, _, _ in told for part in file.parts) if record is not None else None
    lacking = [still_missing(f.parts, plan, record, beside) if record is not None else () for f, _, _ in told]
    gone = [_left_by(sheet, count) if record is not None else {} for _, sheet, count in told]
    lacking = [(*own, *shipped_without(workshop, left)) for own, left in zip(lacking, gone, strict=True)]
    return tuple(
        SheetReceipt(count, _own_signals(sheet, count, raised), _marks(file), missing, file.read_with(plan))
        for (file, sheet, count), missing in zip(told, lacking, strict=True)
    )


def _left_by(sheet: NewSheet, count: SheetCount) -> dict[str, date]:
    """Return the pieces that left by a sheet, with the day; none of one that brought nothing new."""
    if sheet.events.is_empty() or not count.accepted:
        return {}
    shipped = sheet.events.filter(pl.col("kind") == "shipped").select("serial", "day").drop_nulls()
    return dict(shipped.sort("day").iter_rows())


def _late(every: Iterable[RaisedSignal], receipts: Iterable[SheetReceipt]) -> frozenset[str]:
    """Return the signals that no sheet of this upload raised: what came before was judged with it."""
    own = {signal["id"] for receipt in receipts for signal in receipt.signals}
    return frozenset(signal["id"] for signal in every if signal["id"] not in own)


def _pieces_on(sheets: Sequence[NewSheet]) -> tuple[frozenset[str], frozenset[str]]:
    """Return the pieces that some sheets are about, and those that left by them."""
    measured = {serial for sheet in sheets for serial in sheet.readings["serial"].drop_nulls()}
    happened = [sheet.events for sheet in sheets if not sheet.events.is_empty()]
    of_events = {serial for events in happened for serial in events["serial"].drop_nulls()}
    left = {
        s for events in happened for s in events.filter(pl.col("kind") == "shipped")["serial"].drop_nulls()
    }
    return frozenset(measured | of_events), frozenset(left)


def _typed_on(sheets: Sequence[NewSheet]) -> set[str]:
    """Return the pieces that held rows of some sheets name."""
    rows = (json.loads(typed) for sheet in sheets for typed in sheet.held["typed"])
    return {str(row["serial"]) for row in rows if row.get("serial")}


def _not_on_record(workshop: Workshop, unread: Sequence[NewUnread]) -> int:
    """Return how many of some sheets that could not be read are not on record."""
    known = {one.sheet for one in workshop.store.unread(open_only=False)} if unread else set()
    return len({one.hash for one in unread if not workshop.store.has_sheet(one.hash)} - known)


def _stored_words(counts: Sequence[SheetCount], kept: int, *, remembered: bool) -> str:
    """Say what was stored when judging it failed: of the sheets, of those kept unread, of the mappings."""
    new = [count for count in counts if count.entered]
    told = []
    if new:
        rows, held = sum(c.accepted for c in new), sum(c.held for c in new)
        accepted = f"{count_words(rows, 'row')} accepted and {held} held"
        told.append(f"{count_words(len(new), 'sheet')} stored ({accepted}).")
    if kept:
        those = "that could not be read is" if kept == 1 else "that could not be read are"
        wait = "waits for its layout" if kept == 1 else "wait for their layouts"
        told.append(f"{count_words(kept, 'sheet')} {those} kept and {wait}.")
    if remembered:
        told.append("What was said of headings or layouts is remembered.")
    if not told:
        return NOTHING_NEW
    return " ".join([*told, STORED_NOT_JUDGED if new else WAITS])


def _refuse_strange(mappings: Sequence[CardMapping], parts: Sequence[Unfolded], refused: list[str]) -> None:
    """Raise where a mapping that was handed in fits no sheet: it would be confirmed for nothing."""
    read = [(one.card, one.headings) for part in parts for one in part.read_as]
    lost = [m for m in mappings if not any(card == m.card and m.is_for(line) for card, line in read)]
    if lost and parts and not refused:
        names = listed([typed for typed, _ in lost[0].columns]) or "what it names"
        raise JobError(
            f"The mapping of card {lost[0].card} fits none of the sheets: no heading line of that card has "
            f"{names}. Compare the headings letter by letter, and the card the sheet names."
        )


def _new_sheet(file: HandedIn, entered_as: str) -> NewSheet:
    """Join the parts of a file into the one sheet that is stored."""

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
        told=told_reasons,
        entered_as=entered_as,
        anew={p.tab: p.through.layout.name for p in file.parts if p.through is not None},
    )


def judge_new(workshop: Workshop) -> dict[str, list[RaisedSignal]]:
    """Judge what waits and return the signals that were not there before, by stage."""
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
        number = signal_id(str(verdict.key), signal.kind, signal.root)
        # of a signal that opened again the finding before is told by its own row no more
        known = not signal.reopens and any(row.id == number for row in before)
        if place not in told and not known:
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


def _marks(file: HandedIn) -> tuple[str, ...]:
    return tuple(dict.fromkeys(mark.sentence for part in file.checked for mark in part.marks))
