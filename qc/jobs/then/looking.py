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
from qc.errors import UsageError
from qc.jobs.errors import JobError
from qc.jobs.judging import touched_by
from qc.jobs.then.waited import days_words, unanswered_words, waited_words
from qc.jobs.workshop import Then, Workshop, plan_of, refuse_no_day
from qc.plain import JsonObject, as_meant
from qc.plan import PlanError
from qc.stats.change import program_fingerprint
from qc.store import MARK, JudgedUpTo, PastStore, Store, ToldRecord, Waiting, hash_of
from qc.watch import SeriesKey
from qc.words import count_words, dated_words


@as_meant
def known(workshop: Workshop, day: date) -> Workshop:
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
    UsageError
        The day is still to come, or one on which no workshop stood.
    JobError
        The plan of then cannot be read by this program.
    """
    store = workshop.store
    if day > max(workshop.today, clock.today(workshop.plan.workshop.time_zone)):
        raise UsageError(f"{dated_words(day)} is still to come: name the day of which you want to know.")
    refuse_no_day(day)
    end = clock.end_of(day, workshop.plan.workshop.time_zone)
    last = store.last_by(end)
    shown = dated_words(day)
    past = PastStore.of(
        store,
        last,
        f"This is the workshop as it was known on {shown}: it can be looked at, nothing is written there. "
        "Leave out --known, or go back to today on the board, and do it again.",
    )
    # what could not be opened must not keep its connection
    try:
        return _opened(workshop, past, day, last, min(end, clock.now()))
    except BaseException:
        past.close()
        raise


def said_of_then(workshop: Workshop) -> str:
    """Say that an answer is that of a past day and what is not in it; empty of the present one."""
    then = workshop.then
    if then is None:
        return ""
    return " ".join([f"As it was known on {dated_words(then.day)}.", *then.notes])


def _opened(workshop: Workshop, past: PastStore, day: date, last: int, moment: datetime) -> Workshop:
    """Open the workshop as known on a day: verdicts as they stood, judged anew where none was kept."""
    store = workshop.store
    try:
        plan = plan_of(past) if past.plan_versions() else plan_of(store, version=1)
    except PlanError as error:
        raise JobError(
            f"The plan as it stood on {dated_words(day)} cannot be read by this program any more: {error}"
        ) from error
    past_shop = replace(workshop, plan=plan, store=past, today=day, now=moment, then=Then(day, last))
    told = {row.series: row for row in past.told()}
    waiting = past.waiting(JudgedUpTo.of(past.state(MARK)))
    fresh = _waiting_series(past_shop, waiting)
    found = _still_standing(store, [row for key, row in told.items() if key not in fresh])
    past.lay_down(found.values(), {})
    charted = [str(SeriesKey(s.id, c.id, f)) for s, c, f in plan.charted()]
    lacking = [key for key in charted if key not in found and (key in told or key in fresh)]
    if lacking:
        past.lay_down((), _noise_of_then(past_shop, told))
        _judge(past_shop, past, lacking, fresh, told, waiting)
    past.lay_down((), {MARK: past.reached().to_dict(), **_paces_of_then(past_shop)})
    return replace(past_shop, then=Then(day, last, tuple(_notes(store, past_shop, told, lacking, fresh))))


def _waiting_series(past_shop: Workshop, waiting: Waiting | None) -> set[str]:
    """Return the series that had something waiting to be judged at the end of the day."""
    if waiting is None:
        return set()
    return touched_by(past_shop, waiting, JudgedUpTo.of(past_shop.store.state(MARK)))


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
    past_shop: Workshop,
    past: PastStore,
    keys: Collection[str],
    fresh: Collection[str],
    told: Mapping[str, ToldRecord],
    waiting: Waiting | None,
) -> None:
    """Judge series from the readings of then; what had been told of one keeps its words."""
    newest = [row.day for row in told.values()]
    if waiting is not None and waiting.newest is not None:
        newest.append(clock.day_of(waiting.newest, past_shop.plan.workshop.time_zone))
    by = replace(past_shop, today=max(newest, default=past_shop.today))
    # a plan that came later judges each piece otherwise: how far a series was judged may be by that one
    from qc.jobs.judging import judge_now  # loads what judges; most who come by ask for no past day

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


def _noise_of_then(past_shop: Workshop, told: Mapping[str, ToldRecord]) -> JsonObject:
    """Return the noise of series whose lots were told apart later, or by another word, as it was.

    The rest of it, and the rates, are fixed once by period and month, and only those of then are asked for.
    """
    kept = past_shop.store.states(f"noise {key}" for key in told)
    states: JsonObject = {}
    for key, row in told.items():
        own, scatter = kept.get(f"noise {key}"), row.plain.get("scatter")
        if own and scatter and own["lots"] != scatter["lots_by"]:
            states[f"noise {key}"] = {**own, "lots": scatter["lots_by"]}
    return states


def _paces_of_then(past_shop: Workshop) -> JsonObject:
    """Return the paces that the budget looks at, without series that were measured in a month only later."""
    measured: dict[str, set[str]] = {}
    for record in past_shop.store.verdicts():
        for month in {str(point["day"])[:7] for point in record.plain["points"]}:
            measured.setdefault(month, set()).add(record.series)
    states = past_shop.store.states(f"pace {month}" for month in measured)
    return {
        name: {key: pace for key, pace in own.items() if key in measured[name.removeprefix("pace ")]}
        for name, own in states.items()
    }


def _notes(
    store: Store,
    past_shop: Workshop,
    told: Mapping[str, ToldRecord],
    judged: Collection[str],
    fresh: Collection[str],
) -> list[str]:
    """Say what the answer rests on: what came in later, what another program told, what is judged now."""
    notes = [said for said in [later_words(store, past_shop)] if said]
    program = program_fingerprint()
    other = [key for key, row in told.items() if row.program != program]
    if other:
        drawn = any(key in judged and key not in fresh for key in other)
        points = ", over points that this one drew anew" if drawn else ""
        notes.append(
            f"What is said of {_series(len(other))} was told by another version of the program; its words "
            f"stand as they were told{points}."
        )
    unjudged = [key for key in judged if key in fresh or key not in told]
    if unjudged:
        notes.append(
            f"{_series(len(unjudged))} had been handed in and not judged by the end of the day: judged now, "
            "from what was known then."
        )
    return notes


def later_words(store: Store, past_shop: Workshop) -> str:
    """Say what had been measured by the day and was accepted after it; history is not made up."""
    assert past_shop.then is not None
    day, zone = past_shop.today, past_shop.plan.workshop.time_zone
    shown, nothing = dated_words(day), not past_shop.store.sheets()
    later = store.handed_in_later(past_shop.then.entry, day)
    if later is None:
        return f"Nothing was known here on {shown}: no sheet had been handed in." if nothing else ""
    known_then = f"nothing was known here on {shown}" if nothing else f"not known here on {shown}"
    said = []
    if later.first is not None and later.last is not None:
        own = later.readings - sum(one.readings for one in later.answered)
        came = days_words([clock.day_of(when, zone) for when in (later.first, later.last)])
        were = "was" if own == 1 else "were"
        said.append(
            f"{count_words(own, 'reading')} measured by {shown} {were} handed in {came}; {known_then}."
        )
    lay: list[tuple[int, date, date]] = []
    after: list[tuple[int, date, date]] = []
    for one in later.answered:
        came_on, answered = (clock.day_of(when, zone) for when in (one.came, one.answered))
        (after if came_on > day else lay).append((one.readings, came_on, answered))
    for rows, had_come in ((lay, True), (after, False)):
        if rows:
            own = sum(number for number, _, _ in rows)
            how = waited_words(own, [came_on for _, came_on, _ in rows], [last for _, _, last in rows])
            ending = f"on {shown} {unanswered_words(own)}" if had_come else known_then
            said.append(f"{count_words(own, 'reading')} measured by {shown} {how}; {ending}.")
    return " ".join(said)


def _series(number: int) -> str:
    return count_words(number, "series", "series")
