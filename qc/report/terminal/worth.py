"""What is worth measuring, in words: a table of cost and gain, then the advice a series."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from qc.report.terminal.columns import block, table
from qc.watch.worth import STAYS, WORTH_HEAD, WORTH_UNDER, FigureWorth, hours_words, worth_cells
from qc.words import dated_words

DEFAULT_TIME = (
    "Bench time is 20 s a reading where the plan gives no `reading_seconds` (common practice, no source)."
)


def worth_text(
    workshop: str,
    as_of: date,
    series: Sequence[FigureWorth],
    answers: Sequence[tuple[str, str]],
    notes: Sequence[str],
    hours: float = 0.0,
) -> str:
    """Say what each series costs and buys, the costly ones first, or answer what was asked."""
    head = f"{workshop}, {as_of:%a} {dated_words(as_of)}: what a reading costs and buys."
    if answers:
        said = [f"{title}. {sentence}" for title, sentence in answers]
        return "\n".join([head, "", *said, *(["", *notes] if notes else [])])
    if not series:
        return f"{head}\n\nNothing is charted yet."
    head += f" Bench time of these: {hours_words(hours)} a month."
    lines = table([WORTH_HEAD, *(worth_cells(one) for one in series)], "<>>>>>><", indent="")
    # what would change something stands first
    ordered = sorted(series, key=lambda one: one.advice in STAYS)
    advice = block("Advice", [f"{one.title}: {one.advice}. {one.because}".rstrip() for one in ordered])
    by_plan = all(one.cost.seconds_in_plan for one in series)
    said = [*([] if by_plan else [DEFAULT_TIME]), *notes]
    return "\n".join([head, "", *lines, "", WORTH_UNDER, *advice, "", *said])
