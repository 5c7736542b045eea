"""A serial unlike those on record: a letter for a digit, a prefix left off, a day or a word in its place.

Unlike `unknown_serial` this needs no prefix in the plan: how serials are written, which series there are and
that a series carries its year are learned from the pieces on record and on the upload's other cards.
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

import polars as pl

from qc.ingest.doubts.facts import Doubted, Doubts, Facts
from qc.ingest.doubts.record import Record, Serial, gather_record, taken_apart
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason

TOLD = 20
"""So many pieces with a figure say how serials are written there; chosen."""

SEVERAL = 3
"""A way of writing that so many pieces share is no slip; chosen."""

YEARED = 0.9
"""Of so many pieces the year in the serial must be that of their first card; chosen."""

AHEAD = 50
"""A piece may run so many numbers ahead of the others of its series; chosen, as in `unknown_serial`."""

SURE = 10
"""So many pieces of a series say how far it has got; chosen."""

LED = 12
"""So many pieces of a series that came after others say how far new ones run ahead of them; chosen."""

PAUSED = 2
"""So many times its pace a series may have gone on unseen while nothing of it came in; chosen."""

LOOKED_BACK = 300
"""Of so many of the newest pieces of a series it is looked up how far they ran ahead; chosen."""

FURTHER, LEAST = 3, 8
"""A piece is asked about that runs so many times as far ahead as two before it did, and so far at least;
chosen: of the strangers' workshops no right serial is asked about by this alone."""

COMING = 3
"""So many numbers ahead are what comes next; chosen."""

LIKE_DIGITS = str.maketrans(
    {
        "O": "0",
        "o": "0",
        "Q": "0",
        "I": "1",
        "L": "1",
        "l": "1",
        "i": "1",
        "S": "5",
        "B": "8",
        "Z": "2",
        "z": "2",
    }
)
_LETTERED_END = re.compile(r"(?P<head>.*?)(?P<end>(?=[OoIl]*\d)[\dOoIl]{2,})$")
"""A number at the end in which letters may stand that look most like digits."""

ASK = "Type the serial that stands on the piece; if it is right, confirm it."


@dataclass(frozen=True, slots=True)
class Series:
    """How serials are written: forms and their count, heads and their numbers, whether heads carry years."""

    forms: dict[str, int]
    heads: dict[str, list[int]]
    yeared: bool
    models: dict[str, set[str]]
    reach: dict[str, int]
    """How far each head has got: the highest number that others lead up to."""


@dataclass(frozen=True, slots=True)
class Lead:
    """How far the pieces of one series have run ahead of the next one below them when they first came."""

    numbers: list[int]
    furthest: list[tuple[int, int]]
    """How far the three that ran ahead furthest did, furthest first, each with its number."""

    pace: float
    """So many numbers a day the series goes on."""

    days: Mapping[int, date]
    """Number -> the day it first came."""

    def usual(self, number: int | None = None) -> int:
        """Return what two of them reached or passed, one piece left out: one alone may itself be a slip."""
        return [lead for lead, own in self.furthest if own != number][1]

    def below(self, parts: Serial) -> int | None:
        """Return the next number below that of a piece, None where there is none."""
        at = bisect_left(self.numbers, parts.number)
        return self.numbers[at - 1] if at else None

    def _gone_on_from(self, parts: Serial) -> bool:
        """Tell whether a piece follows that is as near as new ones are."""
        at = bisect_right(self.numbers, parts.number)
        return at < len(self.numbers) and self.numbers[at] - parts.number <= max(self.usual(parts.number), 1)

    def doubt(self, serial: str, parts: Serial, day: date) -> str | None:
        """Say what is odd about a new piece that runs far ahead of them on a day, None where nothing is.

        Where nothing came in for a while, so much more may have been made meanwhile. One that others go on
        from leads up to them: a card handed in late, the first piece of a card.
        """
        below = self.below(parts)
        if below is None or self._gone_on_from(parts):
            return None
        lead, usual = parts.number - below, self.usual(parts.number)
        newest = max(came for number, came in self.days.items() if number != parts.number)
        made = PAUSED * self.pace * max((day - newest).days, 0)
        if lead <= max(LEAST, FURTHER * usual, made):
            return None
        last = Serial(parts.head, below, parts.width).text()
        return (
            f"{serial} is {lead} numbers ahead of {last}, the next one below it on record; "
            f"new ones have run {usual} ahead at most"
        )


def find_leads(
    days: Mapping[str, Mapping[tuple[str, str], tuple[date, ...]]], *, beside: Iterable[str] = ()
) -> dict[str, Lead]:
    """Learn for each series how far new pieces run ahead; series of few pieces are left out.

    Parameters
    ----------
    days : mapping of serial to mapping of figure to tuple of date
        As in `Record`.
    beside : iterable of str
        Further serials that are there, whatever becomes of them: nothing is learned from them.

    Examples
    --------
    >>> first = date(2026, 3, 2).toordinal()
    >>> days = {f"HL-{n}": {("draw", "bore"): (date.fromordinal(first + n),)} for n in range(100, 122)}
    >>> find_leads(days)["HL-"].usual()
    1
    """
    came: dict[str, list[tuple[date, int]]] = defaultdict(list)
    for serial, figures in days.items():
        parts = taken_apart(serial)
        if parts is not None:
            came[parts.head].append((min(taken[0] for taken in figures.values()), parts.number))
    others: dict[str, set[int]] = defaultdict(set)
    for parts in filter(None, map(taken_apart, beside)):
        others[parts.head].add(parts.number)
    found = {}
    for head, pieces in came.items():
        ordered = sorted(pieces)
        numbers = sorted(number for _, number in ordered[:-LOOKED_BACK])
        leads = []
        for _, number in ordered[-LOOKED_BACK:]:
            at = bisect_left(numbers, number)
            if at:
                leads.append((number - numbers[at - 1], number))
            numbers.insert(at, number)
        if len(leads) >= LED:
            span = max((ordered[-1][0] - ordered[-LOOKED_BACK:][0][0]).days, 1)
            leads.sort(reverse=True)
            pace = leads[(len(leads) - 1) // 2][0] * len(leads) / span
            there = sorted({*numbers, *others[head]})
            found[head] = Lead(there, leads[:3], pace, {number: day for day, number in ordered})
    return found


def form(serial: str) -> str:
    """Return how a serial is written: A for a capital letter, a for a small one, 0 for a digit.

    Examples
    --------
    >>> form("PX26-07")
    'AA00-00'
    """
    return re.sub(r"[^\W\d_]", lambda m: "A" if m[0].isupper() else "a", re.sub(r"\d", "0", serial))


def find_serial_series(facts: Facts, doubted: Doubts) -> Doubted:
    """Find serials that are not on record and do not go on a series that is."""
    if facts.readings.is_empty() and facts.events.is_empty():
        return Doubted()
    found: list[Finding] = []
    fresh = facts.readings.filter(
        (pl.col("serial") != "")
        & ~pl.col("serial").is_in(list(facts.known.serials))
        & ~pl.col(INDEX).is_in(list(doubted))
    )
    if fresh.is_empty():
        return Doubted()
    record = gather_record(facts, doubted)
    # the rows beside it are there, though another figure of theirs may be in doubt or they wait for an answer
    beside = {*facts.readings["serial"].unique().to_list(), *facts.known.waiting}
    leads = find_leads(record.days, beside=beside)
    named = facts.readings.group_by("serial").agg(pl.col("_part").n_unique())
    cards: dict[str, int] = dict(named.iter_rows())
    for (stage, name), group in fresh.group_by(["stage", "characteristic"], maintain_order=True):
        figure = (str(stage), str(name))
        series = _series(record, figure)
        told = series is not None and sum(series.forms.values()) >= TOLD
        pieces = group.group_by(["serial", "model", "day"], maintain_order=True).agg(INDEX)
        for serial, model, day, rows in pieces.iter_rows():
            if day is None:
                continue
            said = _doubt(str(serial), day, series) if series is not None and told else None
            top = None
            if said is None and cards[str(serial)] == 1:  # a slip stands on one card
                said, top = _far_ahead(str(serial), day, leads)
            letter = None
            if said is None and cards[str(serial)] == 1:
                said, letter = _letter_for_digit(str(serial), record)
            if said is None:
                continue
            guesses = [letter] if letter else []
            if series is not None and not letter:  # looked for only now: it takes a walk through the record
                guesses = _guesses(str(serial), str(model or ""), day, figure, series, record)
            if top is not None:
                guesses = [one for one in guesses if (meant := taken_apart(one)) and meant.number <= top]
            found += _findings(rows, said, guesses)
    return Doubted(found)


def _far_ahead(serial: str, day: date, leads: Mapping[str, Lead]) -> tuple[str | None, int | None]:
    """Say that a new piece runs far ahead of its series, and up to which number it may be meant."""
    parts = taken_apart(serial)
    lead = leads.get(parts.head) if parts is not None else None
    if parts is None or lead is None:
        return None, None
    return lead.doubt(serial, parts, day), (lead.below(parts) or 0) + COMING


def _letter_for_digit(serial: str, record: Record) -> tuple[str | None, str | None]:
    """Say that a letter stands among the digits of a serial where others of its head have none.

    With it comes the serial that is meant. A few pieces tell that, of whatever figure: nobody numbers one
    piece B 11O beside B 109 and B 111.
    """
    found = _LETTERED_END.match(serial)
    if found is None or found["end"].isdecimal():
        return None, None
    head, meant = found["head"], found["head"] + found["end"].translate(LIKE_DIGITS)
    others = (one for one in record.days if one.startswith(head) and one != serial)
    beside = [one for one in others if len(one) == len(serial)]
    alike = [one for one in beside if one[len(head) :].isdecimal()]
    if len(alike) < SEVERAL or any(form(one) == form(serial) for one in beside):
        return None, None
    return f"{serial} has a letter where {alike[-1]} and others have digits", meant


def _findings(rows: list[int], problem: str, guesses: list[str]) -> list[Finding]:
    proposal: dict[str, object] = {"serial": guesses[0]} if len(guesses) == 1 else {}
    mend = ASK
    if guesses:
        mend = f"If {' or '.join(guesses[:3])} is meant, accept or type it; else confirm the serial."
    return [Finding(index, Reason.UNKNOWN_SERIAL, problem, mend, proposal) for index in rows]


def _series(record: Record, figure: tuple[str, str]) -> Series | None:
    """Learn the series from the pieces that have the figure; None where all are unlike."""
    pieces = {s: days for s, days in record.days.items() if figure in days}
    forms: dict[str, int] = defaultdict(int)
    heads: dict[str, list[int]] = defaultdict(list)
    models: dict[str, set[str]] = defaultdict(set)
    right = wrong = 0
    for serial, days in pieces.items():
        forms[form(serial)] += 1
        parts = taken_apart(serial)
        if parts is None:
            continue
        heads[parts.head].append(parts.number)
        models[parts.head].add(record.models.get(serial, ""))
        year = parts.year()
        first = min(d[0] for d in days.values())
        if year is not None:
            right, wrong = right + (year == first.year), wrong + (year != first.year)
    usual = sum(count for count in forms.values() if count >= SEVERAL)
    if usual < 0.9 * len(pieces):
        return None
    yeared = right >= TOLD and right >= YEARED * (right + wrong)
    ordered = {head: sorted(numbers) for head, numbers in heads.items()}
    reach = {head: _reach(numbers) for head, numbers in ordered.items()}
    return Series(dict(forms), ordered, yeared, dict(models), reach)


def _doubt(serial: str, day: date, series: Series) -> str | None:
    parts = taken_apart(serial)
    if series.forms.get(form(serial), 0) < SEVERAL:
        # a series may grow by a digit: 999 is followed by 1000
        numbers = series.heads.get(parts.head, []) if parts else []
        if (
            parts
            and len(numbers) >= SEVERAL
            and numbers[0] <= parts.number <= series.reach[parts.head] + AHEAD
        ):
            return None
        usual = max(series.heads, key=lambda head: len(series.heads[head]), default="")
        return f"{serial} is not written like the serials on record ({usual}...)"
    if parts is None:
        return None
    if series.yeared:
        year = parts.year()
        if year is not None and year > day.year and len(series.heads.get(parts.head, [])) < SEVERAL:
            return f"{serial} is of the series of {year}, and the day is {day}"
    # a piece far ahead stands behind a gap and adds nothing to how far its series has got
    numbers, reach = series.heads.get(parts.head, []), series.reach.get(parts.head, parts.number)
    if parts.number > reach + AHEAD and len(numbers) - numbers.count(parts.number) >= SURE:
        newest = Serial(parts.head, reach, parts.width).text()
        return f"{serial} lies far ahead of its series, which has got to {newest}"
    return None


def _reach(numbers: list[int]) -> int:
    """Return the highest number that others lead up to: one far ahead is not its own measure."""
    reach = numbers[0]
    for number in numbers:
        if number - reach > AHEAD and number != numbers[0]:
            break
        reach = number
    return reach


def _guesses(
    serial: str, model: str, day: date, figure: tuple[str, str], series: Series, record: Record
) -> list[str]:
    """Return what may be meant, from one slip of the hand, of what waits for such a card or comes next."""
    waiting = set(record.waiting(figure, model, day))
    if not record.before(figure[0], serial):
        waiting |= _coming(model, day, series)
    options = set(slips(serial, series.heads, day))
    return sorted(options & waiting)


def _coming(model: str, day: date, series: Series) -> set[str]:
    """Return the next serials of each series in use that makes the model."""
    found = set()
    for head, numbers in series.heads.items():
        if len(numbers) < SEVERAL or (model and model not in series.models[head]):
            continue
        reach = series.reach[head]
        width = 2
        taken = set(numbers)
        for number in range(min(numbers), reach + COMING + 1):
            parts = Serial(head, number, max(width, len(str(reach))))
            if number not in taken and (not series.yeared or parts.year() in (None, day.year)):
                found.add(parts.text())
    return found


def slips(serial: str, heads: Iterable[str], day: date) -> Iterable[str]:
    """Yield the serials that one slip of the hand makes this one of."""
    heads = list(heads)
    tidy = serial.strip().upper()
    yield tidy
    parts = taken_apart(tidy)
    for head in heads:
        # letters that look like digits, in the head or in the number
        if len(tidy) > len(head):
            number = tidy[len(head) :].translate(LIKE_DIGITS)
            same = tidy[: len(head)].translate(LIKE_DIGITS) == head.upper().translate(LIKE_DIGITS)
            if same and number.isdecimal():
                yield head + number
        if parts is None:
            continue
        digits = tidy[len(parts.head) :]
        missing = len(head) > len(parts.head) and (head.endswith(parts.head) or _left_out(parts.head, head))
        other = form(head) == form(parts.head)
        if missing or other:
            yield head + digits
        if head == parts.head:
            for at in range(len(digits) - 1):
                yield head + digits[:at] + digits[at + 1] + digits[at] + digits[at + 2 :]
            for at in range(len(digits)):
                yield from (head + digits[:at] + d + digits[at + 1 :] for d in "0123456789")
    if parts is not None and parts.year() is not None:
        yield parts.with_year(day.year)


def _left_out(short: str, whole: str) -> bool:
    """Tell whether one letter or two left out of a head give another."""
    if not 0 < len(whole) - len(short) <= 2:
        return False
    letters = iter(whole)
    return all(letter in letters for letter in short)
