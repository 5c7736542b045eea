"""What a panel says of its series: the finding, and whether its limits are kept, with interval and number."""

from __future__ import annotations

from datetime import date

from qc.report.month.blocks import day_over, over_words
from qc.watch import LEARNING, SeriesVerdict, limits_words, settled_words
from qc.words import pieces_words, places_words, plain_words, unit_words

BEHAVIOUR_MARK = {"steady": "○", "drifting": "▲", "learning": "◌"}

INDEX_PLACES = 2
"""Places of a capability index (common practice, no source)."""


def panel_lines(verdict: SeriesVerdict, first: date | None = None) -> dict[str, str]:
    """Return the title, the finding and the capability of one panel in words.

    A finding that is over is told as such, and only of a change that ended in the month: from `first` on.
    """
    signal = verdict.telling
    if verdict.behaviour == "learning":
        finding = f"Learning: {verdict.pieces} of {LEARNING} pieces."
    elif signal is not None:
        finding = f"{signal.sentence} {signal.because}"
    else:
        finding = f"As it was: {verdict.pieces} pieces without a lasting change."
        settled = settled_words(verdict, verdict.points[-1].day)
        if settled:
            finding = f"{settled[0].upper()}{settled[1:]}."
        else:
            finding += _over(verdict, first)
    return {
        "title": verdict.title,
        "mark": BEHAVIOUR_MARK[verdict.behaviour],
        "behaviour": verdict.behaviour,
        "finding": finding,
        "capability": capability_sentence(verdict),
    }


def _over(verdict: SeriesVerdict, first: date | None) -> str:
    """Say which change was over in the month, empty where none was."""
    for signal in reversed(verdict.signals):
        back = day_over(verdict, signal)
        if back is not None and signal.kind != "single" and (first is None or back >= first):
            return f" {over_words(verdict, signal, verdict.points[-1].day)}"
    return ""


def capability_sentence(verdict: SeriesVerdict) -> str:
    """Say whether a series keeps its limits, with interval and number, or why that is not said."""
    lead = limits_words(verdict).capitalize()
    if verdict.ppk is not None:
        return f"{lead}: Ppk {_ppk(verdict)} from {pieces_words(verdict.rests_on)}."
    why = f" Ppk is not given: {verdict.ppk_reason.rstrip('.')}." if verdict.ppk_reason else ""
    return f"{lead}.{why}"


def capability_line(verdict: SeriesVerdict) -> dict[str, str]:
    """Return one row of the capability table."""
    unit = unit_words(verdict.unit)
    sides = [
        f"{word} {plain_words(value)}"
        for word, value in (("from", verdict.lower), ("to", verdict.upper))
        if value is not None
    ]
    given = verdict.ppk is not None
    return {
        "series": verdict.title,
        "behaviour": f"{BEHAVIOUR_MARK[verdict.behaviour]} {verdict.behaviour}",
        "limits": f"{' '.join(sides)} {unit}".strip() if sides else "none",
        "pieces": str(verdict.rests_on),
        "ppk": places_words(verdict.ppk or 0.0, INDEX_PLACES) if given else "—",
        "interval": _between(verdict) if given else verdict.ppk_reason,
        "capable": limits_words(verdict).removeprefix("limits "),
    }


def _ppk(verdict: SeriesVerdict) -> str:
    return f"{places_words(verdict.ppk or 0.0, INDEX_PLACES)} ({_between(verdict)}, 95 %)"


def _between(verdict: SeriesVerdict) -> str:
    ends = (places_words(end or 0.0, INDEX_PLACES) for end in (verdict.ppk_low, verdict.ppk_high))
    return " to ".join(ends)
