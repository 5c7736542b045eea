"""What to do about a series that moved: three steps that always come first, then its own."""

from __future__ import annotations

from qc.jobs.board import SeriesView, SignalResult

FIRST_STEPS = (
    "Re-measure {serial}.",
    "Check the zero of {gauge}.",
    "Check serial and unit on the card.",
)
DEFER = "These are usual cautions. Local rules, the shop's own assessment and a competent person decide."
DEFER_ELSE = "The shop's own assessment and a competent person decide too."


def steps(view: SeriesView, signal: SignalResult | None = None) -> list[str]:
    """Return the steps to take: three that always come first, then the finding's own, then the plan's.

    Parameters
    ----------
    view : SeriesView
        The series with what the plan says of it.
    signal : SignalResult, optional
        The finding in question; else the one that explains why the series drifts.
    """
    verdict = view.verdict
    newest = verdict.points[-1].serial if verdict.points else "the newest piece"
    gauge = " and ".join(view.gauges) or "the gauge"
    gauge += " on their masters" if len(view.gauges) > 1 else " on its master"
    first = [text.format(serial=newest, gauge=gauge) for text in FIRST_STEPS]
    found = signal or verdict.telling
    own = found.next_step if found is not None and found.next_step else view.next_step
    return list(dict.fromkeys([*first, *([own] if own else []), *view.reaction]))


def cautions(view: SeriesView) -> str:
    """Return the usual cautions of the stage, deferring to local rules; empty where there are none.

    Where the plan's own cautions defer to the local rules already, they are not named a second time.
    """
    if not view.cautions:
        return ""
    said = " ".join(view.cautions)
    return f"{said} {DEFER_ELSE if 'local rules' in said.lower() else DEFER}"
