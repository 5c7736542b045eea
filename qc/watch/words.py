"""Findings in words a technician uses: what, since when, how much, coincides with, next."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date

from qc.plan import Characteristic
from qc.watch.results import SeriesVerdict

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
UNITS = {"um": "µm", "cent": "cents", "cm3/min": "cm³/min", "fault": "faults", "count": "", "C": "°C"}
"""How a unit of the plan is written for people."""

YEAR_TOLD_AFTER_DAYS = 270
"""An older day could be taken for one of this year."""

LIMITS_WORDS = {
    "proven": "limits kept",
    "unproven": "limits unproven",
    "no": "limits not kept",
    "": "no limits set",
}
STILL_MOVING = "It is still climbing or falling: an index would describe nothing that lasts."
TOO_FEW, TOO_EARLY = "too few pieces", "too early to say"
LEAST_FOR_INDEX = 20
"""With fewer pieces a capability index is withheld (`qc.stats.capability`)."""

FIRST_STEPS = (
    "Re-measure the newest piece.",
    "Check the gauge's zero.",
    "Check the serial and the unit on the card.",
)
"""The first three steps of every reaction (common practice, no source)."""


def day_words(day: date | None, today: date | None = None) -> str:
    """Write a day as on a bench calendar; with its year where it lies most of a year before `today`.

    Examples
    --------
    >>> day_words(date(2026, 10, 9)), day_words(date(2025, 10, 9), date(2026, 11, 24))
    ('9 Oct', '9 Oct 2025')
    """
    if day is None:
        return ""
    year = f" {day.year}" if today is not None and (today - day).days > YEAR_TOLD_AFTER_DAYS else ""
    return f"{day.day} {MONTHS[day.month - 1]}{year}"


def inside(name: str) -> str:
    """Write a name of the plan inside a sentence; codes and abbreviations keep their capitals.

    Examples
    --------
    >>> inside("Bending mandrel"), inside("F wrap"), inside("OD gauge")
    ('bending mandrel', 'F wrap', 'OD gauge')
    """
    return name[:1].lower() + name[1:] if name[1:2].islower() else name


def number_words(value: float) -> str:
    """Write a figure with as many places as its size makes sensible.

    Examples
    --------
    >>> number_words(22.93), number_words(0.0123), number_words(3.14), number_words(-0.4)
    ('23', '0.012', '3.1', '-0.4')
    """
    size = abs(value)
    if size >= 10 or size == 0:
        return f"{value:.0f}"
    if size >= 0.1:
        return f"{value:.1f}"
    return f"{value:.{1 - math.floor(math.log10(size))}f}"


def level_words(value: float, span: float) -> str:
    """Write a level with as many places as matter on a scale this wide.

    Parameters
    ----------
    value : float
        The level.
    span : float
        Width of what is shown beside it: the limits or the scatter. [same unit]

    Examples
    --------
    >>> level_words(14.9182, 0.07), level_words(150.3, 100.0), level_words(22.93, 40.0)
    ('14.918', '150', '22.9')
    """
    if not span > 0:
        return number_words(value)
    places = max(0, -math.floor(math.log10(span / 50)))
    return f"{value:.{places}f}"


def unit_words(unit: str) -> str:
    """Write a unit of the plan for people: ``um`` becomes the micrometre sign.

    Examples
    --------
    >>> unit_words("cent")
    'cents'
    """
    return UNITS.get(unit, unit)


def quantity_words(value: float, unit: str) -> str:
    """Write a figure with its unit; hundredths of a millimetre and less are said in micrometres.

    Examples
    --------
    >>> quantity_words(22.93, "mm"), quantity_words(0.0042, "mm")
    ('23 mm', '4.2 µm')
    """
    if unit == "mm" and 0 < abs(value) < 0.1:
        value, unit = 1000 * value, "um"
    return f"{number_words(value)} {unit_words(unit)}".strip()


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
    first = (
        f"Coincides with {suspects[0]}." if suspects else "Nothing that is recorded changed when it began."
    )
    count = f"{pieces} piece{'s' * (pieces != 1)} since"
    rest = f"; {_listed(unchanged)} did not change" if unchanged else ""
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


def whole_words(value: float) -> str:
    """Write a large number rounded to two figures, its thousands apart.

    Examples
    --------
    >>> whole_words(261.3), whole_words(14251.0)
    ('260', '14 000')
    """
    size = max(0, math.floor(math.log10(abs(value))) - 1) if value else 0
    return f"{round(value / 10**size) * 10**size:,}".replace(",", " ")


def _plain_side(side: str) -> str:
    return {"above": "higher", "below": "lower"}.get(side, "apart")


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
