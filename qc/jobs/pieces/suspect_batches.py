"""Why pieces are held for a batch: a signal that waits for an answer suspects it first."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

import polars as pl

from qc.jobs.judging import SignalOfDay
from qc.jobs.pieces.answered import LeftOn, left_while_held
from qc.jobs.pieces.measured_again import measured_since_mended
from qc.jobs.pieces.rows import HoldRow
from qc.jobs.pieces.under_signals import (
    OpenSignal,
    answer_words,
    figure_of,
    left_to_deal_with,
    made_since_mend,
    mend_of,
    rows_under,
    those_asked,
    told_by_answer,
    with_since,
)
from qc.jobs.workshop import Workshop
from qc.sayings import CLOSED_STATES, pieces_done
from qc.watch import SeriesVerdict, holds


def by_batches(
    workshop: Workshop,
    signals: Iterable[OpenSignal],
    only: Collection[str] | None,
    gone: Mapping[str, LeftOn],
    *,
    answered: Iterable[OpenSignal] = (),
) -> list[HoldRow]:
    """Return the pieces of a batch that a waiting signal which holds pieces suspects first; `only` these.

    Of signals that were answered since, those that left before that.
    """
    rows: list[HoldRow] = []
    for signal, verdict in (*signals, *answered):
        figure, closed = figure_of(workshop.plan, verdict.key), signal.state in CLOSED_STATES
        for found in (signal.found, *(one.found for one in signal.joined)):
            first = next(iter(found.suspects), None)
            if figure is None or first is None or first.kind != "batch":
                continue
            if not (found.kept or holds(verdict, found)):
                continue
            parts = workshop.store.events("part", until=workshop.today).filter(pl.col("batch") == first.name)
            read = workshop.store.of_batch(first.name, until=workshop.today)
            serials = those_asked(only, sorted({s for s in (*parts["serial"], *read["serial"]) if s}))
            because = f"batch {first.name}, first suspect of signal {signal.name}"
            step = f"Keep it back until batch {first.name} is cleared; measure two pieces of it first."
            rests = (tuple(f"{first.name} {own}" for own in (signal.id, *signal.before)),)
            if not closed:
                held = rows_under(workshop, figure, serials, "batch", because, step, rests)
                rows += with_since(workshop, signal, verdict, held, gone, batch=first.name)
                continue
            since = left_while_held(workshop, signal, verdict, serials, gone, batch=first.name)
            told = _told_by_mend(workshop, signal, verdict)
            serials = [serial for serial in serials if serial in since and serial not in told]
            because = f"{because}, {answer_words(workshop, signal)}"
            since_mend = made_since_mend(signal, verdict)
            for later in (False, True):
                own = [serial for serial in serials if (serial in since_mend) is later]
                held = rows_under(workshop, figure, own, "batch", because, step, rests)
                rows += told_by_answer(workshop, signal, held, since, freed=later)
    return rows


def _told_by_mend(workshop: Workshop, signal: SignalOfDay, verdict: SeriesVerdict) -> set[str]:
    """Return the pieces of a mended cause: ticked off, measured again since, or with a row of their own."""
    if mend_of(signal) is None:
        return set()
    again = measured_since_mended(workshop, verdict, verdict.points, signal.said)
    left = left_to_deal_with(workshop, signal, verdict)
    return {*pieces_done(signal.said), *again, *(point.serial for point in left)}
