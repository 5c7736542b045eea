"""A piece that comes to a stage, or is shipped, although nothing that comes before is on record.

Nearly every piece has its earlier cards by then; one that has none and whose number lies among the others or
ahead of them is more likely another piece with a slip in its serial.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection

import polars as pl

from qc.ingest.doubts.facts import Doubted, Doubts, Facts
from qc.ingest.doubts.pieces.serial_series import ASK, slips
from qc.ingest.doubts.record import TOLD, Record, Serial, gather_record, taken_apart
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason

SEVERAL = 2
"""A piece that lacks so many of the stages before is odd where a serial like its own waits; chosen."""


BELOW = 10
"""So many numbers below a serial tell whether its series is given out without gaps; chosen."""

GAPS = 1
"""So many of them may be missing; chosen."""

NEXT_TO = 5
"""So many numbers below that of a part, all but one of them measured, and one above it, say that parts of its
kind are measured before they are built in; chosen."""


def find_never_begun(facts: Facts, doubted: Doubts) -> Doubted:
    """Find pieces without the cards that nearly all others have by then."""
    record = gather_record(facts, doubted)
    lowest = _lowest(record)
    return Doubted(
        _readings(facts, doubted, record, lowest), _shipped(facts, record, lowest) + _fitted(facts, record)
    )


def _lowest(record: Record) -> dict[str, int]:
    """Return the lowest number of each series that the record has; older pieces were begun before it."""
    numbers: dict[str, int] = {}
    for serial, figures in record.days.items():
        parts = taken_apart(serial)
        if parts is None or len(figures) < 2:
            continue
        numbers[parts.head] = min(parts.number, numbers.get(parts.head, parts.number))
    return numbers


def _readings(facts: Facts, doubted: Doubts, record: Record, lowest: dict[str, int]) -> list[Finding]:
    if facts.readings.is_empty():
        return []
    rows = facts.readings.filter(
        (pl.col("serial") != "") & pl.col("day").is_not_null() & ~pl.col(INDEX).is_in(list(doubted))
    )
    # a slip stands on one card: where two cards of an upload name the piece, its first card was not handed in
    named = facts.readings.group_by("serial").agg(pl.col("_part").n_unique())
    cards: dict[str, int] = dict(named.iter_rows())
    found = []
    heads = {p.head for s in record.days if (p := taken_apart(s)) is not None}
    letters = {p.letters() for s in record.days if (p := taken_apart(s)) is not None}
    numbers = {head: set(of) for head, of in record.numbers().items()}
    alone: dict[tuple[int, str], dict[str, list[Finding]]] = defaultdict(lambda: defaultdict(list))
    keys = ["serial", "stage", "characteristic", "model", "day"]
    of_cards = rows.group_by(keys, maintain_order=True).agg(INDEX, pl.col("_part").first())
    for serial, stage, name, model, day, own, part in of_cards.iter_rows():
        if not record.before(str(stage), str(serial)):
            continue
        parts = taken_apart(str(serial))
        missing = record.missing(str(serial), str(stage))
        if parts is None or not missing:
            continue
        waiting = set(record.waiting((str(stage), str(name)), str(model or ""), day, (str(serial),)))
        guesses = sorted(set(slips(str(serial), heads, day)) & waiting)
        begun = any(at != stage for at, _ in record.days.get(str(serial), {}))
        if begun:
            # one card may come late; several are odd where a piece with a serial like its own waits
            if not guesses or len(missing) < SEVERAL:
                continue
        elif _is_older(parts, lowest, letters):
            guesses = [guess for guess in guesses if _is_likely(str(serial), guess)]
            if not guesses:
                continue
        elif _goes_on(parts, numbers):
            continue
        words = " or ".join(missing)
        problem = (
            f"{serial} comes to {stage} and has no card of {words}, which nearly every piece has by then"
        )
        mend = (
            f"If {' or '.join(guesses[:3])} is meant, accept or type it; else confirm it." if guesses else ASK
        )
        proposal: dict[str, object] = {"serial": guesses[0]} if len(guesses) == 1 else {}
        said = [Finding(index, Reason.NEVER_BEGUN, problem, mend, proposal) for index in own]
        if guesses:
            found += said
        elif cards[str(serial)] == 1:
            alone[(part, str(stage))][str(serial)] += said
    # where several pieces of one sheet have no card of before, that card comes late and no serial is wrong
    for pieces in alone.values():
        found += [finding for said in pieces.values() for finding in said if len(pieces) == 1]
    return found


def _fitted(facts: Facts, record: Record) -> list[Finding]:
    """Find a part that was never measured, although those with the numbers around its own were.

    Where several of one list are like that, their card comes late and nothing is asked.
    """
    if facts.events.is_empty():
        return []
    rows = facts.events.filter((pl.col("kind") == "part") & (pl.col("subject") != ""))
    numbers = {head: set(of) for head, of in record.numbers().items()}
    # a card whose rows are in doubt is there, whatever becomes of them
    there = {*record.days, *facts.known.serials, *facts.known.stays, *facts.known.waiting}
    there |= set(facts.readings["serial"])
    found: dict[int, list[Finding]] = defaultdict(list)
    for row in rows.to_dicts():
        part, parts = row["subject"], taken_apart(row["subject"])
        if parts is None or part in there:
            continue
        own = numbers.get(parts.head, set())
        below = sum(n in own for n in range(parts.number - NEXT_TO, parts.number))
        if below < NEXT_TO - GAPS or max(own) < parts.number:
            continue
        problem = f"{part} is built into {row['serial']} and has no card on record, as those around it have"
        mend = (
            "Look for a card with a slip in its serial, and put that right (qc correct). If the serial "
            "here is the slip, type the one on the part; else confirm it."
        )
        found[row["_part"]].append(Finding(row[INDEX], Reason.NEVER_BEGUN, problem, mend))
    return [said[0] for said in found.values() if len(said) == 1]


def _is_older(parts: Serial, lowest: dict[str, int], letters: Collection[str]) -> bool:
    """Tell whether a piece may have been begun before the record was: below its series, or of one unknown.

    A series whose letters nobody has used is no older one.
    """
    if parts.head not in lowest:
        return parts.letters() in letters or not letters
    return parts.number <= lowest[parts.head]


def _goes_on(parts: Serial, numbers: dict[str, set[int]]) -> bool:
    """Tell whether a serial is the next of a series without gaps: that piece is there, its first card late.

    The pieces that wait have numbers like its own then, since all of them are neighbours.
    """
    own = numbers.get(parts.head, set())
    below = range(max(1, parts.number - BELOW), parts.number)
    return len(below) == BELOW and sum(n not in own for n in below) <= GAPS


def _is_likely(serial: str, guess: str) -> bool:
    """Tell whether a serial is another but for its series, or for two digits changed over."""
    one, two = taken_apart(serial), taken_apart(guess)
    if one is None or two is None:
        return False
    return one.number == two.number or (one.head == two.head and sorted(serial) == sorted(guess))


def _shipped(facts: Facts, record: Record, lowest: dict[str, int]) -> list[Finding]:
    if facts.events.is_empty() or len(record.days) < TOLD:
        return []
    gone = facts.events.filter((pl.col("kind") == "shipped") & (pl.col("serial") != ""))
    found = []
    for row in gone.to_dicts():
        parts = taken_apart(row["serial"])
        if row["serial"] in record.days or row["serial"] in facts.known.serials:
            continue
        if parts is None or parts.number <= lowest.get(parts.head, parts.number):
            continue
        problem = f"{row['serial']} is shipped and has no card on record"
        found.append(Finding(row[INDEX], Reason.NEVER_BEGUN, problem, ASK))
    return found
