"""Judge series of a workshop and keep the verdicts: at upload, after a mend, or all of them from nothing."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

import polars as pl

from qc.jobs.rates import present_budget, rates_of_points
from qc.jobs.touched import series_touched
from qc.jobs.windows import Windows
from qc.jobs.workshop import Workshop
from qc.plan import Stage
from qc.watch import (
    Budget,
    Decisions,
    Factors,
    Question,
    SeriesKey,
    SeriesVerdict,
    collect_factors,
    collect_figures,
    judge,
    standing,
)

MARK_STATE = "judged up to"


@dataclass(frozen=True, slots=True)
class Judged:
    """Verdicts in route order and the budget of the present month."""

    verdicts: list[SeriesVerdict]
    budget: Budget


def judge_new(workshop: Workshop) -> list[SeriesVerdict]:
    """Judge the series that what came in since the last time can have changed, and keep what was found.

    Parameters
    ----------
    workshop : Workshop
        Where the readings are.

    Returns
    -------
    list of SeriesVerdict
        In route order; nothing else is read or judged.
    """
    mark = workshop.store.state(MARK_STATE) or (0, 0)
    news = workshop.store.news((mark[0], mark[1]))
    verdicts = judge_series(workshop, series_touched(workshop, news))
    workshop.store.set_state(MARK_STATE, list(news.mark))
    return verdicts


def judge_series(
    workshop: Workshop, keys: Collection[str] | None = None, *, afresh: bool = False
) -> list[SeriesVerdict]:
    """Judge some series and keep what was found.

    Parameters
    ----------
    workshop : Workshop
        Where the readings are.
    keys : collection of str, optional
        Only these series, ``stage/characteristic/family``; all when left out.
    afresh : bool
        Count the pieces of each series from nothing.

    Returns
    -------
    list of SeriesVerdict
        In route order.
    """
    verdicts = judge_now(workshop, keys, afresh=afresh).verdicts
    workshop.store.save_verdicts([v.to_dict() for v in verdicts], as_of=workshop.today)
    return verdicts


def judge_now(workshop: Workshop, keys: Collection[str] | None = None, *, afresh: bool = False) -> Judged:
    """Judge some series as of the workshop's day, without keeping the verdicts.

    Parameters
    ----------
    workshop : Workshop
        Where the readings are; rows of later days than its `today` are passed over.
    keys : collection of str, optional
        Only these series; all when left out.
    afresh : bool
        Count the pieces of each series from nothing.

    Returns
    -------
    Judged
        The rate of each point is that of its month, fixed the first time it is judged.
    """
    plan = workshop.plan
    decided = standing(workshop.store.said_of_series(), workshop.today)
    windows = Windows(workshop, afresh=afresh)
    asked = {str(SeriesKey(s.id, c.id, f)): (s, c, f) for s, c, f in plan.charted()}
    wanted = {key: row for key, row in asked.items() if keys is None or key in keys}
    read = {key: windows.read(*row, decided.get(key, Decisions()).baseline) for key, row in wanted.items()}
    windows.keep()
    rates = rates_of_points(workshop, {key: [p.day for p in r.points.points] for key, r in read.items()})
    budget = present_budget(workshop)
    settled = settled_serials(workshop)
    verdicts = []
    for key, (stage, figure, family) in wanted.items():
        question = Question(
            plan,
            stage,
            figure,
            family,
            rate=rates[key][-1] if rates[key] else budget.rate,
            today=workshop.today,
            settled=settled.get(key, ()),
            rates=rates[key],
            decisions=decided.get(key, Decisions()),
            before=read[key].before,
        )
        serials = [p.serial for p in read[key].points.points]
        verdicts.append(judge(question, read[key].points, _circumstances(workshop, stage, serials)))
    return Judged(verdicts, budget)


def load_verdicts(workshop: Workshop) -> list[SeriesVerdict]:
    """Return the kept verdicts of the series that the plan asks for, in route order."""
    kept = {data["key"]: data for data in workshop.store.verdicts()}
    order = [str(SeriesKey(s.id, c.id, f)) for s, c, f in workshop.plan.charted()]
    return [SeriesVerdict.from_dict(kept[key]) for key in order if key in kept]


def settled_serials(workshop: Workshop) -> dict[str, list[str]]:
    """Return, by series, the serials that raised closed signals whose new level is the settled state."""
    found: dict[str, list[str]] = {}
    for signal in workshop.store.signals():
        if signal["state"] in {"closed", "closed-false"}:
            found.setdefault(signal["series"], []).append(signal["raised_serial"])
    return found


def _circumstances(workshop: Workshop, stage: Stage, serials: Sequence[str]) -> Callable[[], Factors]:
    """Return what reads, once something was found, all that is known around these pieces and their parts."""

    def read() -> Factors:
        store, until = workshop.store, workshop.today
        parts = store.events("part", serials=serials, until=until)
        both = sorted({*serials, *parts["subject"].drop_nulls().to_list()})
        around = store.around(both, until=until)
        checks = store.events("gauge-check", since=around["day"].min(), until=until)  # type: ignore[arg-type]
        factors = collect_factors(around, pl.concat([parts, checks]), workshop.plan)
        index = [s.id for s in workshop.plan.stages].index(stage.id)
        figures = collect_figures(store.means(both, until=until), parts, workshop.plan, index)
        return Factors(factors.levels, factors.route, figures)

    return read
