"""When a piece can leave: from where it stands, by how long its like took from there on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import polars as pl

from qc.jobs.whole_piece.sharing import days_left
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.stats import proportion
from qc.watch import is_off, next_working_day
from qc.words import count_words, dated_words

LIKE = 40
"""Newest pieces that left whose days are looked at; chosen: a few months of a small workshop."""

FEWEST = 5
"""With fewer of its own model that left, every model is looked at; with fewer of those, nothing is said."""

LOW, HIGH = 0.1, 0.9
"""Shares between which the days are told: eight in ten of its like."""


@dataclass(frozen=True, slots=True)
class Ahead:
    """Days from its last stage to one that is ahead: median, and those that eight in ten lie between."""

    stage: str
    name: str
    median: float
    low: float
    high: float
    pieces: int

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {name: getattr(self, name) for name in self.__slots__}


@dataclass(frozen=True, slots=True)
class Leaving:
    """When a piece is expected to leave.

    Attributes
    ----------
    stage, since : str, date
        Name of the stage where it stands, and the day of its last card there.
    model : str
        The model its like are of; empty where they are of every model.
    ahead : tuple of Ahead
        The stages ahead, the last of them leaving.
    likely, late : date
        Half of its like would have left by the first, nine in ten by the second.
    due : date or None
        The day that was promised, where one is asked about.
    in_time : float or None
        Share of its like that would have left by then.
    said : str
        All of it in words.
    """

    stage: str
    since: date
    model: str
    ahead: tuple[Ahead, ...]
    likely: date
    late: date
    due: date | None
    in_time: float | None
    said: str

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {
            "stage": self.stage,
            "since": self.since.isoformat(),
            "model": self.model,
            "ahead": [one.to_dict() for one in self.ahead],
            "likely": self.likely.isoformat(),
            "late": self.late.isoformat(),
            "due": self.due.isoformat() if self.due else None,
            "in_time": self.in_time,
            "said": self.said,
        }


def leaving_of(workshop: Workshop, serial: str, model: str, due: date | None) -> Leaving | None:
    """Return when a piece in the house can leave, None where its like do not tell.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    serial, model : str
        The piece.
    due : date or None
        The day it was promised for.
    """
    seen = workshop.store.last_seen([serial], until=workshop.today)
    if seen.is_empty():
        return None
    _, stage, since = seen.row(0)
    route = [one.id for one in workshop.plan.stages]
    if stage not in route:
        return None
    left = days_left(workshop)
    left.pop(serial, None)
    cards, of_model = _cards_of_like(workshop, model, left)
    ahead = route[route.index(stage) + 1 :]
    days: dict[str, list[int]] = {one: [] for one in (*ahead, "")}
    for own in cards.values():
        if stage not in own:
            continue
        start = own[stage]
        for one in ahead:
            if one in own and own[one] >= start:
                days[one].append((own[one] - start).days)
        days[""].append((own[""] - start).days)
    if len(days[""]) < FEWEST:
        return None
    names = {one.id: one.name for one in workshop.plan.stages}
    steps = tuple(_ahead(one, names.get(one, "leaving"), days[one]) for one in (*ahead, "") if days[one])
    return _leaving(workshop, names[stage], since, of_model, steps, days[""], due)


def _cards_of_like(
    workshop: Workshop, model: str, left: Mapping[str, date]
) -> tuple[dict[str, dict[str, date]], str]:
    """Return the last day of each newest piece that left at each stage, and under "" the day it left."""
    newest = sorted(left, key=lambda one: (left[one], one), reverse=True)
    models = dict(workshop.store.pieces(newest).select("serial", "model").iter_rows()) if newest else {}
    own = [one for one in newest if model and models.get(one) == model]
    of_model = model if len(own) >= FEWEST else ""
    like = (own if of_model else newest)[:LIKE]
    if not like:
        return {}, of_model
    rows = workshop.store.around(like, until=workshop.today).filter(pl.col("stage").is_not_null())
    last = rows.group_by("serial", "stage").agg(pl.col("day").max())
    found: dict[str, dict[str, date]] = {one: {"": left[one]} for one in like}
    for serial, stage, day in last.iter_rows():
        # what was measured after it left belongs to a later life
        if day <= left[serial]:
            found[serial][stage] = day
    return found, of_model


def _ahead(stage: str, name: str, days: Sequence[int]) -> Ahead:
    low, median, high = (float(one) for one in np.quantile(days, [LOW, 0.5, HIGH]))
    return Ahead(stage, name, median, low, high, len(days))


def _leaving(
    workshop: Workshop,
    stage: str,
    since: date,
    model: str,
    steps: tuple[Ahead, ...],
    days: Sequence[int],
    due: date | None,
) -> Leaving:
    today = workshop.today
    last, waited = steps[-1], (today - since).days
    # it can be no quicker than it is: what it is held against had not left either after so many days
    open_still = [one for one in days if one > waited] or [max(days)]
    coming = _ahead("", "", open_still if len(open_still) >= FEWEST else days)
    likely, late = (
        _worked(workshop, max(today, since + timedelta(days=round(one))))
        for one in (coming.median, coming.high)
    )
    low, high = f"{last.low:.0f}", f"{last.high:.0f}"
    spread = f"eight in ten of them {'just as long' if low == high else f'{low} to {high}'}"
    expected = f"about {dated_words(likely)}"
    if late > likely:
        expected += f", by {dated_words(late)} in nine of ten cases"
    said = (
        f"It stands at {stage} since {dated_words(since)}. From there its like took "
        f"{count_words(round(last.median), 'day')} to leave, {spread} "
        f"({count_words(last.pieces, 'piece')}): {expected}."
    )
    if waited > last.high:
        said += f" It has been there for {waited} days, longer than nine in ten: ask what it waits for."
    if due is None:
        return Leaving(stage, since, model, steps, likely, late, None, None, said)
    quick = sum(one <= (due - since).days for one in open_still)
    in_time = quick / len(open_still)
    told = _quick_words(quick, len(open_still))
    if due < today or not in_time:
        verdict = f"{dated_words(due)} cannot hold: none of its like was so quick from here."
    elif in_time < 0.5:
        verdict = f"{dated_words(due)} will hardly hold: {told}"
    elif in_time < HIGH:
        verdict = f"{dated_words(due)} may hold: {told}"
    else:
        verdict = f"{dated_words(due)} should hold: {told}"
    if is_off(workshop.plan, due):
        verdict += " That is a day off: ask for the working day before it."
    return Leaving(stage, since, model, steps, likely, late, due, in_time, f"{verdict} {said}")


def _quick_words(quick: int, like: int) -> str:
    """Say how many were quick enough, and how large a share that may be in the long run."""
    if not quick:
        return ""
    low, high = proportion(quick, like).interval
    counted = f"{quick} of the {like} of its like that stood there as long were so quick from here"
    return f"{counted}; {100 * low:.0f} to {100 * high:.0f} % of such pieces may be."


def _worked(workshop: Workshop, day: date) -> date:
    """Return the day itself, or the next one on which the workshop works: nothing leaves on a day off."""
    return next_working_day(workshop.plan, day) if is_off(workshop.plan, day) else day
