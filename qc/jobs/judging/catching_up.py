"""Judging what waits: whatever was accepted after the mark up to which the workshop is judged.

Rows and what is said are durable before they are judged. So every command that writes, and every one that
answers, compares the mark with what is newer, and judges that first.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TypeAlias
from zoneinfo import ZoneInfo

from qc.errors import MachineError, QcError
from qc.jobs.judging.kept import at_latest
from qc.jobs.spread import Hands
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.store import MARK, JudgedUpTo, Waiting
from qc.watch import SeriesVerdict
from qc.words import dated_words

ShowJudged: TypeAlias = Callable[[int, int, str], None]
"""Told how many series are judged, of how many, and in words."""

READERS_PATIENCE_S = 3.0
"""Chosen: who only asks has the answer of before, and nobody waits a minute for it before a lock."""

TRIES = 3
"""Chosen: so often two that judge at once begin again when the other was first; then the last one stays."""

NOTHING_STORED = "Nothing was stored."
STORED_NOT_JUDGED = "It is stored, but not yet judged: the next command judges it."
STORED_AND_JUDGED = "What there was to store is stored and judged."


@dataclass(frozen=True, slots=True)
class NotJudged:
    """Why an answer is that of before: since when something waits [UTC], and what keeps it waiting."""

    since: datetime
    why: str = ""

    def sentence(self, zone: str) -> str:
        """Say it, with day and time in the workshop's zone."""
        here = self.since.astimezone(ZoneInfo(zone))
        when = f"{dated_words(here.date())}, {here:%H:%M}"
        why = self.why or "what came in since then waits."
        return f"Not judged since {when}: {why} What stands here is what was judged before."


def catch_up(workshop: Workshop, progress: ShowJudged | None = None) -> list[SeriesVerdict]:
    """Judge what waits, and keep what was found.

    Parameters
    ----------
    workshop : Workshop
        Where the readings are.
    progress : callable, optional
        Told how many series are judged, of how many, and in words; where it raises, nothing is kept.

    Returns
    -------
    list of SeriesVerdict
        Of the series that something new can have changed, in route order; empty where nothing waits.

    Raises
    ------
    StoreUnavailable
        The verdicts cannot be kept; what waits still waits then.
    """
    for attempt in range(TRIES):
        kept = workshop.store.state(MARK)
        found = workshop.store.waiting(JudgedUpTo.of(kept))
        if found is None:
            return []
        verdicts = _judge(workshop, found, kept, insist=attempt == TRIES - 1, progress=progress)
        if verdicts is not None:
            return verdicts
    raise AssertionError("the last attempt keeps what it found")


def judge_afresh(
    workshop: Workshop, *, learn: bool = False, hands: Hands | None = None
) -> list[SeriesVerdict]:
    """Judge every series from nothing and keep what was found, in route order; older verdicts are dropped.

    With `learn`, how pieces scatter is learned anew too; `hands` follow the series elsewhere.
    """
    from qc.jobs.judging.verdicts import judge_now, keep_judged

    workshop = at_latest(workshop)
    reached = workshop.store.reached()
    judged = judge_now(workshop, afresh=True, learn=learn, hands=hands)
    keep_judged(workshop, judged, {MARK: reached.to_dict()}, afresh=True)
    return judged.verdicts


def judge_anew(workshop: Workshop, series: Collection[str]) -> None:
    """Judge some series once more by what was judged before, and keep what was found."""
    from qc.jobs.judging.verdicts import judge_now, keep_judged

    workshop = at_latest(workshop)
    keep_judged(workshop, judge_now(workshop, series), {})


def judge_waiting(workshop: Workshop, progress: ShowJudged | None = None) -> JsonObject:
    """Judge what waits and say how many series that were: what the board asks its worker."""
    return {"judged": [str(verdict.key) for verdict in catch_up(workshop, progress)]}


def touched_by(workshop: Workshop, found: Waiting, mark: JudgedUpTo) -> set[str]:
    """Return the series that what waits after a mark can have changed."""
    from qc.jobs.judging.touched import MOST_CARDS, made_of, series_touched, series_with_findings

    store = workshop.store
    if found.now.readings - mark.readings > MOST_CARDS:
        rows = [kind[:3] for kind in store.counted_kinds(after=mark.readings)]
        touched = made_of(workshop, rows) | series_with_findings(workshop) | found.series
        return touched | made_of(workshop, store.measured_kinds()) if found.everything else touched
    news = workshop.store.news((mark.readings, mark.events, mark.entry))
    touched = series_touched(workshop, news) | found.series
    return touched | made_of(workshop, workshop.store.measured_kinds()) if found.everything else touched


def not_judged_since(workshop: Workshop) -> datetime | None:
    """Return the moment [UTC] since when something waits to be judged, None when all is judged."""
    found = workshop.store.waiting(JudgedUpTo.of(workshop.store.state(MARK)))
    return None if found is None else found.since


def brought_up(workshop: Workshop) -> NotJudged | None:
    """Judge what waits before an answer; return why that was not possible, None when all is judged.

    A lock, a full disk or a folder that may only be read keep nobody from the answer of before.
    """
    since = not_judged_since(workshop)
    if since is None:
        return None
    try:
        with workshop.store.impatient(READERS_PATIENCE_S):
            catch_up(workshop)
    except MachineError as error:
        return NotJudged(since, str(error))
    return None


@contextmanager
def ending(sentence: str) -> Iterator[None]:
    """Let whatever fails in this block say what was stored by then.

    The machine's faults tell it as their last sentence; a fault of the program carries it as a note.
    """
    try:
        yield
    except MachineError as error:
        if error.in_doubt and sentence.startswith(NOTHING_STORED):
            raise  # its own sentence says that nobody can tell
        raise error.ending(sentence) from error
    except QcError:
        raise
    except Exception as error:
        error.add_note(sentence)
        raise


def _judge(
    workshop: Workshop, found: Waiting, kept: object, *, insist: bool, progress: ShowJudged | None = None
) -> list[SeriesVerdict] | None:
    """Judge what waits and keep it; None where somebody else judged meanwhile."""
    from qc.jobs.judging.verdicts import judge_now, keep_judged

    workshop = _on_the_day_of(workshop, found)
    touched = touched_by(workshop, found, JudgedUpTo.of(kept))
    # a changed plan reads and judges each piece otherwise: what was kept of the way there does not hold
    judged = judge_now(workshop, touched, afresh=found.everything, progress=progress)
    with workshop.store.writing():
        if workshop.store.state(MARK) != kept and not insist:
            return None
        keep_judged(workshop, judged, {MARK: found.now.to_dict()})
    return judged.verdicts


def _on_the_day_of(workshop: Workshop, found: Waiting) -> Workshop:
    """Return the workshop on the newest day judged or handed in: nothing that waits is passed over."""
    latest = at_latest(workshop)
    if found.newest is None:
        return latest
    handed_in = found.newest.astimezone(ZoneInfo(workshop.plan.workshop.time_zone)).date()
    return replace(latest, today=max(latest.today, handed_in))
