"""What a lead decides about a series: freeze its settled state, leave pieces out, undo either.

Each decision is an entry of the chain: who, when, which pieces, why. Nothing is overwritten; undoing one is a
decision of its own. The series is judged again at once.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from qc.errors import UsageError
from qc.jobs.errors import JobError
from qc.jobs.judging import decisions_of, judge_series, load_verdicts
from qc.jobs.signals import check_person
from qc.jobs.workshop import Workshop
from qc.watch import Decisions, SeriesKey, SeriesVerdict, Span, fittings

LEAST_FROZEN = 8
"""Fewer pieces are no settled state: their spread could be off by half (house rule)."""

WORDS: Mapping[str, str] = {
    "freeze": "settled state frozen",
    "undo-freeze": "frozen settled state undone",
    "leave-out": "left out",
    "undo-leave-out": "taken in again",
}


@dataclass(frozen=True, slots=True)
class SeriesDecisions:
    """What stands for one series, and everything that was decided about it.

    Attributes
    ----------
    series, title : str
        Key and name.
    baseline : dict or None
        The frozen settled state: first, last, who, day, why.
    left_out : tuple of dict
        Stretches left out, alike.
    history : tuple of dict
        All decisions, oldest first.
    behaviour : str
        Of the series as it is now judged.
    """

    series: str
    title: str
    baseline: dict[str, Any] | None
    left_out: tuple[dict[str, Any], ...]
    history: tuple[dict[str, Any], ...]
    behaviour: str

    def to_dict(self) -> dict[str, Any]:
        """Return plain values."""
        return {
            "series": self.series,
            "baseline": self.baseline,
            "left_out": list(self.left_out),
            "history": list(self.history),
            "behaviour": self.behaviour,
        }

    def to_text(self) -> str:
        """Say what stands, then the history."""
        lines = [f"{self.title} ({self.behaviour})"]
        if self.baseline:
            lines.append(f"  settled state: {self.baseline['first']} to {self.baseline['last']}")
        lines += [f"  left out: {span['first']} to {span['last']}" for span in self.left_out]
        if not self.baseline and not self.left_out:
            lines.append("  nothing frozen, nothing left out")
        lines += [f"  {_history_words(row)}" for row in self.history]
        return "\n".join(lines)


@dataclass(frozen=True, slots=True)
class DecisionList:
    """Every series about which something was decided."""

    series: tuple[SeriesDecisions, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return plain values."""
        return {"series": [one.to_dict() for one in self.series]}

    def to_text(self) -> str:
        """List them."""
        return "\n".join(one.to_text() for one in self.series) or "Nothing is frozen and nothing left out."


def list_decisions(workshop: Workshop) -> DecisionList:
    """Return the series about which a lead decided something, in route order."""
    said = {row["series"] for row in workshop.store.said_of_series()}
    order = [str(SeriesKey(s.id, c.id, f)) for s, c, f in workshop.plan.charted()]
    return DecisionList(tuple(_decisions(workshop, key) for key in order if key in said))


def freeze(workshop: Workshop, series: str, first: str, last: str, *, who: str, why: str) -> SeriesDecisions:
    """Take the pieces from `first` to `last` as the settled state that later pieces are compared with.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    series : str
        ``stage/characteristic/family``.
    first, last : str
        Serials, both included; `last` may be empty for the newest piece.
    who, why : str
        Code of a person of the plan, and the reason.

    Returns
    -------
    SeriesDecisions
        As they now stand.

    Raises
    ------
    JobError
        An unknown series, serial or person, no reason, too few pieces, or, where a figure wears with a tool,
        pieces of more than one fitting of it.
    """
    verdict = _verdict(workshop, series)
    _check(workshop, who, why)
    span = _span(verdict, first, last or verdict.points[-1].serial)
    first_at, last_at = span.ordinals(verdict.points) or (1, 0)
    own = [p for p in verdict.points[first_at - 1 : last_at] if not p.left_out]
    if len(own) < LEAST_FROZEN:
        raise JobError(f"{len(own)} pieces are no settled state; name at least {LEAST_FROZEN}.")
    _check_one_line(workshop, verdict, first_at, last_at)
    return _say(workshop, series, "freeze", span, who, why)


def leave_out(
    workshop: Workshop, series: str, first: str, last: str, *, who: str, why: str
) -> SeriesDecisions:
    """Mark the pieces from `first` to `last` as not representative: shown, but not judged; see `freeze`."""
    verdict = _verdict(workshop, series)
    _check(workshop, who, why)
    return _say(workshop, series, "leave-out", _span(verdict, first, last or first), who, why)


def undo(
    workshop: Workshop, series: str, *, first: str = "", last: str = "", who: str, why: str
) -> SeriesDecisions:
    """Undo the frozen settled state of a series, or the leaving out of a stretch where one is named.

    Raises
    ------
    JobError
        Nothing of the kind stands, or as for `freeze`.
    """
    _verdict(workshop, series)
    _check(workshop, who, why)
    stands = decisions_of(workshop, series).get(series, Decisions())
    if not first:
        if stands.baseline is None:
            raise JobError(f"Nothing is frozen for {series}. See what stands: qc baseline list")
        return _say(workshop, series, "undo-freeze", stands.baseline, who, why)
    found = [s for s in stands.left_out if s.first == first and (not last or s.last == last)]
    if not found:
        raise JobError(f"No stretch left out of {series} begins at {first}. See: qc baseline list")
    return _say(workshop, series, "undo-leave-out", found[0], who, why)


def _say(
    workshop: Workshop,
    series: str,
    what: Literal["freeze", "undo-freeze", "leave-out", "undo-leave-out"],
    span: Span,
    who: str,
    why: str,
) -> SeriesDecisions:
    workshop.store.say_of_series(
        series, what, who=who, when=workshop.now, first=span.first, last=span.last, why=why
    )
    judge_series(workshop, {series})
    return _decisions(workshop, series)


def _decisions(workshop: Workshop, series: str) -> SeriesDecisions:
    history = workshop.store.said_of_series(series)
    stands = decisions_of(workshop, series).get(series, Decisions())
    verdict = _verdict(workshop, series)
    return SeriesDecisions(
        series=series,
        title=verdict.title,
        baseline=_plain(stands.baseline) if stands.baseline else None,
        left_out=tuple(_plain(span) for span in stands.left_out),
        history=tuple(history),
        behaviour=verdict.behaviour,
    )


def _verdict(workshop: Workshop, series: str) -> SeriesVerdict:
    known = {str(v.key): v for v in load_verdicts(workshop)}
    if series not in known:
        near = [key for key in known if series and series.lower() in key.lower()]
        listed = ", ".join(near or list(known)[:5])
        raise JobError(f"There is no series {series!r} with readings. Name one as in: {listed}")
    return known[series]


def _span(verdict: SeriesVerdict, first: str, last: str) -> Span:
    serials = {p.serial for p in verdict.points}
    for serial in (first, last):
        if serial not in serials:
            raise JobError(f"{serial!r} is no piece of {verdict.title}. Look at its points: qc status --json")
    places = [p.serial for p in verdict.points]
    if places.index(first) > places.index(last):
        first, last = last, first
    return Span(first, last)


def _check(workshop: Workshop, who: str, why: str) -> None:
    check_person(workshop.plan, who)
    if not why.strip():
        raise UsageError("Say why with --why: whoever looks at the chart next year will want to know.")


def _check_one_line(workshop: Workshop, verdict: SeriesVerdict, first: int, last: int) -> None:
    """Refuse to freeze a line of wear over a change of the tool, or where its count does not move."""
    figure = workshop.plan.characteristic(verdict.key.stage, verdict.key.characteristic)
    if figure is None or not figure.wears_with:
        return
    runs = [[n for n in places if first <= n + 1 <= last] for places in fittings(verdict.points)]
    own = [run for run in runs if run]
    if len(own) > 1:
        begun = verdict.points[own[1][0]]
        raise JobError(
            f"{verdict.title} wears with its {figure.wears_with}, and these pieces were made on more than "
            f"one fitting: {begun.serial} was the first on {begun.tool}. Freeze pieces of one fitting."
        )
    if own and len({verdict.points[place].tool_count for place in own[0]}) < 2:
        raise JobError(
            f"The count of the {figure.wears_with} stands still over these pieces: they make no line."
        )


def _plain(span: Span) -> dict[str, Any]:
    day = span.day.isoformat() if span.day else None
    return {"first": span.first, "last": span.last, "who": span.who, "day": day, "why": span.why}


def _history_words(row: Mapping[str, Any]) -> str:
    what = WORDS[row["what"]]
    return f"{row['when'][:10]} {row['who']}: {what}, {row['first']} to {row['last']} ({row['why']})"
