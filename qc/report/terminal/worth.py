"""What is worth measuring, in words: a table of cost and gain, then the advice a series."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from qc.report.terminal.columns import block, table
from qc.watch.worth import Delay, FigureWorth
from qc.words import dated_words

STAYS = ("keep", "too early")
HEAD = ("", "hours a month", "told after", "every 2nd", "twice", "by others", "found", "advice")


def worth_text(
    workshop: str,
    as_of: date,
    series: Sequence[FigureWorth],
    answers: Sequence[tuple[str, str]],
    notes: Sequence[str],
) -> str:
    """Say what each series costs and buys, the costly ones first, or answer what was asked."""
    head = f"{workshop}, {as_of:%a} {dated_words(as_of)}: what a reading costs and buys."
    if answers:
        said = [f"{title}. {sentence}" for title, sentence in answers]
        return "\n".join([head, "", *said, *(["", *notes] if notes else [])])
    if not series:
        return f"{head}\n\nNothing is charted yet."
    lines = table([HEAD, *(cells(one) for one in series)], "<>>>>>><", indent="")
    under = (
        "told after: pieces made until a change that would break the limits is told, as measured now, on "
        "every second piece, and with each reading taken twice (in brackets where the simulation leaves it). "
        "by others: share of the variance that other figures foretell. found: signals of a year that nobody "
        "called false, beside the number expected where nothing happens."
    )
    default = (
        "Bench time is 20 s a reading where the plan gives no `reading_seconds` (common practice, no source)."
    )
    plain = [] if all(one.cost.seconds_in_plan for one in series) else [default]
    # what would change something stands first
    ordered = sorted(series, key=lambda one: one.advice in STAYS)
    advice = block("Advice", [f"{one.title}: {one.advice}. {one.because}".rstrip() for one in ordered])
    return "\n".join([head, "", *lines, "", under, *advice, "", *plain, *notes])


def cells(worth: FigureWorth) -> tuple[str, ...]:
    """Return the figures of a series as they stand in a table, on every face alike."""
    found, others = worth.found, worth.others
    return (
        worth.title,
        f"{worth.cost.hours_a_month:.1f}",
        delay_cell(worth.told),
        delay_cell(worth.told_every_second),
        delay_cell(worth.told_twice),
        "" if others is None else f"{100 * others.share:.0f} %",
        f"{found.true} of {found.expected:.1f}",
        worth.advice,
    )


def delay_cell(delay: Delay | None) -> str:
    """Return a delay with its error.

    Examples
    --------
    >>> delay_cell(Delay(9, 8, 10, 400, 60)), delay_cell(Delay(2, 2, 2, 400, 60)), delay_cell(None)
    ('9 (8 to 10)', '2', '')
    >>> delay_cell(Delay(None, 55, None, 400, 60))
    'over 60'
    """
    if delay is None:
        return ""
    if delay.pieces is None:
        return f"over {delay.length}"
    if delay.low == delay.high:
        return str(delay.pieces)
    most = "over " + str(delay.length) if delay.high is None else str(delay.high)
    return f"{delay.pieces} ({delay.low} to {most})"
