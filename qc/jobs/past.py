"""What the store knows that bears on rows coming in, gathered without reading the whole store."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from datetime import date, timedelta

import polars as pl

from qc.ingest import Known, Unfolded, card_days, known_from, other_writings
from qc.jobs.judging import load_verdicts, looks_back, signals_of_day
from qc.jobs.workshop import Workshop
from qc.sayings import CLOSED_STATES, MENDED, OPEN_STATES, last_closing, outcome_of
from qc.watch import part_uses, piece_figures, pieces_in, pieces_under, sources_of

RECENT = 200
"""So many latest readings of a figure say what is usual now."""

RECENT_BESIDE = 60
"""So many of the models that are not on the sheet."""

RECENT_CARDS = 5_000
"""The pieces on so many newest lines of cards say how serials are written and where they have got to."""

PIECES_BACK = 400
"""The cards of so many newest pieces say in which order stages follow and which pieces wait; chosen."""

AT_ONCE = 5_000
"""So many serials are asked for in one question to the store; chosen, well below what a database takes."""

MOST_AGAIN = 200
"""Of so many pieces that have a figure already it is asked whether a second card of them is expected; chosen:
more are a record that is read once more."""

CHECKS_BACK = timedelta(days=92)  # chosen: a quarter of a year

Figure = tuple[str, str, str | None, str | None]


def known_of(
    workshop: Workshop,
    figures: Iterable[Figure],
    serials: Collection[str],
    *,
    since: date | None = None,
    without: Sequence[int] = (),
    parts: Collection[str] = (),
) -> Known:
    """Gather what a check needs to know of the past.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    figures : iterable of (stage, characteristic, model, serial)
        What is measured on the rows coming in; the model may be missing where the serial is on record.
    serials : collection of str
        Pieces that the rows are about.
    since : date, optional
        Earliest day of the rows; morning checks of the quarter before it and since are looked at.
    without : sequence of int
        Readings that are about to be replaced: nothing is compared with them.
    parts : collection of str
        Parts that the rows build into pieces.

    Returns
    -------
    Known
        Latest readings of the figures, all readings of the pieces; these and the newest pieces by serial;
        gauge checks.
    """
    store, figures = workshop.store, list(figures)
    newest = dict(store.recent_pieces(RECENT_CARDS).iter_rows())
    asked = {*serials, *parts}
    # in small letters or with a blank it is the same piece, though its card be older than the newest
    spelt = {way for serial in asked - set(newest) for way in other_writings(serial)} - asked
    serials = {*serials, *_on_record(workshop, spelt)}
    pieces = store.pieces(sorted(serials))
    models = newest | dict(pieces.select("serial", "model").iter_rows())
    wanted = {(stage, name, model or models.get(serial)) for stage, name, model, serial in figures}
    recent = [(*figure, RECENT) for figure in sorted(wanted, key=str)]
    # a card may be copied from a piece of another model
    beside = {(stage, name) for stage, name, _ in wanted}
    others = [
        (stage, name, model.id, RECENT_BESIDE)
        for stage, name in sorted(beside)
        for model in workshop.plan.models
        if (stage, name, model.id) not in wanted
    ]
    own = store.readings(serials=sorted(serials))
    # a piece's own readings may be among the recent ones
    past = pl.concat([own, store.recent_readings([*recent, *others])]).unique(
        "id", keep="first", maintain_order=True
    )
    past = past.filter(~pl.col("id").is_in(list(without)))
    shipped = pieces.filter(pl.col("shipped").is_not_null())["serial"].to_list()
    # a slip such as 0001-01-01 has no quarter of a year before it
    first = max(since, date.min + CHECKS_BACK) - CHECKS_BACK if since else None
    known = known_from(workshop.today, past, store.events("gauge-check", since=first))
    serial_models = {serial: model or "" for serial, model in models.items()}
    around = store.around(sorted({*list(newest)[:PIECES_BACK], *serials}), until=workshop.today)
    return replace(
        known,
        serials=serial_models,
        shipped=frozenset(shipped),
        cards=card_days(around) if around.height else known.cards,
        left=_left(workshop, pieces, serials),
        stays=_stays(workshop, {*parts, *serials}) if parts else {},
        parts=_parts(workshop, {*asked, *spelt}),
        waiting=_waiting(workshop) if parts else frozenset(),
        again=_again(workshop, figures, own),
    )


def known_of_parts(workshop: Workshop, parts: Sequence[Unfolded]) -> Known:
    """Gather what a check needs to know of the past of sheets that were unfolded; see `known_of`."""
    columns = ["stage", "characteristic", "model", "serial"]
    rows = pl.concat([p.readings.select(columns) for p in parts]).unique()
    serials = {s for p in parts for frame in (p.readings, p.events) for s in frame["serial"].to_list() if s}
    days = [day for p in parts for frame in (p.readings, p.events) for day in frame["day"].unique() if day]
    built = (p.events.filter(pl.col("kind") == "part")["subject"].to_list() for p in parts)
    fitted = {part for own in built for part in own if part}
    return known_of(workshop, rows.iter_rows(), serials, since=min(days, default=None), parts=fitted)


def _on_record(workshop: Workshop, serials: Collection[str]) -> set[str]:
    """Return which of many possible serials are those of a piece, asked for a few at a time."""
    ordered = sorted(serials)
    few = [ordered[first : first + AT_ONCE] for first in range(0, len(ordered), AT_ONCE)]
    return {str(serial) for some in few for serial in workshop.store.pieces(some)["serial"]}


def _waiting(workshop: Workshop) -> frozenset[str]:
    """Return the serials of rows that are held: their card is there, if not on record."""
    typed = (json.loads(row.typed) for row in workshop.store.held())
    return frozenset(str(one["serial"]) for one in typed if one.get("serial"))


def _parts(workshop: Workshop, serials: Collection[str]) -> frozenset[str]:
    """Return which of many possible serials were built into a piece."""
    ordered = sorted(serials)
    few = [ordered[first : first + AT_ONCE] for first in range(0, len(ordered), AT_ONCE)]
    built = (workshop.store.events("part", subjects=some)["subject"] for some in few)
    return frozenset(str(part) for some in built for part in some if part)


def _again(workshop: Workshop, figures: Iterable[Figure], own: pl.DataFrame) -> frozenset[tuple[str, str]]:
    """Return at which stages a second card of a piece is expected, by serial.

    It is on record outside a limit, lies in a signal that waits or was mended, or was reworked, or came back,
    since it was measured there.
    """
    stages = {(str(serial), stage) for stage, _, _, serial in figures if serial}
    own = own.filter(pl.col("day") <= workshop.today)
    last = own.group_by("serial", "stage").agg(pl.col("day").max())
    second = {(serial, stage): day for serial, stage, day in last.iter_rows() if (serial, stage) in stages}
    serials = sorted({serial for serial, _ in second})
    if not serials or len(serials) > MOST_AGAIN:
        return frozenset()
    found = {*_outside(workshop, own, second), *_in_signals(workshop)}
    order = {stage.id: number for number, stage in enumerate(workshop.plan.stages)}
    happened = workshop.store.events(serials=serials, until=workshop.today)
    for kind, serial, where, day in happened.select("kind", "serial", "stage", "day").iter_rows():
        if kind not in {"rework", "returned"} or day is None:
            continue
        # what is worked on once more goes through that stage again and through those behind it
        first = order.get(where or "", 0) if kind == "rework" else 0
        found |= {
            (one, at)
            for (one, at), before in second.items()
            if one == serial and before <= day and order.get(at, first) >= first
        }
    return frozenset(found & second.keys())


def _outside(
    workshop: Workshop, own: pl.DataFrame, second: Collection[tuple[str, str]]
) -> set[tuple[str, str]]:
    """Return which pieces are outside a limit at which stages, of those asked about."""
    found = set()
    for stage in workshop.plan.stages:
        wanted = {serial for serial, at in second if at == stage.id}
        rows = own.filter(pl.col("stage") == stage.id, pl.col("serial").is_in(sorted(wanted)))
        for characteristic in stage.characteristics if wanted else ():
            read = rows.filter(pl.col("characteristic").is_in(list(sources_of(characteristic))))
            if not read.is_empty():
                told = piece_figures(read, workshop.plan, stage, characteristic, wanted=wanted)
                found |= {(one.serial, stage.id) for one in told if one.inside is False}
    return found


def _in_signals(workshop: Workshop) -> set[tuple[str, str]]:
    """Return the pieces that lie in a signal that waits for an answer, or were made under a mended cause."""
    rows = [one for one in workshop.store.signals() if one.state in {*OPEN_STATES, *CLOSED_STATES}]
    if not rows or looks_back(workshop):
        return set()
    verdicts = {str(one.key): one for one in load_verdicts(workshop)}
    found = set()
    for signal in signals_of_day(workshop, verdicts.values()):
        closing = last_closing(signal.said)
        mended = closing is not None and outcome_of(closing) == MENDED
        if (verdict := verdicts.get(signal.series)) is None:
            continue
        if mended or (signal.stands and signal.state in OPEN_STATES):
            points = (*pieces_in(verdict, signal.found), *pieces_under(verdict, signal.found))
            found |= {(point.serial, verdict.key.stage) for point in points}
    return found


def _stays(workshop: Workshop, serials: Collection[str]) -> dict[str, tuple[tuple[str, date | None], ...]]:
    """Return where parts, and what they are in, were built into, by serial and in order of the days."""
    found: dict[str, tuple[tuple[str, date | None], ...]] = {}
    waiting = set(serials)
    while waiting:
        built = part_uses(workshop.store.events("part", subjects=sorted(waiting)))
        for use in built:
            found[use.part] = (*found.get(use.part, ()), (use.piece, use.day))
        waiting = {use.piece for use in built} - set(found) - waiting
    return found


def _left(workshop: Workshop, pieces: pl.DataFrame, serials: Collection[str]) -> dict[str, date]:
    """Return the pieces that were shipped and have not come back since, with the day."""
    returns = workshop.store.events("returned", serials=sorted(serials))
    back = dict(returns.group_by("serial").agg(pl.col("day").max()).iter_rows())
    gone = pieces.filter(pl.col("shipped").is_not_null()).select("serial", "shipped")
    return {s: day for s, day in gone.iter_rows() if back.get(s) is None or back[s] < day}
