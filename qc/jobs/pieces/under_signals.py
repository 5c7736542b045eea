"""Why pieces are held for signals: those that wait for an answer, and causes that were mended.

A signal that waits for an answer holds its pieces until it is answered, also where later pieces tell of its
change otherwise, or another finding stands in its place. A mend lets no piece go that was made under its
cause: each that is in the house waits to be measured again, ticked off or released, and each that has left
for somebody to decide what is told to whom.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Literal

from qc.jobs.judging import SignalOfDay, signals_of_day
from qc.jobs.pieces.answered import LeftOn, covered_from, held_since, left_while_held, spans_of
from qc.jobs.pieces.left import TO_DECIDE
from qc.jobs.pieces.measured_again import measured_again, measured_since_mended
from qc.jobs.pieces.outside import figures_of
from qc.jobs.pieces.rows import HoldRow, PieceDecided
from qc.jobs.pieces.since_when import since_words
from qc.jobs.workshop import Workshop
from qc.plan import Characteristic, Plan, Stage
from qc.sayings import (
    CLOSED_STATES,
    FALSE,
    MENDED,
    OPEN_STATES,
    OUTCOME_WORDS,
    STAYS,
    Said,
    last_closing,
    outcome_of,
    pieces_done,
)
from qc.watch import (
    Point,
    SeriesKey,
    SeriesVerdict,
    SignalResult,
    holds,
    kept_pieces,
    pieces_in,
    pieces_under,
)
from qc.words import day_words

OpenSignal = tuple[SignalOfDay, SeriesVerdict]
Figure = tuple[Stage, Characteristic]


def signals_that_hold(
    workshop: Workshop, verdicts: Sequence[SeriesVerdict]
) -> tuple[list[OpenSignal], list[OpenSignal], list[OpenSignal]]:
    """Return the signals that wait for an answer, those that were mended, and those answered otherwise.

    Each of the worst series first. Of the last only what left while they held it is still asked about.
    """
    by_key = {str(verdict.key): verdict for verdict in verdicts}
    waiting, mended, answered = [], [], []
    for signal in signals_of_day(workshop, verdicts):
        verdict = by_key.get(signal.series)
        if verdict is None:
            continue
        if signal.stands and signal.state in OPEN_STATES:
            waiting.append((signal, verdict))
        elif mend_of(signal) is not None and any(one.kept for one in (signal.found, *signal.earlier)):
            mended.append((signal, verdict))
        elif signal.state in CLOSED_STATES:
            answered.append((signal, verdict))
    for found in (waiting, mended, answered):
        found.sort(key=lambda one: -one[1].worst)
    return waiting, mended, answered


def mend_of(signal: SignalOfDay) -> Said | None:
    """Return the words that closed a signal as mended; None where it was not, or is open again."""
    if signal.state != "closed":
        return None
    closing = last_closing(signal.said)
    return closing if closing is not None and outcome_of(closing) == MENDED else None


def by_signals(
    workshop: Workshop,
    signals: Iterable[OpenSignal],
    only: Collection[str] | None,
    gone: Mapping[str, LeftOn],
) -> list[HoldRow]:
    """Return the pieces that lie, or lay, in the stretch of a waiting signal; `only` these, `gone` left."""
    rows: list[HoldRow] = []
    for signal, verdict in signals:
        figure = figure_of(workshop.plan, verdict.key)
        if figure is None:
            continue
        serials = those_asked(only, (point.serial for point in held_for(workshop, signal, verdict)))
        because = f"signal {signal.name}: {signal.found.sentence}{_end_words(workshop, signal)}"
        step = f"Keep it back until signal {signal.name} is answered. {figure[1].next_step}".strip()
        rests = ((signal.id, *signal.before),)
        words = since_words(workshop, signal, verdict)
        held = (
            replace(row, because=because + words.get(row.serial, ""))
            for row in rows_under(workshop, figure, serials, "signal", because, step, rests)
        )
        rows += with_since(workshop, signal, verdict, held, gone)
    return rows


def by_mends(
    workshop: Workshop,
    signals: Iterable[OpenSignal],
    only: Collection[str] | None,
    gone: Mapping[str, LeftOn],
) -> list[HoldRow]:
    """Return the pieces made under a cause mended since, but for those dealt with; `only` these.

    Those that have left are among them: a mend at the bench is no answer to who plays them.
    """
    rows: list[HoldRow] = []
    for signal, verdict in signals:
        figure, closing = figure_of(workshop.plan, verdict.key), _closing_here(workshop, signal)
        if figure is None or closing is None or mend_of(signal) is None:
            continue
        because = f"made under signal {signal.name}, {_mended_words(workshop, verdict, closing)}"
        rests = ((signal.id, *signal.before),)
        serials = those_asked(only, (one.serial for one in left_to_deal_with(workshop, signal, verdict)))
        kept = {p.serial for one in (signal.found, *signal.earlier) for p in kept_pieces(verdict, one)}
        held_then = left_while_held(workshop, signal, verdict, kept.intersection(serials), gone)
        for row in rows_under(workshop, figure, serials, "signal", because, "", rests):
            tick = f"tick it off: qc signals tick {signal.name} --piece {row.serial} --who CODE"
            step, out = f"Measure it again, or {tick}", f"It has left: {TO_DECIDE}, then {tick}"
            rows.append(replace(row, next_step=step, once_left=out, since=held_then.get(row.serial)))
    return rows


def by_answered(
    workshop: Workshop,
    signals: Iterable[OpenSignal],
    only: Collection[str] | None,
    gone: Mapping[str, LeftOn],
) -> list[HoldRow]:
    """Return the pieces that left while a signal held them that was answered since; `only` these.

    No answer takes them off the list: they leave it one by one, by a release or a tick with their name. That
    a signal had no cause stands beside them as their release, and asks nobody to call them back.
    """
    rows: list[HoldRow] = []
    for signal, verdict in signals:
        figure = figure_of(workshop.plan, verdict.key)
        if figure is None:
            continue
        held_then = _held_until_answered(workshop, signal, verdict, gone)
        asked = those_asked(only, (point.serial for point in held_then))
        mended = mend_of(signal) is not None
        since = left_while_held(workshop, signal, verdict, asked, gone, made_after=mended)
        serials = [serial for serial in asked if serial in since]
        because = f"signal {signal.name}, {answer_words(workshop, signal)}"
        rests = ((signal.id, *signal.before),)
        held = rows_under(workshop, figure, serials, "signal", because, "", rests)
        rows += told_by_answer(workshop, signal, held, since, freed=True)
    return rows


def told_by_answer(
    workshop: Workshop,
    signal: SignalOfDay,
    rows: Iterable[HoldRow],
    since: Mapping[str, date],
    *,
    freed: bool,
) -> Iterator[HoldRow]:
    """Add from which day an answered signal held its pieces, and what its answer says of those it held.

    That it had no cause releases them all; that the new level stays those that lie inside their limits; a
    mend those that are `freed` by it, none of which was made under its cause: who was has another row.
    """
    closing = _closing_here(workshop, signal)
    outcome = outcome_of(closing) if closing else ""
    why = {
        FALSE: f"signal {signal.name} had no cause",
        MENDED: f"it was not made under the cause of signal {signal.name}, which was mended" if freed else "",
    }.get(outcome, "")
    for row in rows:
        held = replace(row, since=since[row.serial])
        beyond = row.figure is None or row.figure.inside is False
        if outcome == STAYS:
            why = "" if beyond else f"the new level of signal {signal.name} stays"
        if closing is not None and why:
            said = f"{why}: {closing.text}".rstrip(": ")
            let_go = PieceDecided(closing.who, said, closing.when.date())
            step = f"Nothing is to be called back: {said}"
            held = replace(held, released=let_go, by_answer=True, once_left=step)
        yield held


def _held_until_answered(
    workshop: Workshop, signal: SignalOfDay, verdict: SeriesVerdict, gone: Mapping[str, LeftOn]
) -> list[Point]:
    """Return the pieces that a closed signal held, but for those ticked off or made under a mended cause.

    Those of a mended cause have rows of their own until each is dealt with (`by_mends`). One measured once
    more before it left was let go by that, where the finding does not lie on it itself.
    """
    every = {p.ordinal: p for one in (signal.found, *signal.earlier) for p in kept_pieces(verdict, one)}
    dealt = set(pieces_done(signal.said))
    if mend_of(signal) is not None:
        dealt |= {point.serial for point in under_cause(signal.found, signal.earlier, verdict)}
    held = [point for _, point in sorted(every.items()) if point.serial not in dealt]
    own = {p.serial for p in pieces_in(verdict, signal.found)} if signal.shown else set()
    since = dict.fromkeys((point.serial for point in held), signal.found.raised_day)
    again = measured_again(workshop, verdict.key, held, since)
    let_go = {
        one for one, day in again.items() if one not in own and (one not in gone or day <= gone[one].day)
    }
    return [point for point in held if point.serial not in let_go]


def answer_words(workshop: Workshop, signal: SignalOfDay) -> str:
    """Say when a signal was answered, by whom, and how."""
    closing = _closing_here(workshop, signal)
    if closing is None:
        return ""
    on = day_words(closing.when.date(), workshop.today)
    return f"closed on {on} by {closing.who}: {OUTCOME_WORDS[outcome_of(closing)]}"


def _mended_words(workshop: Workshop, verdict: SeriesVerdict, closing: Said) -> str:
    """Say by when a cause was mended: before the first piece made after it, else when somebody said so."""
    first = next((point for point in verdict.points if point.serial == closing.first), None)
    if first is None:
        return f"closed as mended on {day_words(closing.when.date(), workshop.today)}"
    return f"mended before {first.serial} ({day_words(first.day, workshop.today)})"


def _closing_here(workshop: Workshop, signal: SignalOfDay) -> Said | None:
    """Return the words that closed a signal last, their moment in the workshop's zone."""
    return last_closing(signal.said, workshop.plan.workshop.time_zone)


def with_since(
    workshop: Workshop,
    signal: SignalOfDay,
    verdict: SeriesVerdict,
    rows: Iterable[HoldRow],
    gone: Mapping[str, LeftOn],
    *,
    batch: str = "",
) -> list[HoldRow]:
    """Add from which day a signal that waits holds its pieces; one that was closed in between let them go."""
    rows, today = list(rows), workshop.today
    spans = spans_of(signal, workshop.plan.workshop.time_zone, any_answer=bool(batch))
    left = [row.serial for row in rows if row.serial in gone]
    own = covered_from(workshop, signal, verdict, left, today, batch=batch) if left else {}
    found = []
    for row in rows:
        since = spans[-1].first
        if row.serial in gone:
            day = own.get(row.serial, today)
            since = held_since(spans, gone[row.serial], day) or max(since, day)
        found.append(replace(row, since=since))
    return found


def held_for(workshop: Workshop, signal: SignalOfDay, verdict: SeriesVerdict) -> list[Point]:
    """Return the pieces that a signal holds which waits for an answer, in order of making.

    Those that it held before and would not by what is found now are let go when they are measured again.
    """
    now = {}
    if signal.shown and holds(verdict, signal.found):
        now = {point.serial: point for point in pieces_in(verdict, signal.found)}
    before = [
        point
        for one in (signal.found, *signal.earlier)
        for point in kept_pieces(verdict, one)
        if point.serial not in now
    ]
    since = dict.fromkeys((point.serial for point in before), signal.found.raised_day)
    again = measured_again(workshop, verdict.key, before, since)
    kept = {point.serial: point for point in before if point.serial not in again}
    return sorted({**kept, **now}.values(), key=lambda point: point.ordinal)


def covered_by(workshop: Workshop, signal: SignalOfDay, verdict: SeriesVerdict) -> list[Point]:
    """Return all pieces that a signal is about, in order of making: what every page says a piece lies in.

    Those in its stretch as the readings tell of it now, and all that were made under its cause, as the page
    of the signal lists them: one that was ticked off, or measured again, was made under it all the same.
    """
    told = [] if signal.shown else kept_pieces(verdict, signal.found)
    own = {p.ordinal: p for p in told or pieces_in(verdict, signal.found)}
    own |= {p.ordinal: p for p in under_cause(signal.found, signal.earlier, verdict) if not p.left_out}
    if signal.stands and signal.state in OPEN_STATES:
        own |= {p.ordinal: p for p in held_for(workshop, signal, verdict)}
    elif mend_of(signal) is not None:
        own |= {p.ordinal: p for p in left_to_deal_with(workshop, signal, verdict)}
    return [own[ordinal] for ordinal in sorted(own)]


def left_to_deal_with(workshop: Workshop, signal: SignalOfDay, verdict: SeriesVerdict) -> list[Point]:
    """Return the pieces made under a mended cause that were neither ticked off nor measured since."""
    if mend_of(signal) is None:
        return []
    points = {p.ordinal: p for p in under_cause(signal.found, signal.earlier, verdict)}
    ticked = pieces_done(signal.said)
    left = [point for _, point in sorted(points.items()) if point.serial not in ticked]
    again = measured_since_mended(workshop, verdict, left, signal.said)
    return [point for point in left if point.serial not in again]


def made_since_mend(signal: SignalOfDay, verdict: SeriesVerdict) -> set[str]:
    """Return the pieces made since a cause was mended, which that lets go; none where it was not."""
    first = signal.found.mended
    if first is None or mend_of(signal) is None:
        return set()
    return {point.serial for point in verdict.points if point.ordinal >= first}


def under_cause(
    found: SignalResult, earlier: Sequence[SignalResult], verdict: SeriesVerdict
) -> tuple[Point, ...]:
    """Return the pieces made under the cause of a signal, with those held for what stands in it."""
    shown = any(one.raised_serial == found.raised_serial for one in verdict.signals)
    own = {point.ordinal: point for point in pieces_under(verdict, found)} if shown else {}
    end = found.mended or len(verdict.points) + 1
    # once it is mended the change is known at both ends: what lies before its start was not made under it
    begin = min(own, default=1) if found.mended is not None and found.kind != "single" else 1
    held = [point for point in kept_pieces(verdict, found) if point.ordinal >= begin]
    held += [point for one in earlier for point in kept_pieces(verdict, one)]
    own |= {point.ordinal: point for point in held if point.ordinal < end}
    return tuple(own[ordinal] for ordinal in sorted(own))


def figure_of(plan: Plan, key: SeriesKey) -> Figure | None:
    """Return stage and characteristic of a series, None where the plan has it no more."""
    stage, characteristic = plan.stage(key.stage), plan.characteristic(key.stage, key.characteristic)
    return None if stage is None or characteristic is None else (stage, characteristic)


def _end_words(workshop: Workshop, signal: SignalOfDay) -> str:
    """Say what became of a finding that holds its pieces still."""
    since, answer = signal.found.over_since, "nobody has answered it"
    if closing := _closing_here(workshop, signal):
        on = day_words(closing.when.date(), workshop.today)
        answer = f"{closing.who} closed it on {on}, and it was opened again"
    if signal.waits:
        return f" Later pieces do not show it any more; {answer}."
    return f" It is over since {since}; {answer}." if since else ""


def those_asked(only: Collection[str] | None, serials: Iterable[str]) -> list[str]:
    """Return the serials that are asked for; all of them where nobody says which."""
    return [serial for serial in serials if only is None or serial in only]


def rows_under(
    workshop: Workshop,
    figure: Figure,
    serials: Sequence[str],
    why: Literal["signal", "batch"],
    because: str,
    step: str,
    rests: tuple[tuple[str, ...], ...],
) -> Iterator[HoldRow]:
    """Yield a row for each piece under a signal; one without the figure is listed all the same."""
    stage, characteristic = figure
    figures = figures_of(workshop, stage, characteristic, serials) if serials else {}
    title = f"{stage.name}: {characteristic.name}"
    for serial in serials:
        found = figures.get(serial)
        own = (serial, stage.id, characteristic.id, title, characteristic.unit, found)
        yield HoldRow(*own, why, because, step, rests)
