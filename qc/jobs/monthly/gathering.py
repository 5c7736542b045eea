"""Everything that the report of a month says, gathered from the store as of the month's last day."""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import polars as pl

from qc.clock import day_of
from qc.errors import QcError, UsageError
from qc.jobs.judging import SignalOfDay, judge_now, present_budget, signals_of_day
from qc.jobs.losses import screened_of, yields_of
from qc.jobs.monthly.beside import as_closed, rolled_beside, yields_beside
from qc.jobs.monthly.counted import checked_gauges, data_lines, late_lines, plan_lines, signals_words
from qc.jobs.pieces import HoldRow, hold_list, why_words
from qc.jobs.signals import had_words, life_of
from qc.jobs.workshop import Workshop
from qc.report.month import (
    LEFT_HELD,
    PICTURES,
    MonthContent,
    PieceToHold,
    Reaction,
    Rework,
    change_lines,
    decisions,
    die_lines,
    gauge_lines,
    return_lines,
    rolled_line,
    shipped_models,
    yield_lines,
)
from qc.sayings import CLOSED_STATES, OPEN_STATES, OUTCOME_WORDS, last_closing, outcome_of, state_after
from qc.states import SIGNAL_WORDS
from qc.watch import (
    Budget,
    SeriesKey,
    SeriesVerdict,
    StageYield,
    caution_words,
    people_apart,
    rework_causes,
)
from qc.words import dated_words


def month_content(
    workshop: Workshop,
    which: str,
    *,
    keep: bool = True,
    closed: str = "",
    verdicts: Sequence[SeriesVerdict] | None = None,
    progress: Callable[[int, int, str], None] | None = None,
) -> MonthContent:
    """Gather everything that the report of a month says.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    which : str
        ``YYYY-MM``; a month that has begun is reported as it stands today.
    keep : bool
        Keep what judging works out on the way; False where the store cannot be written.
    closed : str
        By whom and when the month is closed by this report; empty where it is not.
    verdicts : sequence of SeriesVerdict, optional
        Those of the workshop's day, where they are at hand; a month that is over is judged as of its end.
    progress : callable, optional
        Told how many series are judged, of how many, and in words.

    Returns
    -------
    MonthContent
        The same for the same data, whenever it is asked for.

    Raises
    ------
    QcError
        Not a month, or a month to come.
    """
    first, last = month_days(which)
    if first > workshop.today:
        raise QcError(
            f"{which} has not begun: today is {workshop.today.isoformat()}. Ask for an earlier month."
        )
    as_of = min(last, workshop.today)
    # judged as of the month's last day: what was made since takes no part
    then = replace(workshop, today=as_of)
    if verdicts is None or as_of < workshop.today:
        judged = judge_now(then, keep=keep, progress=_once_done(progress))
        verdicts, budget = judged.verdicts, judged.budget
    else:
        budget = present_budget(workshop)
        route = {str(SeriesKey(s.id, c.id, f)): n for n, (s, c, f) in enumerate(workshop.plan.charted())}
        verdicts = sorted(verdicts, key=lambda v: route.get(str(v.key), len(route)))
    found = _Gathered(workshop, then, first, last, tuple(verdicts), budget)
    return found.content(which, closed)


@dataclass(frozen=True, slots=True)
class _Gathered:
    """A month judged, ready to be put into the blocks of its report."""

    workshop: Workshop
    then: Workshop  # the same on the month's last day
    first: date
    last: date
    verdicts: tuple[SeriesVerdict, ...]
    budget: Budget

    def content(self, which: str, closed: str) -> MonthContent:
        """Return the whole report."""
        workshop, first, as_of = self.workshop, self.first, self.then.today
        store, shop = workshop.store, workshop.plan.workshop
        happened = store.events(until=as_of)
        events = happened.filter(pl.col("day").is_between(first, as_of))
        readings = store.readings(since=first, until=as_of)
        now, before, year_ago = (yields_of(self.then, *d) for d in ((first, as_of), *_beside(first)))
        closed_then = [as_closed(workshop, begin) for begin, _ in _beside(first)]
        left = [
            counted if counted is None or then is None else then.shipped
            for days, then in zip(_beside(first), closed_then, strict=True)
            for counted in [_shipped(happened, days)]
        ]
        dies = die_lines(self.verdicts, as_of)
        checked = checked_gauges(self.then, first)
        gauges = gauge_lines(workshop.plan, readings, happened, first, as_of, checked)
        signals = signals_of_day(self.then, self.verdicts)
        states = {(s.series, s.found.root): s.state for s in signals}
        content = MonthContent(
            workshop=workshop.plan.workshop.name,
            month=which,
            first=first,
            last=self.last,
            as_of=as_of,
            plan_version=store.plan_versions()[-1].version,
            shipped=_shipped_models(workshop, events),
            returned=return_lines(events),
            yields=yields_beside(yield_lines(now, before, year_ago), *closed_then),
            rolled=rolled_beside(rolled_line(now, before, year_ago), *closed_then),
            changes=change_lines(workshop.plan, self.verdicts, first, as_of)[:PICTURES],
            reactions=_reactions(self.then, signals, self.verdicts, _answered(workshop, as_of)),
            rework=tuple(Rework(r.name, r.hours, r.pieces, r.share) for r in rework_causes(events)),
            gauges=gauges,
            gauge_checks=checked,
            dies=dies,
            decisions=(),
            gaps=data_lines(workshop, readings, first, as_of),
            verdicts=self.verdicts,
            budget=self.budget.sentence(),
            last_hash=store.head(),
            hold=_hold(self.then, self.verdicts, first),
            signals_told=signals_words(self.verdicts, states, self.budget, first, as_of),
            plan_changes=plan_lines(workshop, first, as_of),
            since_closed=late_lines(workshop, happened, first),
            closed=closed,
            shipped_before=left[0],
            shipped_year_ago=left[1],
            not_passed=_not_passed(now),
            hour=(shop.hourly_rate, shop.currency) if shop.hourly_rate is not None else None,
            people=tuple((p.title, p.told) for p in people_apart(self.verdicts)),
            upstream=tuple((r.result.title, r.sentence) for r in screened_of(self.then, self.verdicts)),
        )
        held = content.held_pieces, content.left_held
        asked = decisions(self.verdicts, dies, gauges, *held, reactions=content.reactions, as_of=as_of)
        return replace(content, decisions=asked)


def month_days(which: str) -> tuple[date, date]:
    """Return the first and last day of a month.

    Raises
    ------
    UsageError
        It is not written as one.

    Examples
    --------
    >>> month_days("2026-02")[1].isoformat()
    '2026-02-28'
    """
    year, dash, number = which.partition("-")
    written = dash and len(year) == 4 and len(number) == 2 and (year + number).isdecimal()
    if not (written and 1 <= int(number) <= 12 and int(year)):
        raise UsageError(f"'{which}' is not a month. Write it as YYYY-MM, for example 2026-10.")
    days = monthrange(int(year), int(number))[1]
    return date(int(year), int(number), 1), date(int(year), int(number), days)


def _beside(first: date) -> tuple[tuple[date, date], tuple[date, date]]:
    """Return the days of the month before and of the same month a year ago."""
    before = month_days(f"{first - timedelta(days=1):%Y-%m}")
    # no month of the year 0: the first year that can be written has none before it
    return before, month_days(f"{max(first.year - 1, 1):04d}-{first:%m}")


def _shipped(happened: pl.DataFrame, days: tuple[date, date]) -> int | None:
    """Return how many left between two days; None before anything was recorded."""
    if happened.is_empty() or happened["day"].min() > days[1]:  # type: ignore[operator]
        return None
    left = happened.filter(pl.col("kind") == "shipped", pl.col("day").is_between(*days))
    return left["serial"].n_unique()


def _shipped_models(workshop: Workshop, events: pl.DataFrame) -> tuple[tuple[str, int], ...]:
    """Return how many of each model left; one without a model on its record has that of its cards."""
    left = events.filter(pl.col("kind") == "shipped")["serial"].drop_nulls().unique().to_list()
    return shipped_models(workshop.plan, workshop.store.pieces(sorted(left)), events)


def _not_passed(yields: Sequence[StageYield]) -> tuple[tuple[str, str, date, str], ...]:
    return tuple((one.name, piece.serial, piece.day, piece.why) for one in yields for piece in one.failed)


def _reactions(
    then: Workshop,
    signals: Sequence[SignalOfDay],
    verdicts: Sequence[SeriesVerdict],
    answered: Mapping[str, str],
) -> tuple[Reaction, ...]:
    """Return the signals that last and that nobody had closed, oldest first: finding, owner, due, steps."""
    by_series = {str(verdict.key): verdict for verdict in verdicts}
    found = []
    for row in signals:
        known = row.shown or (row.waits and row.known is not None and row.known <= then.today)
        if not known or row.found.ended is not None or row.state not in OPEN_STATES:
            continue
        life = life_of(then, row, by_series.get(row.series))
        found.append(
            Reaction(
                name=life.title,
                opened=then.today - timedelta(days=life.age_days),
                age_days=life.age_days,
                state=SIGNAL_WORDS[life.state],
                pieces=1 if row.found.kind == "single" else row.found.pieces,
                called=life.name,
                finding=life.sentence,
                owner=life.owner or had_words(life.had),
                due=life.due,
                steps=life.steps,
                caution=caution_words(life.cautions),
                answered=answered.get(life.id, ""),
            )
        )
    return tuple(sorted(found, key=lambda r: (-r.age_days, r.name, r.called)))


def _answered(workshop: Workshop, as_of: date) -> dict[str, str]:
    """Return what was answered after a month's end to signals that are closed today, by id, in words."""
    zone = workshop.plan.workshop.time_zone
    found = {}
    for row in workshop.store.signals():
        closing = last_closing(row.said)
        closed = closing is not None and state_after(row.said) in CLOSED_STATES
        if not closed or closing is None or day_of(closing.when, zone) <= as_of:
            continue
        words = OUTCOME_WORDS[outcome_of(closing)]
        found[row.id] = f"Answered since, on {dated_words(day_of(closing.when, zone))}: {words}."
    return found


def _hold(then: Workshop, verdicts: Sequence[SeriesVerdict], first: date) -> tuple[PieceToHold, ...]:
    """Return the pieces to hold on a month's last day, and those that were outside their limits in it.

    In the house, left in the month before anybody released them, or measured outside in it and released: a
    figure outside its limits is told whatever became of its piece.
    """
    rows = hold_list(then, judge=False, verdicts=verdicts, keep=False).rows
    found = []
    for row in rows:
        left = row.whereabouts.shipped
        outside = row.why == "limit" and row.figure is not None and row.figure.day >= first
        out = left is None or left >= first
        if outside or (out and (row.waits or row.left_held)):
            found.append(_piece(row))
    return tuple(found)


def _piece(row: HoldRow) -> PieceToHold:
    """Say how a piece to hold stands: in the house, released, or gone, and then how it went."""
    left, released = row.whereabouts.shipped, row.released
    standing = "to hold"
    if released is not None:
        after = f"{LEFT_HELD}; " if row.left_held else ""
        standing = f"{after}released by {released.who} on {dated_words(released.day)}"
    elif left is not None:
        standing = f"{LEFT_HELD} on {dated_words(left)}" if row.left_held else "left, not released"
    return PieceToHold(
        serial=row.serial,
        name=row.name,
        because=why_words(row),
        where=row.whereabouts.words,
        shipped=left,
        next_step=row.next_step,
        why=row.why,
        day=row.figure.day if row.figure else None,
        standing=standing,
    )


def _once_done(progress: Callable[[int, int, str], None] | None) -> Callable[[int, int, str], None] | None:
    """Return what is told of series that are judged, and not of the steps before the first."""
    if progress is None:
        return None

    def told(done: int, total: int, what: str) -> None:
        if done:
            progress(done, total, what)

    return told
