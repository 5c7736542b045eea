"""Lists of the board from the store: signals, held rows, sheets, instruments, reports."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import polars as pl

from qc.jobs.board.views import (
    DecidedView,
    EventRow,
    HeldView,
    InstrumentReading,
    InstrumentRow,
    InstrumentView,
    ReportView,
    SeriesVerdict,
    SheetView,
    SignalComment,
    SignalView,
)
from qc.jobs.errors import JobError
from qc.jobs.judging import signals_of_day, verdicts_of_day
from qc.jobs.pieces import HoldRow as HoldRowOfPiece
from qc.jobs.pieces import whereabouts
from qc.jobs.rows import HeldList, HeldRow, is_doubt, offered_now, piece_words, place_words, recorded_of
from qc.jobs.signals import life_of, made_under, with_to_tick
from qc.jobs.whole_piece import PieceRecord, event_sentence, piece_record
from qc.jobs.workshop import Workshop
from qc.plain import FrameRow
from qc.plan import Plan
from qc.sayings import OPEN_STATES, OUTCOME_WORDS, Said, What, outcome_of
from qc.store import HeldRecord
from qc.words import dated_words

MONTH = re.compile(r"\d{4}-\d{2}")
LATELY = 20
"""Decisions about held rows that the board offers to undo; older ones: `qc held undo`."""

TYPED_ANEW = ("value", "serial", "day", "unit", "model", "person", "gauge", "tool", "batch")
"""Columns that a person may type anew on the board, the likeliest first."""


def signal_views(workshop: Workshop, verdicts: Sequence[SeriesVerdict]) -> tuple[SignalView, ...]:
    """Return the signals of the series there are: those that wait, the worst first, then the newest first."""
    by_series = {str(v.key): v for v in verdicts}
    views = []
    for one in signals_of_day(workshop, verdicts):
        verdict = by_series.get(one.series)
        if verdict is None or not one.listed:
            continue
        own = life_of(workshop, one, verdict)
        # one that nobody answered and that came back asks nothing more of anybody
        state = "over" if one.state == "open" and one.found.ended is not None else one.state
        life = tuple(_comment(said, workshop.plan) for said in one.said)
        views.append(
            SignalView(
                one.id,
                verdict,
                one.found,
                state,
                life,
                standing=own.standing,
                owner=own.owner or "",
                had=own.had,
                known=one.known or one.found.raised_day,
                age_days=own.age_days,
                due=own.due,
                overdue=own.overdue,
                closed_as=own.closed_as,
                anew=own.anew,
                mend=own.mend,
                beside=own.beside,
                not_kept=own.not_kept is not None,
                ticked=tuple(own.steps[place] for place in sorted(own.ticked)),
                before=one.before,
                numbers=one.numbers,
            )
        )
    views.sort(key=lambda v: v.signal.raised_day, reverse=True)
    return tuple(sorted(views, key=_weight))


def _weight(view: SignalView) -> tuple[bool, float]:
    """Order signals as the command does: of those that wait that of the worst series first."""
    waits = view.state in OPEN_STATES
    return not waits, -(view.verdict.worst + (view.signal.ended is None)) if waits else 0.0


def signal_whole(workshop: Workshop, view: SignalView) -> SignalView:
    """Return a signal with the pieces made under its cause."""
    shown = any(signal == view.signal for signal in view.verdict.signals)
    row = next((one for one in signals_of_day(workshop, [view.verdict]) if one.id == view.id), None)
    if row is None or not (shown or row.waits):
        return view
    pieces = made_under(workshop, view.verdict, view.signal, row.said, row.earlier)
    own = replace(life_of(workshop, row, view.verdict), made_under=pieces)
    whole = with_to_tick(workshop, own, row, [view.verdict])
    return replace(view, made_under=whole.made_under, beside=whole.beside)


def held_views(workshop: Workshop, rows: Sequence[str] | None = None) -> tuple[HeldView, ...]:
    """Return the open held rows, newest first; those that are one question are of one run.

    Of some rows only those, for one row need not wait for the words of all.
    """
    asked = (
        None
        if rows is None
        else [int(row) for row in rows if row.isascii() and row.isdigit() and len(row) < 16]
    )
    records = offered_now(workshop, workshop.store.held(ids=asked))
    recorded = recorded_of(workshop, records)
    told = [HeldRow.of(record, workshop.plan, recorded) for record in records]
    run_of = {row.id: group.rows[0].id for group in HeldList(tuple(told)).groups() for row in group.rows}
    titles = {card.id: card.title for card in workshop.plan.cards}
    cards = {one.sheet: titles.get(one.card, one.card) for one in workshop.store.sheets()}
    views = [
        replace(_held(row, record), run=str(run_of[row.id]), card=cards.get(record.sheet, ""))
        for row, record in zip(told, records, strict=True)
    ]
    return tuple(reversed(views))


def worst_first(workshop: Workshop) -> tuple[SeriesVerdict, ...]:
    """Return the verdicts of the workshop's day, those first that need most to be looked at."""
    return tuple(sorted(verdicts_of_day(workshop), key=lambda verdict: -verdict.worst))


def decided_views(workshop: Workshop) -> tuple[DecidedView, ...]:
    """Return what was decided about held rows of late and can be taken back, newest first."""
    zone = ZoneInfo(workshop.plan.workshop.time_zone)
    decided = workshop.store.decided(LATELY)
    rows = {
        row.id: row for row in workshop.store.held(open_only=False, ids=[number for number, _, _ in decided])
    }
    return tuple(
        DecidedView(
            row=str(number),
            what=piece_words(rows[number].as_typed(), workshop.plan),
            text=rows[number].text,
            state=rows[number].state,
            who=who,
            day=when.astimezone(zone).date(),
        )
        for number, when, who in decided
    )


def sheet_views(workshop: Workshop) -> tuple[SheetView, ...]:
    """Return the sheets, newest first."""
    plan = workshop.plan
    titles = {card.id: card.title for card in plan.cards}
    waiting = Counter(row.sheet for row in workshop.store.held())
    return tuple(
        SheetView(
            one.sheet,
            one.file,
            titles.get(one.card, one.card),
            _moment(one.entered, plan),
            one.who,
            one.size,
            waiting[one.sheet],
        )
        for one in reversed(workshop.store.sheets())
    )


def instrument_rows(workshop: Workshop) -> tuple[InstrumentRow, ...]:
    """Return every piece, newest first: instruments, and parts marked as such."""
    names = {m.id: m.name for m in workshop.plan.models}
    built_in = set(workshop.store.events("part")["subject"].to_list())
    rows = workshop.store.pieces().sort(["first_day", "serial"], descending=True, nulls_last=True)
    return tuple(
        InstrumentRow(
            serial,
            names.get(model or "", model or ""),
            first,
            _state(_is_part(serial, built_in, workshop.plan), shipped),
        )
        for serial, model, first, shipped in rows.select(
            "serial", "model", "first_day", "shipped"
        ).iter_rows()
        if serial
    )


def chosen_rows(rows: Sequence[InstrumentRow], wanted: str) -> list[InstrumentRow]:
    """Return those whose serial holds what was asked for; parts only where something was."""
    low = wanted.lower()
    return [row for row in rows if low in row.serial.lower() and (wanted or row.state != "part")]


def standing_rows(workshop: Workshop, rows: Sequence[InstrumentRow]) -> tuple[InstrumentRow, ...]:
    """Say of what has not left where it stands; of few rows, for the events of each are read."""
    here = whereabouts(workshop, [row.serial for row in rows if row.state == ON_THE_BENCH])
    return tuple(replace(row, state=here[row.serial].words) if row.serial in here else row for row in rows)


def instrument_view(
    workshop: Workshop, serial: str, verdicts: Sequence[SeriesVerdict], hold: Sequence[HoldRowOfPiece]
) -> InstrumentView | None:
    """Return everything about one serial, None where nothing is known of it."""
    store, plan = workshop.store, workshop.plan
    readings = store.history(serials=[serial])
    events = store.events(serials=[serial])
    inside = store.events("part", subjects=[serial])
    if readings.is_empty() and events.is_empty() and inside.is_empty():
        return None
    piece = store.pieces(serials=[serial])
    model, shipped = piece.select("model", "shipped").row(0) if piece.height else ("", None)
    order = {stage.id: number for number, stage in enumerate(plan.stages)}
    files = {one.sheet: one.file for one in store.sheets()}
    rows = [_reading(row, plan, files) for row in readings.sort("measured_at", "id").iter_rows(named=True)]
    parts = events.filter(pl.col("kind") == "part")
    life = events.filter(pl.col("kind") != "part").sort("day")
    return InstrumentView(
        serial=serial,
        model=next((m.name for m in plan.models if m.id == model), model or ""),
        state=_state(_is_part(serial, {serial} if inside.height else set(), plan), shipped),
        readings=tuple(sorted(rows, key=lambda r: order.get(r.stage, len(order)))),
        events=tuple(EventRow(row["day"], event_sentence(row)) for row in life.iter_rows(named=True)),
        parts=tuple((row["code"] or "part", row["subject"]) for row in parts.iter_rows(named=True)),
        part_of=tuple((row["code"] or "part", row["serial"]) for row in inside.iter_rows(named=True)),
        charted=tuple((v, p) for v in verdicts for p in v.points if p.serial == serial),
        record=_record(workshop, serial, verdicts, hold),
    )


def _record(
    workshop: Workshop, serial: str, verdicts: Sequence[SeriesVerdict], hold: Sequence[HoldRowOfPiece]
) -> PieceRecord | None:
    """Return all that is known of a piece by the board's day, None where all of it came later."""
    try:
        return piece_record(workshop, serial, judge=False, verdicts=verdicts, hold=hold)
    except JobError:
        return None


def report_views(folder: Path, closed: Collection[str] = ()) -> tuple[ReportView, ...]:
    """Return the reports in a workshop folder, newest month first; `closed` are the months that stand."""
    root = folder / "reports"
    months = [p for p in root.iterdir() if p.is_dir() and MONTH.fullmatch(p.name)] if root.is_dir() else []
    return tuple(
        ReportView(place.name, tuple(sorted(p for p in place.iterdir() if p.is_file())), place.name in closed)
        for place in sorted(months, reverse=True)
    )


def _held(row: HeldRow, record: HeldRecord) -> HeldView:
    """Turn a held row into what the board shows; only what stands in the row may be typed anew."""
    typed = record.as_typed()
    return HeldView(
        id=str(row.id),
        file=record.file,
        cell=record.cell or f"line {record.row}",
        text=row.text,
        reasons=row.reasons,
        proposal=row.mends[0] if row.mends else "",
        serial=row.serial,
        what=row.figure,
        place=place_words(typed),
        columns=tuple((name, _cell(typed[name])) for name in TYPED_ANEW if name in typed),
        doubt=all(is_doubt(reason) for reason in row.reasons),
        entered=record.entered,
    )


def _cell(value: object) -> str:
    return "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


def _reading(row: FrameRow, plan: Plan, files: dict[str, str]) -> InstrumentReading:
    """Turn a stored reading into words of its place; what the plan no longer names keeps its bare id."""
    stage = plan.stage(row["stage"])
    figure = plan.characteristic(row["stage"], row["characteristic"])
    return InstrumentReading(
        day=row["day"],
        stage=row["stage"],
        stage_name=stage.name if stage else row["stage"],
        name=figure.name if figure else row["characteristic"],
        place=place_words(row),
        value=row["value"],
        unit=row["unit"] or "",
        text=row["text"] or "",
        person=row["person"] or "",
        gauge=row["gauge"] or "",
        tool=row["tool"] or "",
        file=files.get(row["sheet"] or "", ""),
        row=row["row"] or 0,
        note=row["note"] or "",
        id=row["id"],
        state=row["state"],
        became=_became(row),
        kind=figure.kind if figure else "measured",
        batch=row["batch"] or "",
    )


def _became(row: FrameRow) -> str:
    """Say what became of a reading that stands no longer, nothing of one that stands."""
    if row["state"] == "stands":
        return ""
    who = f" by {row['changed_by']}" if row["changed_by"] else ""
    why = f": {row['why']}" if row["why"] else ""
    return f"{row['state']}{who}, {dated_words(row['changed_at'])}{why}"


def _comment(said: Said, plan: Plan) -> SignalComment:
    told = [said.text]
    told += [f"Cause: {said.cause}."] if said.cause else []
    told += [f"Done: {said.action}."] if said.action else []
    if said.what is What.CLOSED:
        since = f" from {said.first} on" if said.first else ""
        told.append(f"{OUTCOME_WORDS[outcome_of(said)].capitalize()}{since}.")
    if said.what in {What.PIECE_DONE, What.PIECE_UNDONE}:
        told.insert(0, f"{said.first}.")
    when = _moment(said.when, plan)
    return SignalComment(when, said.who, said.what, " ".join(text for text in told if text))


def _is_part(serial: str, built_in: set[str], plan: Plan) -> bool:
    # A tube is measured, and has a model, long before it is known which instrument it goes into.
    prefix = plan.workshop.serial_prefix
    return serial in built_in or (bool(prefix) and not serial.startswith(prefix))


ON_THE_BENCH = "on the bench"
"""State of what has not left; where exactly is asked once it is shown."""


def _state(part: bool, shipped: date | None) -> str:
    if part:
        return "part"
    return f"shipped {dated_words(shipped)}" if shipped else ON_THE_BENCH


def _moment(moment: datetime, plan: Plan) -> str:
    here = moment.astimezone(ZoneInfo(plan.workshop.time_zone))
    return f"{dated_words(here)}, {here:%H:%M}"
