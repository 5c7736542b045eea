"""Everything that the report of a month says, gathered from the store as of the month's last day."""

from __future__ import annotations

MOST_CHANGES = 3
"""Chosen: with more of them the first page would run over; each is told in the panel of its series too."""


def month_content(workshop: Workshop, which: str, *, keep: bool = True) -> MonthContent:
    """Gather everything that the report of a month says.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    which : str
        ``YYYY-MM``; a month that has begun is reported as it stands today.
    keep : bool
        Keep what judging works out on the way; False where the store cannot be written.

    Returns
    -------
    MonthContent
        The same for the same data, whenever it is asked for.
    """
    first, last = _month_days(which)
    if first > workshop.today:
        raise QcError(
            f"{which} has not begun: today is {workshop.today.isoformat()}. Ask for an earlier month."
        )
    as_of = min(last, workshop.today)
    # judged as of the month's last day: what was made since takes no part
    then = replace(workshop, today=as_of)
    judged = judge_now(then, keep=keep)
    every = workshop.store.readings(until=as_of)
    happened = workshop.store.events(until=as_of)
    events = happened.filter(pl.col("day").is_between(first, as_of))
    readings = every.filter(pl.col("day").is_between(first, as_of))
    yields = stage_yields(workshop.plan, readings, events)
    dies = die_lines(judged.verdicts)
    gauges = gauge_lines(workshop.plan, every, happened, first, as_of)
    held = [row for row in workshop.store.held(open_only=False) if first <= row.day <= as_of]
    return MonthContent(
        workshop=workshop.plan.workshop.name,
        month=which,
        first=first,
        last=last,
        as_of=as_of,
        plan_version=workshop.store.plan_versions()[-1].version,
        shipped=shipped_models(workshop.plan, every, events),
        returned=return_lines(events),
        yields=yields,
        rolled=rolled_yield(yields),
        changes=change_lines(judged.verdicts)[:MOST_CHANGES],
        reactions=reaction_lines(judged.verdicts, _states(workshop, judged.verdicts), as_of),
        rework=rework_lines(events),
        gauges=gauges,
        dies=dies,
        decisions=decisions(judged.verdicts, dies, gauges),
        gaps=data_gaps(readings, _waiting(held), sum(row.state != "open" for row in held)),
        verdicts=tuple(judged.verdicts),
        budget=judged.budget.sentence(),
        last_hash=workshop.store.head(),
        hold=_hold(then, judged.verdicts, first),
    )


def _hold(then: Workshop, verdicts: Sequence[SeriesVerdict], first: date) -> tuple[PieceToHold, ...]:
    """Return the pieces to hold on a month's last day: those in the house, and those that left in it."""
    rows = hold_list(then, judge=False, verdicts=verdicts, keep=False).rows
    return tuple(
        PieceToHold(
            row.serial,
            row.name,
            why_words(row),
            row.whereabouts.words,
            row.whereabouts.shipped,
            row.next_step,
        )
        for row in rows
        if row.waits and (row.in_house or (row.whereabouts.shipped or date.min) >= first)
    )


def _states(workshop: Workshop, verdicts: Sequence[SeriesVerdict]) -> dict[tuple[str, str], SignalState]:
    """Return how signals stand, by series and first piece: that is what a month tells of them."""
    return {(s.series, s.found.start_serial): s.state for s in signals_of_day(workshop, verdicts)}


def _waiting(held: Iterable[HeldRecord]) -> list[list[str]]:
    """Return why each row that still waits is held."""
    return [[reason.id for reason in row.reasons] for row in held if row.state == "open"]


def _month_days(which: str) -> tuple[date, date]:
    year, dash, number = which.partition("-")
    written = dash and len(year) == 4 and len(number) == 2 and (year + number).isdecimal()
    if not (written and 1 <= int(number) <= 12 and int(year)):
        raise QcError(f"'{which}' is not a month. Write it as YYYY-MM, for example 2026-10.")
    days = monthrange(int(year), int(number))[1]
    return date(int(year), int(number), 1), date(int(year), int(number), days)


