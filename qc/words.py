"""How people read figures, units, days and lists; a leaf that every floor may use."""

from __future__ import annotations

import math
import shlex
from collections.abc import Iterable, Sequence
from datetime import date
from difflib import SequenceMatcher

MONTHS = "January February March April May June July August September October November December".split()
UNITS = {"um": "µm", "cent": "cents", "cm3/min": "cm³/min", "fault": "faults", "count": "", "C": "°C"}
IN_UNIT = {("mm", "um"): 1000.0, ("um", "mm"): 0.001}
"""How many units of a figure one unit of its gauge is, where the two differ."""
"""How a unit of the plan is written for people."""

YEAR_TOLD_AFTER_DAYS = 270
"""So long ago a day gets its year even within the year: the same day of the next one is nearer."""

NO_PLURAL = ("ss", "us", "is", "as", "os")
"""Endings in s that are seldom those of an English plural: brass, radius, axis, and most of other tongues."""

CLOSE, APART = 0.7, 0.1
"""Chosen: a likeness from which a word can stand for another, and by how much it must beat the next one."""

MINUS = "\N{MINUS SIGN}"
"""What stands before a figure below nought wherever people read it; a hyphen is narrower and breaks lines."""

MOST_PLACES = 6  # chosen: finer than any gauge of a workshop

MOST_IN_FOUR = 10_000.0
"""From here on four digits would be written with a power of ten."""

LONGEST_NAME_TOLD = 200
"""A longer file name is told by its two ends; chosen, about two lines of a terminal. [character]"""


def day_words(day: date | None, today: date | None = None) -> str:
    """Write a day as on a bench calendar; with its year where that is not the year of `today`, or long ago.

    Examples
    --------
    >>> day_words(date(2026, 10, 9)), day_words(date(2025, 10, 9), date(2026, 3, 24))
    ('9 Oct', '9 Oct 2025')
    """
    if day is None:
        return ""
    other = today is not None and (day.year != today.year or (today - day).days > YEAR_TOLD_AFTER_DAYS)
    year = f" {day.year}" if other else ""
    return f"{day.day} {MONTHS[day.month - 1][:3]}{year}"


def dated_words(day: date) -> str:
    """Write a day with its year.

    Examples
    --------
    >>> dated_words(date(2026, 10, 9))
    '9 Oct 2026'
    """
    return f"{day_words(day)} {day.year}"


# Two rules for the names of files, since they serve two ends. What a study or a remedy tells must fit a
# line and must not steer a terminal. What is kept with a sheet stands in its receipt and its faults, is
# found by `--sheet` and is hashed in the chain: only bytes that are no text are replaced, and the rule
# never changes. A browser may send whole paths of its own machine; the board takes their last part before
# it hands a name on (`dashboard/uploads.py`).


def kept_name(name: str) -> str:
    r"""Return a sheet's name as it is kept: bytes that are no letters are replaced, all else stays.

    Examples
    --------
    >>> kept_name("wall.csv"), kept_name(b"gr\xfcn.csv".decode("utf-8", "surrogateescape"))
    ('wall.csv', 'gr\ufffdn.csv')
    """
    return name.encode("utf-8", "surrogateescape").decode("utf-8", "replace")


def command_words(*words: str) -> str:
    """Write a command so that it can be typed as it stands: a word with blanks in quotes.

    Double quotes are used where they do, since every shell knows them.

    Examples
    --------
    >>> print(command_words("upload", "draw book.xlsx", "--propose-mapping"))
    qc upload "draw book.xlsx" --propose-mapping
    >>> print(command_words("upload", "$1.csv"))
    qc upload '$1.csv'
    """
    return " ".join(["qc", *map(_shell_word, words)])


def _shell_word(word: str) -> str:
    safe = shlex.quote(word)
    return safe if safe == word or any(mark in word for mark in '$`\\"!') else f'"{word}"'


def told_name(name: str, most: int = LONGEST_NAME_TOLD) -> str:
    r"""Write the name of a file so that it can be printed, whatever its bytes are, and stays one short line.

    Examples
    --------
    >>> told_name("bore.csv"), told_name("b\udcf6re.csv"), told_name("bore\x1b[2J\n.csv")
    ('bore.csv', 'b�re.csv', 'bore�[2J�.csv')
    >>> told_name("bore" * 100, 20)
    'borebore...borebore'
    """
    plain = "".join(letter if letter.isprintable() else "\ufffd" for letter in name)
    if len(plain) <= most:
        return plain
    half = (most - 3) // 2
    return f"{plain[:half]}...{plain[-half:]}"


def month_words(month: str) -> str:
    """Write a month for people.

    Examples
    --------
    >>> month_words("2026-10")
    'October 2026'
    """
    year, number = month.split("-")
    return f"{MONTHS[int(number) - 1]} {year}"


def inside(name: str) -> str:
    """Write a name of the plan inside a sentence.

    Only what looks like an English name loses its capital: codes and abbreviations keep it, and so does a
    name with letters of another tongue or with a capital in a later word.

    Examples
    --------
    >>> inside("Bending mandrel"), inside("F wrap"), inside("OD gauge")
    ('bending mandrel', 'F wrap', 'OD gauge')
    >>> inside("Leck Korpus"), inside("Rohr außen"), inside("Schw-2")
    ('Leck Korpus', 'Rohr außen', 'Schw-2')
    """
    first, *later = name.split() or [""]
    english = name.isascii() and first.isalpha() and first[1:].islower()
    if not english or any(word[0].isupper() and word[1:].islower() for word in later):
        return name
    return name[0].lower() + name[1:]


def is_plural(noun: str) -> bool:
    """Say whether a noun of the plan takes a plural verb, going by how an English one ends.

    Examples
    --------
    >>> is_plural("F wraps"), is_plural("Leck Korpus"), is_plural("Mass loss")
    (True, False, False)
    """
    return noun.endswith("s") and not noun.endswith(NO_PLURAL)


def named(name: str, own: str) -> str:
    """Write a name of the plan inside a sentence with the id behind it, once.

    Examples
    --------
    >>> named("Bending mandrel", "M-7"), named("Die DI-23", "DI-23")
    ('bending mandrel M-7', 'die DI-23')
    """
    return inside(name) if own in name.split() else f"{inside(name)} {own}"


def number_words(value: float) -> str:
    """Write a figure with as many places as its size makes sensible.

    Examples
    --------
    >>> number_words(22.93), number_words(0.0123), number_words(3.14), number_words(-0.4)
    ('23', '0.012', '3.1', '−0.4')
    """
    size = abs(value)
    if size >= 10 or size == 0:
        return places_words(value, 0)
    return places_words(value, 1 if size >= 0.1 else 1 - math.floor(math.log10(size)))


def figure_words(text: str) -> str:
    """Set a figure as people read it: below nought with a minus and no hyphen, nought without a sign.

    Examples
    --------
    >>> figure_words("-3.1"), figure_words("-0.00"), figure_words("+0.0"), figure_words("+0.2")
    ('−3.1', '0.00', '0.0', '+0.2')
    """
    if text[:1] not in "+-" or not text:
        return text
    return text[1:] if float(text) == 0 else text.replace("-", MINUS, 1)


def plain_words(value: float) -> str:
    """Write a figure of the plan, a limit or a target, with the places it was typed with.

    Examples
    --------
    >>> plain_words(-0.06), plain_words(-0.0), plain_words(14.05)
    ('−0.06', '0', '14.05')
    """
    return figure_words(f"{value:g}")


def places_words(value: float, places: int, *, signed: bool = False) -> str:
    """Write a figure with so many places, a deviation (`signed`) with its sign; nought has none.

    Examples
    --------
    >>> places_words(-0.04, 1), places_words(-3.14, 1), places_words(0.24, 1, signed=True)
    ('0.0', '−3.1', '+0.2')
    """
    return figure_words(f"{value:{'+' if signed else ''}.{places}f}")


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
    return places_words(value, max(0, -math.floor(math.log10(span / 50))))


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


def code_words(code: str) -> str:
    """Write a code of the plan for people: the hyphens and underscores that join its words go.

    Examples
    --------
    >>> code_words("bent-slide"), code_words("Zug verbogen")
    ('bent slide', 'Zug verbogen')
    """
    return code.replace("-", " ").replace("_", " ")


def whole_words(value: float) -> str:
    """Write a large number rounded to two figures, its thousands apart.

    Examples
    --------
    >>> whole_words(261.3), whole_words(14251.0)
    ('260', '14 000')
    """
    size = max(0, math.floor(math.log10(abs(value))) - 1) if value else 0
    return f"{round(value / 10**size) * 10**size:,}".replace(",", " ")


def count_words(number: int, one: str, many: str = "") -> str:
    """Write a number of things; `many` is their name where an s alone does not make it.

    Examples
    --------
    >>> count_words(1, "day"), count_words(0, "day"), count_words(2, "series", "series")
    ('1 day', '0 days', '2 series')
    """
    return f"{number} {one if number == 1 else many or one + 's'}"


def pieces_words(number: int) -> str:
    """Write a number of pieces.

    Examples
    --------
    >>> pieces_words(1), pieces_words(12)
    ('1 piece', '12 pieces')
    """
    return count_words(number, "piece")


def unanswered_words(settled: int) -> str:
    """Say how many series settled at a new level that nobody answered.

    Examples
    --------
    >>> unanswered_words(1), unanswered_words(2)
    ('1 series has settled at a new level unanswered', '2 series have settled at a new level unanswered')
    """
    if not settled:
        return ""
    verb = "has" if settled == 1 else "have"
    return f"{count_words(settled, 'series', 'series')} {verb} settled at a new level unanswered"


def passed_words(faults: float) -> str:
    """Say a figure that passes or fails: no fault, a fault, or the share of its readings that failed.

    Examples
    --------
    >>> passed_words(0.0), passed_words(1.0), passed_words(0.25)
    ('pass', 'fail', 'fail (25 % of its readings)')
    """
    if not faults:
        return "pass"
    return "fail" if faults >= 1 else f"fail ({100 * faults:.0f} % of its readings)"


def listed(words: Sequence[str]) -> str:
    """Join words as a person lists them.

    Examples
    --------
    >>> listed(["die"]), listed(["die", "gauge"]), listed(["die", "gauge", "batch"]), listed([])
    ('die', 'die and gauge', 'die, gauge and batch', '')
    """
    *first, last = words or [""]
    return f"{', '.join(first)} and {last}" if first else last


def some_of(names: Iterable[str], most: int = 8) -> str:
    """Return names joined by commas, cut after `most`.

    Examples
    --------
    >>> some_of(["a", "b", "c"], most=2), some_of([])
    ('a, b and 1 more', 'none')
    """
    known = list(names)
    rest = len(known) - most
    return ", ".join(known[:most] or ["none"]) + (f" and {rest} more" if rest > 0 else "")


def closest(typed: str, allowed: Sequence[str]) -> str:
    """Return the one allowed word that a mistyped one can stand for, empty where none or two are close.

    Examples
    --------
    >>> closest("tennor", ["tenor", "tenor-f", "alto"]), closest("BA", ["AB", "CD"]), closest("x", ["AB"])
    ('tenor', 'AB', '')
    """
    word = typed.casefold()
    letters = sorted(word)
    turned = [other for other in allowed if sorted(other.casefold()) == letters]
    if len(turned) == 1:  # short codes: the same letters in another order
        return turned[0]
    ranked = sorted(
        (
            (SequenceMatcher(None, word, other.casefold()).ratio(), other)
            for other in allowed
            if _may_be_close(word, other.casefold())
        ),
        reverse=True,
    )
    if not ranked or ranked[0][0] < CLOSE or (len(ranked) > 1 and ranked[0][0] - ranked[1][0] < APART):
        return ""
    return ranked[0][1]


def _may_be_close(word: str, other: str) -> bool:
    """Say whether two words could rank at all: a hundred times as quick as ranking them.

    No more letters can match than there are in the shorter one, or than the other one has at all.
    """
    least = (CLOSE - APART) * (len(word) + len(other)) / 2
    return min(len(word), len(other)) >= least and sum(letter in other for letter in word) >= least
