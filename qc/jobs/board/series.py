"""One series for the board: its verdict, what the plan says of it, what a lead decided about it."""

from __future__ import annotations

from collections.abc import Sequence

from qc.jobs.board.marks import marks
from qc.jobs.board.views import DecisionView, ModelView, SeriesVerdict, SeriesView
from qc.jobs.judging import decisions_of
from qc.jobs.pieces import used_by_turns
from qc.jobs.workshop import Workshop
from qc.sayings import What
from qc.watch import DECIDED, Decisions, Span, forecast_words, gauges_in_use, people_apart


def series_view(workshop: Workshop, verdict: SeriesVerdict, beside: Sequence[str] = ()) -> SeriesView | None:
    """Return one series with what the plan says of it, None where the plan has it no more.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    verdict : SeriesVerdict
        The series.
    beside : sequence of str
        What else is to be said of it: of neighbouring pieces of its stage (`qc.watch.dependence_note`), of
        people who differ (`qc.watch.people_apart`). What is empty is passed over.
    """
    plan, key = workshop.plan, verdict.key
    own = plan.stage(key.stage)
    figure = plan.characteristic(key.stage, key.characteristic)
    if own is None or figure is None:
        return None
    return SeriesView(
        verdict=verdict,
        plain=figure.plain,
        reaction=figure.reaction,
        cautions=own.cautions,
        next_step=figure.next_step,
        models=tuple(ModelView(m.id, m.name, m.symbol) for m in plan.models),
        marks=marks(verdict, plan),
        wanted_ppk=plan.workshop.wanted_ppk,
        gauges=gauges_in_use(verdict.points),
        wears_with=figure.wears_with or "",
        wear=forecast_words(verdict.forecast, workshop.today) if verdict.forecast else "",
        decisions=decision_views(workshop, str(key)),
        notes=_notes(verdict, beside),
    )


def apart_words(workshop: Workshop, verdicts: Sequence[SeriesVerdict]) -> tuple[tuple[str, str], ...]:
    """Return, with its series each, what is said of batches, tools and gauges by turns, and of people."""
    turns = [(one.series, one.told) for one in used_by_turns(workshop, verdicts)]
    return (*turns, *((one.series, one.told) for one in people_apart(verdicts)))


def decision_views(workshop: Workshop, series: str) -> tuple[DecisionView, ...]:
    """Return what a lead decided about a series and what still stands, the frozen state first."""
    stands = decisions_of(workshop, series).get(series, Decisions())
    frozen = [_decision(What.FREEZE, stands.baseline)] if stands.baseline else []
    return (*frozen, *(_decision(What.LEAVE_OUT, span) for span in stands.left_out))


def _notes(verdict: SeriesVerdict, beside: Sequence[str]) -> tuple[str, ...]:
    """Return the notes of a series and its stage; the lead's decisions have a place of their own."""
    own = [note for note in verdict.notes if not note.startswith(DECIDED)]
    return (*own, *filter(None, beside))


def _decision(what: What, span: Span) -> DecisionView:
    return DecisionView(what, span.first, span.last, span.who, span.day, span.why)
