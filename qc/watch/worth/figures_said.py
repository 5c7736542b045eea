"""The figures of a series as they stand in a table, alike on every face."""

from __future__ import annotations

from qc.watch.worth.advising import change_words, error_words, hours_words
from qc.watch.worth.results import Delay, FigureWorth
from qc.words import dated_words, listed, pieces_words, quantity_words

WORTH_HEAD = ("", "a month", "told after", "every 2nd", "twice", "by others", "found", "advice")
WORTH_UNDER = (
    "a month: time at the bench. told after: pieces made until a change that would break the limits is told, "
    "as measured now, on every second piece, and with each reading taken twice (in brackets the error of the "
    "simulation). by others: share of the variance that other figures foretell. found: signals of a year "
    "that nobody called false, beside the number expected where nothing happens."
)
STAYS = ("keep", "too early")
"""Advice that changes nothing; the rest stands first."""


def worth_cells(worth: FigureWorth) -> tuple[str, ...]:
    """Return the figures of a series under `WORTH_HEAD`."""
    found, others = worth.found, worth.others
    return (
        worth.title,
        hours_words(worth.cost.hours_a_month),
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
    return f"{delay.pieces}{error_words(delay)}"


def worth_facts(worth: FigureWorth) -> tuple[tuple[str, str], ...]:
    """Return what is known of a series one by one, each with its name."""
    cost, found, state, others = worth.cost, worth.found, worth.settled, worth.others
    by = "by the plan" if cost.seconds_in_plan else "not in the plan"
    facts = [
        ("Readings", f"{cost.readings_a_month:.0f} a month on {cost.pieces_a_month:.0f} pieces"),
        (
            "At the bench",
            f"{hours_words(cost.hours_a_month)} a month, {cost.seconds_a_reading:.0f} s a reading ({by})",
        ),
    ]
    if cost.shared_with:
        facts.append(("The same readings give", listed(cost.shared_with)))
    if state is not None:
        days = f"{dated_words(state.first)} to {dated_words(state.last)}"
        facts.append(("Settled figures", f"{pieces_words(state.pieces)}, {days}"))
        facts.append(("They scatter by", f"{quantity_words(state.sd, worth.unit)} (sigma)"))
    if worth.told is not None:
        facts.append((f"{change_words(worth)} is told after", f"{delay_cell(worth.told)} pieces"))
        facts.append(("… on every second piece", delay_cell(worth.told_every_second)))
    if worth.told_twice is not None:
        facts.append(("… with each reading taken twice", delay_cell(worth.told_twice)))
    if worth.told_exactly is not None:
        facts.append(("… by a gauge without scatter of its own", delay_cell(worth.told_exactly)))
    if others is not None:
        low = f"{100 * others.share:.0f} ± {100 * others.error:.0f} % of its variance"
        facts.append(("Other figures foretell", f"{low}, from {pieces_words(others.pieces)}"))
    signals = f"{found.true} signals in a year, {found.expected:.1f} expected where nothing happens"
    facts.append(("It found", f"{signals}; {found.outside} of {found.pieces} pieces outside"))
    return tuple(facts)
