"""A serial that is not written like the others, or lies far outside their run."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

import polars as pl

from qc.ingest.cells import is_serial_range, is_written_day
from qc.ingest.doubts.facts import Doubted, Doubts, Facts
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason
from qc.plan import TUBE_FIGURES

AHEAD = 50
"""A new piece may run so many numbers ahead of those seen on two cards or on record; chosen, what a small
shop makes in some months."""

ENOUGH = 10
"""So many established serials say where the run lies; chosen."""

MOSTLY = 0.8
"""A card of which this share of serials carries the shop's prefix is about instruments; chosen, so that a few
slips do not hide it."""

LOOKALIKES = str.maketrans({"O": "0", "Q": "0", "I": "1", "L": "1", "S": "5", "B": "8", "Z": "2"})
_ALWAYS_INSTRUMENTS = frozenset({"tuning", "lacquer", "shipped", "returned", "play-test"})
"""Sources and events whose serial is always an instrument's; elsewhere it may be a loose tube's."""

_BOTH_SIDES = frozenset(TUBE_FIGURES)
_EVENTS = ["part", "shipped", "returned", "play-test", "rework"]


@dataclass(frozen=True, slots=True)
class Run:
    """How serials of instruments are written and where their run lies."""

    prefix: str
    width: int
    established: frozenset[int]

    def number(self, serial: str) -> int | None:
        """Return the number of a serial written the usual way, None for any other."""
        digits = serial.removeprefix(self.prefix)
        if not serial.startswith(self.prefix) or len(digits) != self.width or not digits.isdecimal():
            return None
        return int(digits)

    def write(self, number: int) -> str:
        """Return the serial of a number."""
        return f"{self.prefix}{number:0{self.width}d}"


def find_unknown_serial(facts: Facts, doubted: Doubts) -> Doubted:
    """Find serials that cannot be those of an instrument of the shop."""
    run = _run(facts)
    events = facts.events.filter(pl.col("kind").is_in(_EVENTS))
    readings, told = _no_piece(facts.readings, facts), _no_piece(events, facts)
    if run is not None:
        readings += _strange(facts.readings, run, facts)
        told += _strange(events, run, facts)
    readings += _bare_cards(facts.readings, run, facts, {finding.index for finding in readings})
    return Doubted(readings, told)


def _bare_cards(rows: pl.DataFrame, run: Run | None, facts: Facts, told: set[int]) -> list[Finding]:
    """Find cards that give every piece by its number alone, where the plan says how serials begin.

    Loose tubes may be numbered so: once one such number stands on record, numbers are serials of their own.
    """
    prefix = facts.plan.workshop.serial_prefix
    if not prefix or any(map(str.isdecimal, facts.known.serials)):
        return []
    found = []
    named = rows.filter((pl.col("serial") != "") & ~pl.col(INDEX).is_in(list(told)))
    for _, group in named.group_by(["card"], maintain_order=True):
        serials = group["serial"].unique(maintain_order=True).to_list()
        if not all(map(str.isdecimal, serials)):
            continue
        for serial in serials:
            whole = _whole(serial, run, facts)
            problem = f"{serial} is a number without the {prefix} that the shop's serials begin with"
            mend = f"If {whole} is meant, accept it; else type the serial on the piece." if whole else _ASK
            proposal: dict[str, object] = {"serial": whole} if whole else {}
            for index in group.filter(pl.col("serial") == serial)[INDEX]:
                found.append(Finding(index, Reason.UNKNOWN_SERIAL, problem, mend, proposal))
    return found


def _whole(number: str, run: Run | None, facts: Facts) -> str:
    """Return the one serial that a number can stand for: on record, else the next of the run; else empty."""
    prefix = facts.plan.workshop.serial_prefix
    ends = {s for s in facts.known.serials if s.startswith(prefix) and s.endswith(number)}
    exact = {s for s in ends if not s.removesuffix(number)[-1:].isdecimal()} or ends
    if len(exact) == 1:
        return next(iter(exact))
    if exact:
        return ""
    if run is not None and len(number) == run.width:
        return run.write(int(number))
    return prefix + number if run is None and prefix[-1] in _SIGNS else ""


def _no_piece(rows: pl.DataFrame, facts: Facts) -> list[Finding]:
    """Find rows said to be of several pieces or of a day: which one was measured only the bench knows."""
    found = []
    for index, serial in rows.select(INDEX, "serial").iter_rows():
        if serial in facts.known.serials:
            continue
        if is_serial_range(serial) or _counts_on(serial, facts.plan.workshop.serial_prefix):
            problem = f"{serial} names several pieces, and a row is of one"
            mend = "Type the serial of the piece that was measured; give each piece a row of its own."
        elif is_written_day(serial):
            problem = f"{serial} is a day, and stands where the serial belongs"
            mend = _ASK
        else:
            continue
        found.append(Finding(index, Reason.UNKNOWN_SERIAL, problem, mend))
    return found


def _counts_on(serial: str, prefix: str) -> bool:
    """Tell whether two running numbers stand behind the shop's prefix, the second a little further on."""
    first, dash, last = serial.removeprefix(prefix).lstrip(_SIGNS).partition("-")
    if not (prefix and serial.startswith(prefix) and first.isdecimal() and last.isdecimal()):
        return False
    return len(first) == len(last) >= 3 and 0 < int(last) - int(first) <= AHEAD


def _run(facts: Facts) -> Run | None:
    """Learn the way of writing from the record and the upload; None where the plan names no prefix."""
    prefix = facts.plan.workshop.serial_prefix
    if not prefix:
        return None
    columns = ["serial", "card"]
    rows = pl.concat([facts.readings.select(columns), facts.events.select(columns)]).unique()
    cards = Counter(serial for serial, _ in rows.rows() if serial.startswith(prefix))
    serials = [*cards, *(s for s in facts.known.serials if s.startswith(prefix))]
    prefix = _as_written(prefix, serials)
    widths = Counter(len(s) - len(prefix) for s in serials if s.removeprefix(prefix).isdecimal())
    if not widths:
        return None
    run = Run(prefix, widths.most_common(1)[0][0], frozenset())
    sure = [s for s, count in cards.items() if count > 1] + list(facts.known.serials)
    numbers = frozenset(n for s in sure if (n := run.number(s)) is not None)
    return Run(prefix, run.width, numbers)


def _as_written(prefix: str, serials: Iterable[str]) -> str:
    """Return the plan's prefix with the sign that serials have behind it: HL in the plan, HL-205 on cards."""
    rests = (serial.removeprefix(prefix) for serial in serials)
    signs = Counter(rest[: len(rest) - len(rest.lstrip(_SIGNS))] for rest in rests)
    return prefix + (signs.most_common(1)[0][0] if signs else "")


def _strange(rows: pl.DataFrame, run: Run, facts: Facts) -> list[Finding]:
    # a card of loose tubes carries serials of its own kind; there only what must be an instrument is
    # asked about
    found = []
    told = [finding.index for finding in _no_piece(rows, facts)]
    named = rows.filter((pl.col("serial") != "") & ~pl.col(INDEX).is_in(told))
    for (card,), group in named.group_by(["card"], maintain_order=True):
        serials = group["serial"].unique(maintain_order=True).to_list()
        fitting = sum(run.number(s) is not None or s in facts.known.serials for s in serials)
        prefixed = sum(s.upper().startswith(run.prefix.upper()) for s in serials)
        if prefixed < MOSTLY * len(serials) and fitting < MOSTLY * len(serials):
            bare = [s for s in serials if _is_bare(s, run)] if 2 * fitting >= len(serials) else []
            serials = list(dict.fromkeys([*_instruments(str(card), group, facts), *bare]))
        tubes = _loose_tubes(group, run)
        for serial in serials:
            if serial in tubes:
                continue
            problem = _doubt(serial, run, facts)
            if problem is None:
                continue
            guess = _between_neighbours(serial, group, run) or _rewritten(serial, run, frozenset(serials))
            proposal: dict[str, object] = {"serial": guess} if guess else {}
            mend = f"If {guess} is meant, accept it; else type the serial on the piece." if guess else _ASK
            for index in group.filter(pl.col("serial") == serial)[INDEX]:
                found.append(Finding(index, Reason.UNKNOWN_SERIAL, problem, mend, proposal))
    return found


def _loose_tubes(group: pl.DataFrame, run: Run) -> frozenset[str]:
    """Return the tubes of a rack that came together with whole slides: several of one side, begun alike."""
    if "characteristic" not in group.columns:
        return frozenset()
    sides = group.group_by("serial").agg(pl.col("characteristic").unique()).rows()
    alone = [serial for serial, read in sides if len(_BOTH_SIDES & set(read)) == len(set(read)) == 1]
    begun = {serial: serial.rstrip("0123456789") for serial in alone if run.number(serial) is None}
    often = Counter(begun.values())
    ours = run.prefix.translate(LOOKALIKES).casefold()
    return frozenset(
        serial
        for serial, begin in begun.items()
        if often[begin] > 1
        and begin
        and begin.translate(LOOKALIKES).casefold() not in {ours, ours.strip(_SIGNS)}
    )


def _is_bare(serial: str, run: Run) -> bool:
    """Tell whether a serial is a number of the run whose prefix was left off: 206 beside HL-205."""
    return serial.isdecimal() and len(serial) == run.width


def _instruments(card: str, group: pl.DataFrame, facts: Facts) -> list[str]:
    """Return the serials that can only be instruments', although most of the card is written otherwise."""
    kinds = {kind for c in facts.plan.cards if c.id == card for kind in (c.source, c.event) if kind}
    serials: list[str] = group["serial"].unique(maintain_order=True).to_list()
    if kinds & _ALWAYS_INSTRUMENTS:
        return serials
    if "characteristic" not in group.columns:
        return []
    read = {serial: set(rows["characteristic"]) for (serial,), rows in group.group_by(["serial"])}
    return [serial for serial in serials if read[serial] >= _BOTH_SIDES]


def _doubt(serial: str, run: Run, facts: Facts) -> str | None:
    if serial in facts.known.serials:
        return None
    number = run.number(serial)
    if number is None:
        return f"{serial} is not written like the shop's serials ({run.prefix}{'0' * run.width})"
    numbers = run.established
    if len(numbers) < ENOUGH or number in numbers:
        return None
    if min(numbers) - AHEAD <= number <= max(numbers) + AHEAD:
        return None
    span = f"{run.write(min(numbers))} to {run.write(max(numbers))}"
    return f"{serial} lies far outside the shop's serials, {span}"


_SIGNS = "-/. _"
_ASK = "Type the serial that stands on the piece."


def _between_neighbours(serial: str, group: pl.DataFrame, run: Run) -> str:
    """Return the one serial missing between the rows above and below, empty where none or several are."""
    part = group.filter(pl.col("serial") == serial)["_part"][0]
    order = group.filter(pl.col("_part") == part)["serial"].unique(maintain_order=True).to_list()
    at = order.index(serial)
    if not 0 < at < len(order) - 1:
        return ""
    above, below = run.number(order[at - 1]), run.number(order[at + 1])
    if above is None or below is None:
        return ""
    used = set(group["serial"])
    missing = [n for n in range(min(above, below) + 1, max(above, below)) if run.write(n) not in used]
    return run.write(missing[0]) if len(missing) == 1 else ""


def _rewritten(serial: str, run: Run, used: frozenset[str]) -> str:
    """Return the one serial a mistyped one can only stand for, empty where there is none."""
    if _is_bare(serial, run):
        whole = run.write(int(serial))
        return "" if whole in used else whole
    tidy = re.sub(r"[\s_–—]", "-", serial.strip().upper())
    letters = run.prefix.rstrip("-").upper()
    if not tidy.startswith(letters):
        return ""
    digits = tidy[len(letters) :].strip("-").translate(LOOKALIKES)
    options = [digits] if len(digits) == run.width else list(_without_one(digits, run.width))
    numbers = {run.write(int(d)) for d in options if d.isdecimal() and _in_run(int(d), run)} - used
    return numbers.pop() if len(numbers) == 1 else ""


def _without_one(digits: str, width: int) -> Iterable[str]:
    if len(digits) == width + 1:
        yield from {digits[:at] + digits[at + 1 :] for at in range(len(digits))}


def _in_run(number: int, run: Run) -> bool:
    if len(run.established) < ENOUGH:
        return True
    return min(run.established) <= number <= max(run.established) + AHEAD
