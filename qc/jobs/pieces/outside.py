"""Which pieces are outside their limits: worked out once, and anew only for pieces of which something came.

Asked of every piece each morning, five thousand pieces take seconds; what comes of it is a handful. So that
is kept beside the readings, like the verdicts, with the mark up to which the readings were looked at.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import asdict, replace
from datetime import date, timedelta
from typing import Any

import polars as pl

from qc.errors import MachineError
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.plan import Characteristic, Stage
from qc.store import JudgedUpTo
from qc.watch import PieceFigure, limited, piece_figures, sources_of

STATE = "pieces outside"
MADE_BY = 2
"""Raised whenever the rule for what is outside changes in the program, so that all is worked out anew."""

BLOCK = 2_000  # pieces; chosen: half of the note sets whose fit is remembered (`qc.watch.series.notes`)

AT_ONCE = 200_000  # readings of a workshop up to which those of a whole stage are held at once; chosen

LATELY = timedelta(days=62)
"""A day so long past is told by what is kept; chosen: the month that ended last, at any day of this one.
Of an earlier day the readings made since are too many to ask for."""

PATIENCE_S = 0.5
"""Chosen: who only asks does not wait for a writer to be done, just to spare the next one some work."""


def figures_outside(workshop: Workshop, *, keep: bool = True) -> list[PieceFigure]:
    """Return the figures that are outside their limits, or inside without proof, in route order.

    Parameters
    ----------
    workshop : Workshop
        An open workshop. Of a past day they are worked out from what was measured by then.
    keep : bool
        Keep what was worked out for the next who asks; False for who may not write.
    """
    newest = workshop.store.newest_day()
    if newest is None:
        return []
    of = [MADE_BY, workshop.store.plan_versions()[-1].version]
    kept = workshop.store.state(STATE)
    if kept is not None and kept["of"] != of:
        kept = None
    if newest > workshop.today:
        told = kept is not None and newest - workshop.today <= LATELY
        return _then(workshop, newest, keep=keep) if told else _found(workshop, workshop.today)
    reached = workshop.store.reached()
    if kept is None:
        figures = _found(workshop, newest)
    else:
        mark = JudgedUpTo.of(kept["mark"])
        if mark == reached:
            return [_figure(row) for row in kept["figures"]]
        news = workshop.store.news((mark.readings, mark.events, mark.entry)).readings
        touched = news["serial"].drop_nulls().unique().to_list()
        figures = [one for row in kept["figures"] if (one := _figure(row)).serial not in set(touched)]
        figures += _found(workshop, newest, touched) if touched else ()
        figures = _in_order(workshop, figures)
    if keep:
        _keep(workshop, {"of": of, "mark": reached.to_dict(), "figures": [_plain(one) for one in figures]})
    return figures


def _then(workshop: Workshop, newest: date, *, keep: bool) -> list[PieceFigure]:
    """Return what was outside on a day not long past: pieces measured since apart, that is what is so now."""
    since = workshop.today + timedelta(days=1)
    later = set(workshop.store.readings(since=since)["serial"].drop_nulls())
    now = figures_outside(replace(workshop, today=newest), keep=keep)
    figures = [one for one in now if one.serial not in later]
    figures += _found(workshop, workshop.today, sorted(later)) if later else ()
    return _in_order(workshop, figures)


def outside_up_to_date(workshop: Workshop, *, afresh: bool = False) -> None:
    """Work out what came in since, or all of it `afresh`: whoever asks next has the answer at once."""
    if afresh and workshop.store.state(STATE) is not None:
        workshop.store.set_state(STATE, None)
    figures_outside(workshop)


def kept_otherwise(workshop: Workshop) -> bool:
    """Say whether what is kept of pieces outside their limits is not what the readings and the plan say."""
    kept, newest = workshop.store.state(STATE), workshop.store.newest_day()
    if kept is None or newest is None:
        return False
    try:
        if kept["of"] != [MADE_BY, workshop.store.plan_versions()[-1].version]:
            return False  # it is worked out anew before it is read
        if JudgedUpTo.of(kept["mark"]) != workshop.store.reached():
            return False
        told = [_figure(row) for row in kept["figures"]]
    except (KeyError, TypeError, ValueError):
        return True
    return told != _found(workshop, newest)


def figures_of(
    workshop: Workshop, stage: Stage, characteristic: Characteristic, serials: Collection[str]
) -> dict[str, PieceFigure]:
    """Return one figure of some pieces, each where it is worst, by serial; those without it are left out."""
    wanted = sorted(set(serials))
    readings = _read(workshop, stage, sources_of(characteristic), workshop.today, wanted)
    found = piece_figures(readings, workshop.plan, stage, characteristic, wanted=set(wanted))
    return {one.serial: one for one in found if one.serial in set(wanted)}


def _found(workshop: Workshop, until: date, serials: Sequence[str] | None = None) -> list[PieceFigure]:
    found: list[PieceFigure] = []
    few = workshop.store.reached().readings <= AT_ONCE
    for stage in workshop.plan.stages:
        alike: dict[tuple[str, ...], list[Characteristic]] = {}
        for characteristic in filter(limited, stage.characteristics):
            alike.setdefault(sources_of(characteristic), []).append(characteristic)
        every = list(dict.fromkeys(one for sources in alike for one in sources))
        # a question costs about as much as reading every figure of a stage, where those are no great many
        at_once = _read(workshop, stage, every, until, serials) if every and few else None
        for sources, own in alike.items():
            if at_once is None:
                read = _read(workshop, stage, sources, until, serials)
            else:
                read = at_once.filter(pl.col("characteristic").is_in(list(sources)))
            for readings in _blocks(read):
                for characteristic in own:
                    found += piece_figures(readings, workshop.plan, stage, characteristic)
    return _in_order(workshop, found)


def _blocks(readings: pl.DataFrame) -> Iterator[pl.DataFrame]:
    """Split readings by piece, so that the fit of a note set is still at hand for its next figure."""
    serials = readings["serial"].unique(maintain_order=True)
    for first in range(0, serials.len(), BLOCK):
        yield readings.filter(pl.col("serial").is_in(serials[first : first + BLOCK].implode()))


def _read(
    workshop: Workshop, stage: Stage, sources: Sequence[str], until: date, serials: Sequence[str] | None
) -> pl.DataFrame:
    return workshop.store.figures(stage.id, sources, until=until, serials=serials)


def _in_order(workshop: Workshop, figures: Sequence[PieceFigure]) -> list[PieceFigure]:
    route = [(stage.id, one.id) for stage in workshop.plan.stages for one in stage.characteristics]
    place = {what: number for number, what in enumerate(route)}
    return sorted(figures, key=lambda one: (place[one.stage, one.characteristic], one.serial))


def _keep(workshop: Workshop, state: JsonObject) -> None:
    """Keep what was worked out; where that cannot be written now, the next one works it out again."""
    try:
        with workshop.store.impatient(PATIENCE_S):
            workshop.store.set_state(STATE, state)
    except MachineError:
        return


def _plain(figure: PieceFigure) -> JsonObject:
    return {**asdict(figure), "day": figure.day.isoformat()}


def _figure(row: dict[str, Any]) -> PieceFigure:
    return PieceFigure(**{**row, "day": date.fromisoformat(row["day"])})
