"""What a lead decides about a series: freeze its settled state, leave pieces out, undo either.

Each decision is an entry of the chain: who, when, which pieces, why. Nothing is overwritten; undoing one is a
decision of its own. The series is judged again at once.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC

from qc.errors import UsageError
from qc.jobs.errors import JobError
from qc.jobs.judging import (
    NOTHING_STORED,
    STORED_AND_JUDGED,
    STORED_NOT_JUDGED,
    catch_up,
    decisions_of,
    ending,
    load_verdicts,
)
from qc.jobs.roles import Verb, known_codes, may
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.report.terminal import decisions_text
from qc.sayings import Fault, Said, Saying, What, faults_of_decision, strange_piece, told_here
from qc.stats import Tabled
from qc.watch import Decisions, SeriesKey, SeriesVerdict, Span, fittings

LEAST_FROZEN = 8
"""Fewer pieces are no settled state: their spread could be off by half (house rule)."""

DECIDED_ALREADY = "That stands already, to the piece, so it was not recorded a second time."


@dataclass(frozen=True, slots=True)
class SeriesDecisions:
    """What stands for one series, and everything that was decided about it.

    Attributes
    ----------
    series, title : str
        Key and name.
    baseline : Span or None
        The frozen settled state.
    left_out : tuple of Span
        Stretches left out.
    history : tuple of Said
        All decisions, oldest first.
    behaviour : str
        Of the series as it is now judged.
    already : bool
        What was to be decided stood already, to the piece, so it was not recorded again.
    """

    series: str
    title: str
    baseline: Span | None
    left_out: tuple[Span, ...]
    history: tuple[Said, ...]
    behaviour: str
    already: bool = False

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {
            "series": self.series,
            "baseline": _plain(self.baseline) if self.baseline else None,
            "left_out": [_plain(span) for span in self.left_out],
            "history": [_history(said) for said in self.history],
            "behaviour": self.behaviour,
            **({"already": True} if self.already else {}),
        }

    def to_text(self) -> str:
        """Say what stands, then the history."""
        told = decisions_text(self.title, self.behaviour, self.baseline, self.left_out, self.history)
        return f"{DECIDED_ALREADY}\n{told}" if self.already else told


@dataclass(frozen=True, slots=True)
class DecisionList(Tabled):
    """Every series about which something was decided."""

    series: tuple[SeriesDecisions, ...]

    def to_text(self) -> str:
        """List them."""
        return "\n".join(one.to_text() for one in self.series) or "Nothing is frozen and nothing left out."


def list_decisions(workshop: Workshop) -> DecisionList:
    """Return the series about which a lead decided something, in route order."""
    said = {one.about for one in workshop.store.said_of_series()}
    order = [str(SeriesKey(s.id, c.id, f)) for s, c, f in workshop.plan.charted()]
    return DecisionList(tuple(_decisions(workshop, key) for key in order if key in said))


def decide(workshop: Workshop, series: str, saying: Saying) -> SeriesDecisions:
    """Decide something about a series: freeze its settled state, leave pieces out, undo either.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    series : str
        ``stage/characteristic/family``.
    saying : Saying
        What is decided, by a person of the plan, with the reason in `text`, from the piece `first` to `last`.
        Without `last`, what is frozen ends at the newest piece, and one piece is left out; a stretch taken in
        again is found by `first`.

    Returns
    -------
    SeriesDecisions
        As they now stand. What stands already, to the piece, is not recorded again.

    Raises
    ------
    JobError
        An unknown series, serial or person, one who is no lead, too few pieces, nothing of the kind to
        undo, or, where a figure wears with a tool, pieces of more than one fitting of it.
    UsageError
        Nobody says it, or no reason is given.
    """
    with ending(NOTHING_STORED):
        # what a decision rests on is what is known by now, and nobody else decides between look and word
        catch_up(workshop)
        with workshop.store.writing():
            may(saying.who, Verb.DECIDE, workshop.plan, workshop.store.people())
            span = _checked(workshop, series, saying)
            already = _stands_already(workshop, series, saying.what, span)
            if not already:
                said = replace(saying, first=span.first, last=span.last)
                workshop.store.say(series, said, when=workshop.now)
    with ending(STORED_NOT_JUDGED):
        catch_up(workshop)
    with ending(STORED_AND_JUDGED):
        return replace(_decisions(workshop, series), already=already)


def _checked(workshop: Workshop, series: str, saying: Saying) -> Span:
    """Return the pieces that a decision is about, or refuse it."""
    verdict, plan = _verdict(workshop, series), workshop.plan
    serials = {p.serial for p in verdict.points}
    faults = faults_of_decision(saying, people=known_codes(plan, workshop.store.people()), serials=serials)
    if Fault.NO_REASON in faults:
        raise UsageError("Say why with --why: whoever looks at the chart next year will want to know.")
    if Fault.STRANGE_PIECE in faults:
        strange = strange_piece(saying, serials)
        raise JobError(f"{strange!r} is no piece of {verdict.title}. Look at its points: qc status --json")
    if saying.what not in {What.FREEZE, What.LEAVE_OUT}:
        return _undone(workshop, series, saying)
    span = _span(verdict, saying)
    if saying.what is What.FREEZE and not _stands_already(workshop, series, saying.what, span):
        _check_frozen(workshop, verdict, span)
    return span


def _stands_already(workshop: Workshop, series: str, what: What, span: Span) -> bool:
    """Say whether this very stretch is frozen, or left out, already: a command given twice decides once."""
    stands = decisions_of(workshop, series).get(series, Decisions())
    standing = {What.FREEZE: (stands.baseline,), What.LEAVE_OUT: stands.left_out}.get(what, ())
    return any(one is not None and (one.first, one.last) == (span.first, span.last) for one in standing)


def _span(verdict: SeriesVerdict, saying: Saying) -> Span:
    places = [p.serial for p in verdict.points]
    last = saying.last or (places[-1] if saying.what is What.FREEZE else saying.first)
    first, last = sorted((saying.first, last), key=places.index)
    return Span(first, last)


def _undone(workshop: Workshop, series: str, saying: Saying) -> Span:
    """Return what stands of that which is to be undone."""
    stands = decisions_of(workshop, series).get(series, Decisions())
    if saying.what is What.UNDO_FREEZE:
        if stands.baseline is None:
            raise JobError(f"Nothing is frozen for {series}. See what stands: qc baseline list")
        return stands.baseline
    found = [s for s in stands.left_out if s.first == saying.first and saying.last in {"", s.last}]
    if not found:
        raise JobError(f"No stretch left out of {series} begins at {saying.first}. See: qc baseline list")
    return found[0]


def _check_frozen(workshop: Workshop, verdict: SeriesVerdict, span: Span) -> None:
    first, last = span.ordinals(verdict.points) or (1, 0)
    own = [p for p in verdict.points[first - 1 : last] if not p.left_out]
    if len(own) < LEAST_FROZEN:
        raise JobError(f"{len(own)} pieces are no settled state; name at least {LEAST_FROZEN}.")
    _check_one_line(workshop, verdict, first, last)


def _decisions(workshop: Workshop, series: str) -> SeriesDecisions:
    history = workshop.store.said_of_series(series)
    stands = decisions_of(workshop, series).get(series, Decisions())
    verdict = _verdict(workshop, series)
    return SeriesDecisions(
        series=series,
        title=verdict.title,
        baseline=stands.baseline,
        left_out=stands.left_out,
        history=told_here(history, workshop.plan.workshop.time_zone),
        behaviour=verdict.behaviour,
    )


def _verdict(workshop: Workshop, series: str) -> SeriesVerdict:
    known = {str(v.key): v for v in load_verdicts(workshop)}
    if series not in known:
        near = [key for key in known if series and series.lower() in key.lower()]
        listed = ", ".join(near or list(known)[:5])
        raise JobError(f"There is no series {series!r} with readings. Name one as in: {listed}")
    return known[series]


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


def _plain(span: Span) -> JsonObject:
    day = span.day.isoformat() if span.day else None
    return {"first": span.first, "last": span.last, "who": span.who, "day": day, "why": span.why}


def _history(said: Said) -> JsonObject:
    own = {"id": said.id, "series": said.about, "what": said.what.value, "first": said.first}
    return {
        **own,
        "last": said.last,
        "why": said.text,
        "who": said.who,
        "when": said.when.astimezone(UTC).isoformat(),
    }
