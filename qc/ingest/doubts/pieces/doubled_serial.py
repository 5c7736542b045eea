"""One serial on two cards of a stage while its neighbour has none: two digits were changed over.

A piece may be measured again, so a serial that comes twice is in doubt only where a very similar serial is
missing at that stage although other stages know it, and the row stands where that serial would stand.
"""

from __future__ import annotations

from collections import defaultdict

import polars as pl

from qc.ingest.doubts.facts import Doubted, Doubts, Facts
from qc.ingest.doubts.record import taken_apart
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason

BLOCK = ["_part", "card", "serial"]


def find_doubled_serial(facts: Facts, doubted: Doubts) -> Doubted:
    """Find cards that carry a neighbour's serial, and pieces shipped twice."""
    return Doubted(_mistaken(facts, doubted), _shipped_twice(facts))


def _mistaken(facts: Facts, doubted: Doubts) -> list[Finding]:
    # a piece may be measured twice; only a missing neighbour whose days fit better makes it a slip
    if facts.readings.is_empty():
        return []
    sound = facts.readings.filter((pl.col("serial") != "") & ~pl.col(INDEX).is_in(list(doubted)))
    blocks = sound.group_by(BLOCK, maintain_order=True).agg(pl.col("day").min(), pl.col(INDEX))
    seen: dict[str, set[str]] = defaultdict(set)
    days: dict[str, list[int]] = defaultdict(list)
    for _, card, serial, day, _ in blocks.rows():
        seen[serial].add(card)
        if day is not None:
            days[serial].append(day.toordinal())
    found = []
    for (card, serial), group in blocks.group_by(["card", "serial"], maintain_order=True):
        if group.height < 2:
            continue
        for other in sorted(
            s for s in seen if card not in seen[s] and len(seen[s]) > 1 and is_slip(s, str(serial))
        ):
            for row in group.to_dicts():
                if row["day"] is not None and _belongs(
                    row["day"].toordinal(), days[other], days[str(serial)]
                ):
                    problem = (
                        f"{serial} has two such cards, and {other}, which fits this day better, has none"
                    )
                    mend = f"If {other} was measured, accept that serial; else confirm {serial}."
                    found += [
                        Finding(index, Reason.DOUBLED_SERIAL, problem, mend, {"serial": other})
                        for index in row[INDEX]
                    ]
    return found


def is_slip(one: str, other: str) -> bool:
    """Tell whether two serials differ by one digit or by two neighbouring digits changed over.

    Examples
    --------
    >>> is_slip("QH-1021", "QH-1012"), is_slip("QH-1021", "QH-1121"), is_slip("QH-1021", "QH-1132")
    (True, True, False)
    """
    first, second = taken_apart(one), taken_apart(other)
    if first is None or second is None or (first.head, first.width) != (second.head, second.width):
        return False
    digits = [serial.text().removeprefix(serial.head) for serial in (first, second)]
    at = [i for i, (a, b) in enumerate(zip(*digits, strict=True)) if a != b]
    if len(at) == 1:
        return True
    swapped = len(at) == 2 and at[1] == at[0] + 1
    return swapped and digits[0][at[0]] == digits[1][at[1]] and digits[0][at[1]] == digits[1][at[0]]


def _belongs(day: int, of_other: list[int], of_own: list[int]) -> bool:
    """Tell whether a day lies among the days of the other serial and clearly outside those of its own."""
    if not of_other:
        return False
    near_other = min(abs(day - d) for d in of_other)
    others = [d for d in of_own if d != day]
    near_own = min((abs(day - d) for d in others), default=0)
    return near_other <= 21 and near_own > 2 * max(near_other, 7)


def _shipped_twice(facts: Facts) -> list[Finding]:
    """Hold a second shipping of a piece that did not come back in between."""
    found = []
    moves = facts.events.filter(pl.col("kind").is_in(["shipped", "returned"]) & (pl.col("serial") != ""))
    away = {serial: f"on {day}" for serial, day in facts.known.left.items()}
    for row in moves.sort("day", INDEX, nulls_last=True).to_dicts():
        if row["kind"] == "returned":
            away.pop(row["serial"], None)
        elif row["serial"] not in away:
            away[row["serial"]] = f"at {row['file']}, {row['cell']}"
        elif away[row["serial"]] != f"on {row['day']}":
            problem = f"{row['serial']} was shipped already, {away[row['serial']]}, and has not come back"
            mend = "Check the serial, or enter the return first."
            found.append(Finding(row[INDEX], Reason.DOUBLED_SERIAL, problem, mend))
    return found
