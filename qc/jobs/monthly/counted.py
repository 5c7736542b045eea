"""What a month's data went through: rows held and settled, readings put right, plans, signals, late cards."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

import polars as pl

from qc import clock
from qc.errors import QcError
from qc.jobs.judging import master_checks
from qc.jobs.rows import change_words, piece_words, value_words
from qc.jobs.workshop import Workshop, plan_of
from qc.plain import FrameRow
from qc.plan import PLACE
from qc.report.month import Gap, GaugeCourse, gauge_courses_of_month, plan_change_lines
from qc.sayings import SignalState
from qc.store import CORRECTED, TAKEN_BACK, HeldRecord
from qc.watch import Budget, SeriesVerdict, gauge_changes
from qc.words import code_words, count_words, dated_words, listed, number_words, pieces_words

PUT_RIGHT = {
    "correction": "readings put right",
    "withdrawal": "readings taken back",
    "undo": "decisions about held rows undone",
}
"""Entries that put right what was accepted or decided, by kind."""

MOVABLE = ("serial", "model", "day", *PLACE, "repeat", "person", "gauge", "tool", "tool_count", "batch")
"""What a correction may change beside the figure."""

OUTCOMES = {"accepted": "accepted in the end", "dropped": "set aside", "open": "still waiting"}
"""What became of a held row."""


@dataclass(slots=True)
class _Kind:
    """Held rows of one reason, by what became of them."""

    states: Counter[str] = field(default_factory=Counter)


def checked_gauges(then: Workshop, first: date) -> tuple[GaugeCourse, ...]:
    """Return what the gauges read on their masters in a period that ends on the workshop's day."""
    checks = master_checks(then)
    gauges = then.plan.gauges
    return gauge_courses_of_month(
        gauges, checks, gauge_changes(gauges, checks, then.today), first, then.today
    )


def data_lines(workshop: Workshop, readings: pl.DataFrame, first: date, as_of: date) -> tuple[Gap, ...]:
    """Return the readings of a period, its held rows by reason, and what was put right in it by kind.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    readings : polars.DataFrame
        Those of the period that were accepted.
    first, as_of : date
        The period, both days included. A held row belongs to its measured day, or to the day it was handed
        in where the other lies after it; a correction to the day on which it was made.
    """
    sheets, pieces = readings["sheet"].n_unique(), readings["serial"].n_unique()
    found = [
        Gap(
            "readings accepted",
            readings.height,
            f"on {count_words(sheets, 'sheet')}, of {pieces_words(pieces)}",
        )
    ]
    zone = workshop.plan.workshop.time_zone
    held = [row for row in workshop.store.held(open_only=False) if first <= _day_of_row(row, zone) <= as_of]
    found += _held_lines(held)
    made = Counter(
        one.kind for one in workshop.store.entries() if first <= clock.day_of(one.when, zone) <= as_of
    )
    found += [
        Gap(what, made[kind], "each with the reason, beside what stood there")
        for kind, what in PUT_RIGHT.items()
        if made[kind]
    ]
    return tuple(found)


def _day_of_row(row: HeldRecord, zone: str) -> date:
    """Return the day a held row belongs to: a day to come, typed by a slip, would stand in no report."""
    return min(row.day, clock.day_of(row.entered, zone))


def _held_lines(held: Sequence[HeldRecord]) -> list[Gap]:
    """Count held rows by their first reason: a row has one fault mostly, and is counted once."""
    kinds: dict[str, _Kind] = {}
    for row in held:
        name = row.reasons[0].id if row.reasons else "no reason"
        kinds.setdefault(name, _Kind()).states[row.state] += 1
    ranked = sorted(kinds.items(), key=lambda one: (-one[1].states.total(), one[0]))
    return [
        Gap(
            f"rows held, {code_words(name)}",
            kind.states.total(),
            listed(
                [f"{kind.states[state]} {words}" for state, words in OUTCOMES.items() if kind.states[state]]
            ),
        )
        for name, kind in ranked
    ]


def signals_words(
    verdicts: Sequence[SeriesVerdict],
    states: Mapping[tuple[str, str], SignalState],
    budget: Budget,
    first: date,
    as_of: date,
) -> str:
    """Say how many signals were raised in a period, beside how many false ones chance alone would raise.

    Parameters
    ----------
    verdicts : sequence of SeriesVerdict
        As of the last day of the period.
    states : mapping of (str, str) to SignalState
        How each signal stands, by series and the piece it goes by.
    budget : Budget
        Gives the chance of a false signal a point in the period.
    first, as_of : date
        The period, both days included.
    """
    points = sum(first <= p.day <= as_of for v in verdicts for p in v.points)
    raised = [
        states.get((str(v.key), s.root), "open")
        for v in verdicts
        for s in v.signals
        if first <= s.raised_day <= as_of
    ]
    false = raised.count("closed-false")
    expected = number_words(budget.rate * points)
    said = (
        f"{count_words(len(raised), 'signal')} raised in the month; by chance alone about {expected} would "
        f"be expected of {count_words(points, 'point')} (the plan allows "
        f"{number_words(budget.per_month)} a month)."
    )
    return f"{said} {false} of them closed as false." if false else said


def plan_lines(workshop: Workshop, first: date, as_of: date) -> tuple[str, ...]:
    """Return what changed in the plan in a period, a sentence each with its day."""
    zone, found = workshop.plan.workshop.time_zone, []
    for version in workshop.store.plan_versions()[1:]:
        day = clock.day_of(version.when, zone)
        if not first <= day <= as_of:
            continue
        said = f"{dated_words(day)}, version {version.version}"
        try:
            before = plan_of(workshop.store, version=version.version - 1)
            after = plan_of(workshop.store, version=version.version)
        except QcError:  # written for an earlier program, which had other fields
            found.append(f"{said}: it cannot be compared with the version before it.")
            continue
        lines = plan_change_lines(before, after) or ("only its wording or order changed.",)
        found += [f"{said}: {line}" for line in lines]
    return tuple(found)


def late_lines(workshop: Workshop, events: pl.DataFrame, first: date) -> tuple[Gap, ...]:
    """Return what came in or was put right of earlier months since the month before was closed.

    A line a sheet, and a line a reading that was put right or taken back.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    events : polars.DataFrame
        All up to the last day of the report.
    first : date
        The first day of the report's month; nothing is late where the month before is not closed.
    """
    before = f"{first - timedelta(days=1):%Y-%m}"
    closed = next((one for one in workshop.store.closed_months() if one.month == before), None)
    if closed is None:
        return ()
    zone = workshop.plan.workshop.time_zone
    readings = workshop.store.readings(until=first - timedelta(days=1))
    late = {one.sheet: one for one in workshop.store.sheets() if one.entry > closed.entry}
    found, counted = [], 0
    for sheet in late.values():
        mine = readings.filter(pl.col("sheet") == sheet.sheet)
        happened = events.filter(pl.col("sheet") == sheet.sheet, pl.col("day") < first)
        if mine.is_empty() and happened.is_empty():
            continue
        counted += mine.height
        days = sorted({*mine["day"], *happened["day"]})
        between = dated_words(days[0])
        if len(days) > 1:
            between += f" to {dated_words(days[-1])}"
        kinds = Counter(happened["kind"].to_list())
        more = [f"{number} of {code_words(kind)}" for kind, number in sorted(kinds.items())]
        remark = listed([count_words(mine.height, "reading"), *more] if mine.height else more)
        handed = f"handed in {dated_words(clock.day_of(sheet.entered, zone))} by {sheet.who}"
        found.append(Gap(f"{sheet.file}, {handed}", mine.height + happened.height, f"{remark}, of {between}"))
    settled = workshop.store.handed_in_later(closed.entry, first - timedelta(days=1))
    rest = (settled.readings if settled else 0) - counted
    if rest > 0:
        found.append(Gap("readings from held rows that were settled since", rest, "of earlier days"))
    waited = [
        row
        for row in workshop.store.held(open_only=False)
        if row.sheet in late and _day_of_row(row, zone) < first
    ]
    return (*found, *_held_lines(waited), *_put_right_lines(workshop, closed.entry, first))


def _put_right_lines(workshop: Workshop, entry: int, first: date) -> list[Gap]:
    """Return the readings of earlier months that were put right or taken back since, a line each."""
    zone, plan = workshop.plan.workshop.time_zone, workshop.plan
    ids = workshop.store.put_right_since(entry, first - timedelta(days=1))
    found = []
    for was in workshop.store.history(ids=ids).to_dicts() if ids else ():
        now = was
        # one that was put right twice since is told once: what it was then, and what stands now
        while now["state"] == CORRECTED and now["by"] is not None:
            (now,) = workshop.store.history(ids=[now["by"]]).to_dicts()
        back = now["state"] == TAKEN_BACK
        last = now if back else was
        on = dated_words(clock.day_of(last["changed_at"], zone))
        done = "taken back" if back else "put right"
        said = value_words(was["value"], was["text"] or "") if back else _changed_words(was, now)
        why = f": {last['why']}" if last["why"] else ""
        what = f"{piece_words(was, plan)}, {done} {on} by {last['changed_by']}"
        found.append(Gap(what, 1, f"{said}, of {dated_words(was['day'])}{why}"))
    return found


def _changed_words(was: FrameRow, now: FrameRow) -> str:
    """Say what became of the figure of a reading, and of what else stands with it."""
    said = []
    if was["value"] != now["value"]:
        old, new = (value_words(row["value"], row["text"] or "") for row in (was, now))
        said.append(change_words("value", old, new))
    said += [
        change_words(name, value_words(was[name]), value_words(now[name]))
        for name in MOVABLE
        if (was[name] or "") != (now[name] or "")
    ]
    return listed(said) or "it stands again as it was"
