"""How a row came that was not accepted with its sheet: it waited, and was answered on another day."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from qc.words import dated_words


def days_words(days: Sequence[date]) -> str:
    """Say on which day something was, or between which.

    Examples
    --------
    >>> days_words([date(2026, 6, 12)]), days_words([date(2026, 4, 28), date(2026, 4, 24)])
    ('on 12 Jun 2026', 'between 24 Apr 2026 and 28 Apr 2026')
    """
    first, last = dated_words(min(days)), dated_words(max(days))
    return f"on {first}" if first == last else f"between {first} and {last}"


def waited_words(number: int, came: Sequence[date], answered: Sequence[date]) -> str:
    """Say of accepted readings when their sheet brought them as held rows, and when these were answered.

    Examples
    --------
    >>> waited_words(3, [date(2026, 6, 12)], [date(2026, 6, 23)])
    'were handed in on 12 Jun 2026 as rows that waited for an answer (answered on 23 Jun 2026)'
    """
    were, rows = ("was", "a row") if number == 1 else ("were", "rows")
    return (
        f"{were} handed in {days_words(came)} as {rows} that waited for an answer "
        f"(answered {days_words(answered)})"
    )


def unanswered_words(number: int) -> str:
    """Say of readings that came as held rows how they stood until then."""
    return "it lay here unanswered" if number == 1 else "they lay here unanswered"
