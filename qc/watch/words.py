"""Findings in words a technician uses: what, since when, how much, coincides with, next."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from qc.plan import Characteristic
from qc.watch.results import SeriesVerdict
from qc.words import day_words, listed, pieces_words, quantity_words, whole_words

LIMITS_WORDS = {
    "proven": "limits kept",
    "unproven": "limits unproven",
    "no": "limits not kept",
    "": "no limits set",
}
STILL_MOVING = "It is still climbing or falling: an index would describe nothing that lasts."
NOTHING_EXPLAINS = "Nothing recorded explains it."
TOO_FEW, TOO_EARLY = "too few pieces", "too early to say"
LEAST_FOR_INDEX = 20
"""With fewer pieces `qc.stats.capability` withholds the index; here only to say why, without loading it."""


def signal_sentence(
    characteristic: Characteristic,
    family: str,
    kind: str,
    side: str,
    size: float | None,
    serial: str,
    day: date,
    today: date | None = None,
) -> str:
    """Say what a signal found, in one sentence.

    Examples
    --------
    >>> wrap = Characteristic(id="wrap_f", name="F wrap length", unit="mm",
    ...                       words={"noun": "F wraps", "above": "long", "below": "short"})
    >>> signal_sentence(wrap, "tenor", "shift", "above", 22.9, "A-0418", date(2026, 10, 9))
    'F wraps (tenor family) have come out 23 mm long since A-0418 (9 Oct).'
    """
    noun = characteristic.words.get("noun", characteristic.name)
    have = "have" if noun.endswith("s") and not noun.endswith("ss") else "has"
    subject = noun[:1].upper() + noun[1:] + ("" if family == "all" else f" ({family} family)")
    way = characteristic.words.get("above" if side == "above" else "below", _plain_side(side))
    since = f"since {serial} ({day_words(day, today)})"
    much = "" if size is None else quantity_words(abs(size), characteristic.unit) + " "
    if kind == "single":
        return f"{subject}: {serial} ({day_words(day, today)}) stands apart from the rest, {much}{way}."
    if kind == "spread":
        more = (size or 0.0) > 0 if side == "both" else side == "above"
        return f"{subject} {have} scattered {'more' if more else 'less'} {since}."
    if kind == "trend":
        return f"{subject} {have} crept {much}{way} {since}."
    if kind == "count":
        return f"{subject} {have} come {'more' if side == 'above' else 'less'} often {since}."
    return f"{subject} {have} come out {much}{way} {since}."


def because_sentence(suspects: Sequence[str], unchanged: Sequence[str], pieces: int) -> str:
    """Say what a signal coincides with and what did not change.

    Examples
    --------
    >>> because_sentence(["bending mandrel M-7, fitted 8 Oct"], ["person", "gauge"], 11)
    'Coincides with bending mandrel M-7, fitted 8 Oct. 11 pieces since; person and gauge did not change.'
    """
    first = f"Coincides with {suspects[0]}." if suspects else NOTHING_EXPLAINS
    count = f"{pieces_words(pieces)} since"
    rest = f"; {listed(unchanged)} did not change" if unchanged else ""
    return f"{first} {count}{rest}."


def is_few(verdict: SeriesVerdict) -> bool:
    """Return whether the answer about the limits is open only because the pieces are too few."""
    return verdict.capable == "unproven" and verdict.ppk is None and verdict.rests_on < LEAST_FOR_INDEX


def limits_words(verdict: SeriesVerdict) -> str:
    """Say how a series stands to its limits: the same words on board, report and `qc status`."""
    if is_few(verdict):
        return TOO_FEW
    if not verdict.capable and (verdict.lower is not None or verdict.upper is not None):
        return TOO_EARLY if verdict.kind == "measured" else "limits not judged"
    return LIMITS_WORDS[verdict.capable]


def rate_words(rate: float) -> str:
    """Say a chance per piece as a bench would: ``once in 260 pieces``.

    Examples
    --------
    >>> rate_words(0.00383)
    'once in 260 pieces'
    """
    return f"once in {whole_words(1 / rate)} pieces" if rate > 0 else "never"


def _plain_side(side: str) -> str:
    return {"above": "higher", "below": "lower"}.get(side, "apart")
