"""The first screen: stages summed up, cards that came in, what runs out, what was shipped."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import polars as pl

from qc import clock
from qc.jobs.board.gauge_views import GaugeView
from qc.jobs.board.gauges import gauges_to_look_at
from qc.jobs.board.views import (
    Behaviour,
    BudgetView,
    Due,
    SeriesVerdict,
    SignalView,
    StageView,
    TodayView,
    limits_words,
)
from qc.jobs.in_hand import cards_of_day, who_holds
from qc.jobs.judging import not_judged_since, present_budget, signals_of_day
from qc.jobs.pieces import HoldList
from qc.jobs.then import changes_since
from qc.jobs.workshop import Workshop
from qc.plan import Plan
from qc.sayings import OPEN_STATES, What
from qc.states import DUE, MOVED, NEVER_CHECKED, NOTHING_MEASURED, OFF, OVERDUE, WORST_LIMITS
from qc.watch import forecast_words, standing_change
from qc.words import dated_words

SOON = timedelta(days=7)  # chosen: what a week's work can still prepare
WORST_FIRST = {"no": 0, "unproven": 1, "proven": 2, "": 3}


def stage_views(plan: Plan, verdicts: Sequence[SeriesVerdict]) -> tuple[StageView, ...]:
    """Return the charted stages in route order, each summed up by its worst series.

    A stage of which nothing is measured yet is there too: it is learning.
    """
    views: list[StageView] = []
    charted = plan.charted()
    for stage in plan.stages:
        own = [v for v in verdicts if v.key.stage == stage.id]
        if not own:
            asked = sum(row[0].id == stage.id for row in charted)
            views += (
                [StageView(stage.id, stage.name, "learning", "", asked, 0, 0, NOTHING_MEASURED)]
                if asked
                else []
            )
            continue
        moved = sum(v.behaviour == "drifting" for v in own)
        judged = [v for v in own if v.behaviour != "learning"]
        behaviour: Behaviour = "drifting" if moved else "steady" if judged else "learning"
        capable = min((v.capable for v in judged), key=WORST_FIRST.__getitem__, default="")
        most = max(v.pieces for v in own)
        limits = min((limits_words(v) for v in judged or own), key=WORST_LIMITS.index)
        views.append(StageView(stage.id, stage.name, behaviour, capable, len(own), moved, most, limits))
    return tuple(views)


def budget_view(workshop: Workshop) -> BudgetView:
    """Return the false-alarm budget as it works out in the present month."""
    found = present_budget(workshop)
    return BudgetView(found.days_between, found.series, found.rate)


def today_view(
    workshop: Workshop,
    verdicts: Sequence[SeriesVerdict],
    budget: BudgetView,
    signals: Sequence[SignalView] = (),
    hold: HoldList | None = None,
) -> TodayView:
    """Return what the first screen shows on the workshop's day.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    verdicts : sequence of SeriesVerdict
        All kept verdicts, worst first.
    budget : BudgetView
        How often the board cries wolf.
    signals : sequence of SignalView
        All of the workshop; those that are open are on the first screen, each once.
    hold : HoldList, optional
        The pieces to hold.
    """
    plan, store, today = workshop.plan, workshop.store, workshop.today
    cards = cards_of_day(workshop)
    waiting, older = _waiting(signals, verdicts, today)
    shipped = store.events("shipped", since=today.replace(day=1)).filter(pl.col("day") <= today)
    return TodayView(
        stages=stage_views(plan, verdicts),
        findings=tuple(v for v in verdicts if v.behaviour == "drifting"),
        cards_day=cards.day,
        cards_in=cards.came,
        cards_expected=cards.came + len(cards.missing),
        cards_missing=cards.missing,
        held_rows=len(store.held()),
        dies_due=_dies_due(verdicts, today),
        gauges_due=_gauges_due(workshop),
        shipped=shipped["serial"].n_unique() if shipped.height else 0,
        series=len(verdicts),
        budget=budget,
        last_false=_last_false(workshop),
        settled=tuple(v for v in verdicts if v.settled_since is not None),
        not_kept=tuple(v for v in verdicts if v.not_kept is not None),
        waiting=waiting,
        older=older,
        changes=changes_since(workshop, verdicts),
        holders=who_holds(workshop, signals_of_day(workshop, verdicts), hold),
    )


def _waiting(
    signals: Sequence[SignalView], verdicts: Sequence[SeriesVerdict], today: date
) -> tuple[tuple[SignalView, ...], tuple[SignalView, ...]]:
    """Return the open signals that no finding tells of; single pieces that waited for longer apart."""
    told = {(v.key, s.raised) for v in verdicts for s in (v.telling, v.unanswered) if s is not None}
    rest = [s for s in signals if s.state in OPEN_STATES and (s.verdict.key, s.signal.raised) not in told]
    old = [s for s in rest if s.signal.kind == "single" and s.signal.raised_day < today - SOON]
    return tuple(s for s in rest if s not in old), tuple(old)


def _dies_due(verdicts: Sequence[SeriesVerdict], today: date) -> tuple[Due, ...]:
    due: dict[str, Due] = {}
    for verdict in verdicts:
        forecast = verdict.forecast
        if forecast is None or forecast.change_by_day is None or forecast.change_by_day > today + SOON:
            continue
        known = due.get(forecast.tool)
        if known is None or (known.day is not None and forecast.change_by_day < known.day):
            by = forecast.change_by_day
            # a day that has passed with draws left is no overdue change: nothing was drawn on it
            state = DUE if forecast.draws_left else OVERDUE
            said = forecast_words(forecast, today)
            due[forecast.tool] = Due(forecast.tool, "die", by, said, verdict.key, state=state)
    return tuple(sorted(due.values(), key=lambda d: (d.day or today, d.id)))


def _gauges_due(workshop: Workshop) -> tuple[Due, ...]:
    """Return the gauges that are not in order, the worst first, each with the day it is or was due."""
    return tuple(
        Due(
            gauge.id,
            gauge.name,
            _due_day(view),
            f"{gauge.id}: {view.moved if view.state == MOVED else view.sentence}",
            gauge=True,
            state=view.state,
        )
        for gauge, view in gauges_to_look_at(workshop)
    )


def _due_day(view: GaugeView) -> date | None:
    if view.state == OFF:
        return view.checks[-1].day
    if view.state == MOVED and (change := standing_change(view.changes)) is not None:
        return change.since
    return view.next_check if view.missed or view.state == NEVER_CHECKED else view.due


def _last_false(workshop: Workshop) -> date | None:
    moments = [
        clock.day_of(said.when, workshop.plan.workshop.time_zone)
        for signal in workshop.store.signals(states=["closed-false"])
        for said in signal.said
        if said.what is What.CLOSED_FALSE
    ]
    return max((m for m in moments if m <= workshop.today), default=None)


def not_judged_words(workshop: Workshop) -> str:
    """Say since when something waits to be judged; empty where all is judged."""
    since = not_judged_since(workshop)
    if since is None:
        return ""
    here = since.astimezone(ZoneInfo(workshop.plan.workshop.time_zone))
    return (
        f"Not judged since {dated_words(here)}, {here:%H:%M}: what came in or was decided since is stored "
        "and not yet in what you see here. The board judges it now; load the page again in a moment."
    )
