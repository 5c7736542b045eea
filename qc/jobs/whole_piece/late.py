"""What of a piece came later than a day: cards handed in or answered after it, gauges found off after it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from typing import Any

import polars as pl

from qc import clock
from qc.jobs.pieces import doubts_of, figures_of
from qc.jobs.then import days_words, unanswered_words, waited_words
from qc.jobs.whole_piece.left_without import held_since
from qc.jobs.workshop import Workshop
from qc.plan import PLACE
from qc.watch import outside_words
from qc.words import count_words, dated_words, listed


def came_later(workshop: Workshop, serial: str, day: date, history: pl.DataFrame | None = None) -> list[str]:
    """Say what of the days up to one day was not known of a piece at its end, a sentence each.

    Parameters
    ----------
    workshop : Workshop
        An open workshop, with all that is known now.
    serial : str
        The piece.
    day : date
        Above all the day it left.
    history : polars.DataFrame, optional
        All its readings (`qc.store.Store.history`), for who has them at hand.

    Returns
    -------
    list of str
        Readings handed in, put right or answered after the day, with what is outside among them; held rows;
        gauges whose check after the day puts what they read of the piece in doubt. Empty where nothing came
        later.
    """
    if history is None:
        history = workshop.store.history(serials=[serial])
    shown = dated_words(day)
    said = []
    end = clock.end_of(day, workshop.plan.workshop.time_zone)
    late = history.filter(pl.col("entered_at") > end, pl.col("day") <= day)
    for how, ending, rows in _by_how_it_came(workshop, serial, day, late, history):
        days = [day_of_entry(workshop, one) for one in rows["entered_at"]]
        told = "; ".join(_figures_late(replace(workshop, today=max(day, *days)), serial, rows))
        readings = count_words(rows.height, "reading")
        said.append(f"{readings} of {serial}, measured by {shown}, {how}: {told}. {ending}")
    return [*said, *held_since(workshop, serial, day), *_gauges_since(workshop, serial, day)]


def _by_how_it_came(
    workshop: Workshop, serial: str, day: date, late: pl.DataFrame, history: pl.DataFrame
) -> Iterator[tuple[str, str, pl.DataFrame]]:
    """Tell readings accepted after a day apart: handed in, put right, or waiting as held rows until then.

    Each with how it came, and what of it was here on the day.
    """
    if late.is_empty():
        return
    shown = dated_words(day)
    not_known = f"Not known here on {shown}."
    waited = workshop.store.waited(late["id"].to_list())
    put_right = pl.col("id").is_in(history["by"].drop_nulls().to_list())
    own = ~pl.col("id").is_in(list(waited))
    for verb, rows in (
        ("handed in", late.filter(own & ~put_right)),
        ("put right", late.filter(own & put_right)),
    ):
        if not rows.is_empty():
            days = [day_of_entry(workshop, one) for one in rows["entered_at"]]
            yield f"{'was' if rows.height == 1 else 'were'} {verb} {days_words(days)}", not_known, rows
    came = {number: day_of_entry(workshop, one.came) for number, one in waited.items()}
    for lay in (True, False):
        own_ids = [number for number, its in came.items() if (its <= day) is lay]
        rows = late.filter(pl.col("id").is_in(own_ids))
        if rows.is_empty():
            continue
        answered = [day_of_entry(workshop, one) for one in rows["entered_at"]]
        how = waited_words(rows.height, [came[number] for number in own_ids], answered)
        typed = sorted({waited[number].serial for number in own_ids} - {serial, ""})
        as_typed = f", typed as {listed(typed)}" if typed else ""
        lay_here = f"On {shown} {unanswered_words(rows.height)}{as_typed}."
        yield how, lay_here if lay else not_known, rows


def _figures_late(workshop: Workshop, serial: str, late: pl.DataFrame) -> Iterator[str]:
    """Name the figures that came in late; of one that breaks a limit by all that is known now, where."""
    names = set(late.select("stage", "characteristic").iter_rows())
    for stage in workshop.plan.stages:
        for characteristic in stage.characteristics:
            if (stage.id, characteristic.id) not in names:
                continue
            figure = figures_of(workshop, stage, characteristic, [serial]).get(serial)
            outside = figure is not None and figure.inside is False
            said = f", {outside_words(figure)}" if figure is not None and outside else ""
            yield f"{stage.name}: {characteristic.name}{said}"


def _gauges_since(workshop: Workshop, serial: str, day: date) -> Iterator[str]:
    """Say which gauges, found off after a day, put a reading of a piece in doubt that stood on that day."""
    rows = workshop.store.readings(serials=[serial]).filter(pl.col("day") <= day)
    newest = pl.col("day") == pl.col("day").max().over("stage", "characteristic", *PLACE)
    rows = rows.filter(newest, pl.col("gauge").is_not_null())
    titles = {
        (stage.id, figure.id): f"{stage.name}: {figure.name}"
        for stage in workshop.plan.stages
        for figure in stage.characteristics
    }
    for name in rows["gauge"].unique(maintain_order=True):
        gauge = workshop.plan.gauge(name)
        for doubt in doubts_of(workshop, gauge) if gauge else ():
            read = rows.filter(pl.col("gauge") == name, pl.col("day").is_between(doubt.first, doubt.last))
            if doubt.off is None or doubt.off <= day or read.is_empty():
                continue
            pairs = read.select("stage", "characteristic").unique(maintain_order=True).iter_rows()
            what = listed([titles.get(pair, pair[1]) for pair in pairs])
            yield (
                f"{doubt.because}: what it read of {serial} ({what}) is in doubt. "
                f"Not known here on {dated_words(day)}."
            )


def day_of_entry(workshop: Workshop, moment: Any) -> date:
    """Return the day of a moment of handing in, in the plan's zone."""
    return clock.day_of(moment, workshop.plan.workshop.time_zone)
