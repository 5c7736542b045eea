"""The workshop as it was known on a day: what had been handed in by its end, and what had been told of it.

A verdict is found where it still stands word for word as it was told: its hash was kept under an entry.
Where it does not (it was judged afresh since, or nobody had judged what was handed in), the series is judged
from the readings of then, by the plan and the estimates of then; what had been told keeps its words.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from qc import clock
from qc.jobs.errors import JobError
from qc.jobs.judging import judge_now, touched_by
from qc.jobs.workshop import Then, Workshop, plan_of
from qc.plain import JsonObject
from qc.plan import PlanError
from qc.stats.change import program_fingerprint
from qc.store import MARK, JudgedUpTo, PastStore, Store, ToldRecord, Waiting, hash_of
from qc.watch import SeriesKey
from qc.words import count_words, dated_words


def as_known(workshop: Workshop, day: date) -> Workshop:
    """Return the workshop as it was known at the end of a day; it can be read, and refuses what writes.

    Parameters
    ----------
    workshop : Workshop
        An open workshop; it stays open beside the other.
    day : date
        In the plan's zone. Only entries handed in by its end are there, and the plan of then.

    Returns
    -------
    Workshop
        `then` says where it stands, and what must be said about that.

    Raises
    ------
    JobError
        The plan of then cannot be read by this program.
    """
    store = workshop.store
    end = clock.end_of(day, workshop.plan.workshop.time_zone)
    last = store.last_by(end)
    shown = dated_words(day)
    past = PastStore.of(
        store,
        last,
        f"This is the workshop as it was known on {shown}: it can be looked at, and nothing is written there. "
        "Leave out --known, or go back to today on the board, and do it again.",
    )
    # what could not be opened must not keep its connection
    try:
        return _opened(workshop, past, day, last, min(end, clock.now()))
    except BaseException:
        past.close()
        raise


def _opened(workshop: Workshop, past: PastStore, day: date, last: int, moment: datetime) -> Workshop:
    store = workshop.store
    try:
        plan = plan_of(past) if past.plan_versions() else plan_of(store, version=1)
    except PlanError as error:
        raise JobError(
            f"The plan as it stood on {dated_words(day)} cannot be read by this program any more: {error}"
        ) from error
    known = replace(workshop, plan=plan, store=past, today=day, now=moment, then=Then(day, last))
    told = {row.series: row for row in past.told()}
    waiting = past.waiting(JudgedUpTo.of(past.state(MARK)))
    fresh = _waiting_series(known, waiting)
    found = _still_standing(store, [row for key, row in told.items() if key not in fresh])
    past.lay_down(found.values(), {})
    charted = [str(SeriesKey(s.id, c.id, f)) for s, c, f in plan.charted()]
    lacking = [key for key in charted if key not in found and (key in told or key in fresh)]
    if lacking:
        past.lay_down((), _noise_of_then(known, told))
        _judge(known, past, lacking, fresh, told, waiting)
    past.lay_down((), {MARK: past.reached().to_dict(), **_paces_of_then(known)})
    return replace(known, then=Then(day, last, tuple(_notes(store, known, told, lacking))))


def _waiting_series(known: Workshop, waiting: Waiting | None) -> set[str]:
    """Return the series that had something waiting to be judged at the end of the day."""
    if waiting is None:
        return set()
    return touched_by(known, waiting, JudgedUpTo.of(known.store.state(MARK)))


def _still_standing(store: Store, rows: Sequence[ToldRecord]) -> dict[str, tuple[date, Mapping[str, Any]]]:
    """Return the verdicts that are kept, points and all, just as they were told, with the day judged by."""
    days: dict[date, list[ToldRecord]] = {}
    for row in rows:
        days.setdefault(row.day, []).append(row)
    found: dict[str, tuple[date, Mapping[str, Any]]] = {}
    for day, own in days.items():
        kept = {one.series: one.plain for one in store.verdicts(day, series=[row.series for row in own])}
        for row in own:
            if row.series in kept and hash_of(kept[row.series]) == row.verdict:
                found[row.series] = day, kept[row.series]
    return found


def _judge(
    known: Workshop,
    past: PastStore,
    keys: Collection[str],
    fresh: Collection[str],
    told: Mapping[str, ToldRecord],
    waiting: Waiting | None,
) -> None:
    """Judge series from the readings of then; what had been told of one keeps its words."""
    newest = [row.day for row in told.values()]
    if waiting is not None and waiting.newest is not None:
        newest.append(clock.day_of(waiting.newest, known.plan.workshop.time_zone))
    by = replace(known, today=max(newest, default=known.today))
    # a plan that came later judges each piece otherwise: how far a series was judged may be by that one
    judged = judge_now(by, keys, keep=False, afresh=True)
    bodies = {str(verdict.key): verdict.to_dict() for verdict in judged.verdicts}
    past.lay_down(
        [
            (by.today, body) if key in fresh else (told[key].day, _as_told(body, told[key]))
            for key, body in bodies.items()
        ],
        {},
    )


def _as_told(body: JsonObject, told: ToldRecord) -> JsonObject:
    """Put the points of a verdict judged anew under the words that were told, where they are of as many."""
    as_many = told.plain.get("pieces") == body["pieces"] and told.plain.get("before", 0) == body["before"]
    return {name: told.plain.get(name, value) for name, value in body.items()} if as_many else body


def _noise_of_then(known: Workshop, told: Mapping[str, ToldRecord]) -> JsonObject:
    """Return the noise of series whose lots were told apart later, or by another word, as it was.

    The rest of it, and the rates, are fixed once by period and month: those that were handed in are asked for.
    """
    kept = known.store.states(f"noise {key}" for key in told)
    states: JsonObject = {}
    for key, row in told.items():
        own, scatter = kept.get(f"noise {key}"), row.plain.get("scatter")
        if own and scatter and own["lots"] != scatter["lots_by"]:
            states[f"noise {key}"] = {**own, "lots": scatter["lots_by"]}
    return states


def _paces_of_then(known: Workshop) -> JsonObject:
    """Return the paces that the budget of the month looks at, without series that were measured in it later."""
    measured: dict[str, set[str]] = {}
    for record in known.store.verdicts():
        for month in {str(point["day"])[:7] for point in record.plain["points"]}:
            measured.setdefault(month, set()).add(record.series)
    states = known.store.states(f"pace {month}" for month in measured)
    return {
        name: {key: pace for key, pace in own.items() if key in measured[name.removeprefix("pace ")]}
        for name, own in states.items()
    }


def _notes(
    store: Store, known: Workshop, told: Mapping[str, ToldRecord], lacking: Collection[str]
) -> list[str]:
    """Say what the answer is not: what came in later, and which words another program found."""
    then, shown = known.then, dated_words(known.today)
    assert then is not None
    notes = []
    later = store.handed_in_later(then.entry, known.today)
    zone = known.plan.workshop.time_zone
    if later is not None:
        count, first = later
        handed = f"handed in on {dated_words(clock.day_of(first, zone))}{' and later' if count > 1 else ''}"
        readings = count_words(count, "reading")
        what = f"{readings} measured by {shown} {'was' if count == 1 else 'were'} {handed}"
        if known.store.sheets():
            notes.append(f"{what}: not known here on {shown}.")
        else:
            notes.append(f"{what}; nothing was known here on {shown}.")
    elif not known.store.sheets():
        notes.append(f"Nothing was known here on {shown}: no sheet had been handed in.")
    program = program_fingerprint()
    other = [key for key, row in told.items() if row.program != program]
    if other:
        notes.append(
            f"What is said of {count_words(len(other), 'series', 'series')} was told by another version of the "
            f"program; its words stand as they were told."
        )
    afresh = [key for key in lacking if key in told]
    if afresh and other:
        notes.append(
            f"The points of {count_words(len(afresh), 'series', 'series')} are drawn by this program."
        )
    unjudged = [key for key in lacking if key not in told]
    if unjudged:
        notes.append(
            f"{count_words(len(unjudged), 'series', 'series')} had been handed in and not judged by the end of "
            "the day: judged now, from what was known then."
        )
    return notes
