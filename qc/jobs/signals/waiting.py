"""Signals that wait for an answer, as status tells them: number, series, who has it, since when."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from qc.jobs.judging import SignalOfDay
from qc.jobs.signals.life import SignalLife, life_of
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.report.terminal import WaitingLine
from qc.sayings import OPEN_STATES
from qc.watch import SeriesVerdict

_TOLD = (
    *("id", "number", "series", "kind", "state", "over"),
    *("owner", "age_days", "due", "overdue", "sentence"),
)


def waiting_signals(
    workshop: Workshop, signals: Iterable[SignalOfDay], verdicts: Iterable[SeriesVerdict]
) -> tuple[SignalLife, ...]:
    """Return the open signals of a day, whether or not their series drifts by them; overdue and oldest first.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    signals : iterable of SignalOfDay
        All of that day.
    verdicts : iterable of SeriesVerdict
        Those of that day.
    """
    by_key = {str(verdict.key): verdict for verdict in verdicts}
    rows = [one for one in signals if one.state in OPEN_STATES and one.listed]
    lives = [life_of(workshop, one, by_key.get(one.series)) for one in rows]
    return tuple(sorted(lives, key=lambda one: (_over(one), not one.overdue, -one.age_days, one.name)))


def waiting_line(one: SignalLife) -> WaitingLine:
    """Return what a terminal tells of a signal that waits."""
    who, days = one.owner or "", one.age_days
    return WaitingLine(one.name, one.title, one.found.kind, who, days, one.overdue, _over(one), one.had)


def waiting_plain(one: SignalLife) -> JsonObject:
    """Return plain values of a signal that waits."""
    whole: Mapping[str, object] = one.to_dict()
    return {name: whole[name] for name in _TOLD}


def _over(one: SignalLife) -> bool:
    """Say whether its change is over by itself and nobody has it in hand."""
    return one.over and one.owner is None


def had_words(had: str) -> str:
    """Say who had a signal that was opened anew and that nobody has taken since; empty where nobody had it.

    Examples
    --------
    >>> had_words("ML")
    'nobody since ML had it'
    """
    return f"nobody since {had} had it" if had else ""
