"""What to do about a series that moved, its newest piece and its gauges named."""

from __future__ import annotations

from qc.jobs.board import SeriesView, SignalResult, first_steps, is_good_news, reaction_steps


def calm_steps(view: SeriesView) -> tuple[str, ...]:
    """Return the steps that come first should the next pieces stand out."""
    return first_steps(_newest(view), view.gauges, view.verdict.kind)


def steps(view: SeriesView, signal: SignalResult | None = None) -> list[str]:
    """Return the steps to take: three that always come first, then the finding's own, then the plan's.

    A change for the better has steps of its own.

    Parameters
    ----------
    view : SeriesView
        The series with what the plan says of it.
    signal : SignalResult, optional
        The finding in question; else the one that explains why the series drifts.
    """
    found = signal or view.verdict.telling
    own = found.next_step if found is not None and found.next_step else view.next_step
    kind = view.verdict.kind
    better = found is not None and is_good_news(found, kind)
    return [*reaction_steps(view.reaction, own, _newest(view), view.gauges, kind, better=better)]


def _newest(view: SeriesView) -> str:
    return view.verdict.points[-1].serial if view.verdict.points else ""
