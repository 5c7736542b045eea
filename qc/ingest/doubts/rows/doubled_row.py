"""A row typed twice on one sheet, or one place of a piece with two figures on it."""

from __future__ import annotations

from itertools import pairwise, permutations, product

import polars as pl

from qc.ingest.doubts.facts import Doubted, Doubts, Facts
from qc.ingest.frames import INDEX
from qc.ingest.known import IDENTITY
from qc.ingest.reasons import Finding, Reason
from qc.plain import FrameRow
from qc.plan import PLACE, Plan

WHOLE = frozenset(name for name, kind in PLACE.items() if kind == "int")
"""Places that are whole numbers."""

FEWEST = 4
"""So many rows of a figure on one card show in which order its places go; chosen."""

SAME_EVENT = ["_part", "kind", "serial", "subject", "code", "day", "text", "stage"]


def find_doubled_row(facts: Facts, doubted: Doubts) -> Doubted:
    """Find rows of one sheet that speak of the same measurement or event."""
    return Doubted(_readings(facts, doubted), _events(facts.events))


def _readings(facts: Facts, doubted: Doubts) -> list[Finding]:
    readings = facts.readings
    if readings.is_empty():
        return []
    at = ["_part", *IDENTITY]
    sound = readings.filter((pl.col("serial") != "") & ~pl.col(INDEX).is_in(list(doubted)))
    twice = sound.with_columns(pl.len().over(at).alias("_times")).filter(pl.col("_times") > 1)
    found = []
    for _, group in twice.group_by(at, maintain_order=True):
        rows = group.to_dicts()
        first = rows[0]
        differ = len({row["value"] for row in rows}) > 1
        moved = _out_of_order(rows, sound, facts.plan) if differ else None
        for number, row in enumerate(rows):
            if number == 0 and not differ:
                continue  # what was typed first stands; its copies are held
            other = rows[1] if number == 0 else first
            problem = (
                f"{row['serial']} is typed twice here: {row['text']}, and {other['text']} in {other['cell']}"
            )
            repeat = (row["repeat"] or 1) + number
            proposal: dict[str, object] = {"repeat": repeat} if number and differ else {}
            if not differ:
                mend = f"Drop it; if it was really measured again, set repeat to {repeat}."
            elif moved is not None:
                proposal = {moved[1]: moved[2]} if row[INDEX] == moved[0] else {}
                where = "here" if proposal else f"in {other['cell']}"
                mend = f"By the order of the rows {moved[1]} {moved[2]} is meant {where}: accept that first."
            elif number == 0:
                mend = "Keep the figure that is right and drop the other one."
            elif missing := _left_out(row, sound, facts.plan) or _fellow(row, sound, facts.plan):
                column, place = missing
                proposal = {column: place}
                mend = (
                    f"{column} {place} is missing here: if it is meant, accept it; else drop the wrong one."
                )
            else:
                mend = "Drop the wrong one; if it was really measured again, accept this as a repeat."
            found.append(Finding(row[INDEX], Reason.DOUBLED_ROW, problem, mend, proposal))
    return found


def _out_of_order(twice: list[FrameRow], sound: pl.DataFrame, plan: Plan) -> tuple[int, str, object] | None:
    """Return the row of two whose place breaks the order of its card, with the column and the place meant.

    None unless the card has every place but one, that one differs in one word, and the order tells which row.
    """
    row = twice[0]
    characteristic = plan.characteristic(row["stage"], row["characteristic"])
    same = [pl.col(name) == row[name] for name in ("_part", "serial", "characteristic")]
    card = sound.filter(*same).sort(INDEX).to_dicts()
    if characteristic is None or len(twice) != 2 or len(card) < FEWEST:
        return None
    columns = [name for name in characteristic.places if all(one[name] is not None for one in card)]
    spelled = {name: [str(value) for value in characteristic.places[name]] for name in columns}
    if any(str(one[name]) not in spelled[name] for one in card for name in columns):
        return None
    at = {one[INDEX]: tuple(spelled[name].index(str(one[name])) for name in columns) for one in card}
    there = set(at.values())
    missing = set(product(*({place[n] for place in there} for n in range(len(columns))))) - there
    if len(there) != len(card) - 1 or len(missing) != 1:
        return None
    gap = missing.pop()
    found = []
    for one in twice:
        other = [n for n in range(len(columns)) if at[one[INDEX]][n] != gap[n]]
        order = {**at, one[INDEX]: gap}
        if len(other) == 1 and _in_order(list(order.values())):
            name, word = columns[other[0]], spelled[columns[other[0]]][gap[other[0]]]
            found.append((one[INDEX], name, int(word) if name in WHOLE else word))
    return found[0] if len(found) == 1 else None


def _in_order(places: list[tuple[int, ...]]) -> bool:
    """Tell whether places go on without a step back, whichever kind of place moves fastest."""
    turns = permutations(range(len(places[0])))
    return any(
        all(tuple(a[n] for n in turn) < tuple(b[n] for n in turn) for a, b in pairwise(places))
        for turn in turns
    )


def _left_out(row: FrameRow, sound: pl.DataFrame, plan: Plan) -> tuple[str, object] | None:
    """Return the one place of the plan that the card lacks beside a row, None where none or several are."""
    characteristic = plan.characteristic(row["stage"], row["characteristic"])
    if characteristic is None:
        return None
    card = sound.filter(
        (pl.col("_part") == row["_part"])
        & (pl.col("serial") == row["serial"])
        & (pl.col("characteristic") == row["characteristic"])
    )
    options: list[tuple[str, object]] = []
    for column, allowed in characteristic.places.items():
        rest = [name for name in PLACE if name != column]
        beside = card
        for name in rest:
            beside = beside.filter(pl.col(name).eq_missing(pl.lit(row[name])))
        there = {str(value) for value in beside[column] if value is not None}
        used = [value for value in allowed if value in set(card[column].cast(pl.String)) | there]
        reach = max((allowed.index(value) for value in used), default=-1)
        lacking = [v for at, v in enumerate(allowed) if v not in there and at <= max(reach, len(there))]
        if (
            len(lacking) == 1
            and len(there) >= 2
            or len(lacking) == 1
            and len(allowed) > 2
            and len(there) >= 1
        ):
            options.append((column, int(lacking[0]) if column in WHOLE else lacking[0]))
    return options[0] if len(options) == 1 else None


def _fellow(row: FrameRow, sound: pl.DataFrame, plan: Plan) -> tuple[str, object] | None:
    """Return the other one of two places, where several are filled twice on a card and it is nowhere.

    Of a figure read at the valves alone it is the other one of the two that the model has.
    """
    characteristic = plan.characteristic(row["stage"], row["characteristic"])
    card = sound.filter(
        (pl.col("_part") == row["_part"])
        & (pl.col("serial") == row["serial"])
        & (pl.col("characteristic") == row["characteristic"])
    )
    if characteristic is None:
        return None
    for column, named in characteristic.places.items():
        allowed = list(named)
        there = {str(value) for value in card[column] if value is not None}
        if column == "valve":
            model = plan.model(row["model"] or "")
            alone = model is not None and len(characteristic.places) == 1
            allowed = [valve.name for valve in model.valves] if model and alone else []
        at = [name for name in PLACE if name != column]
        twice = card.group_by(at).len().filter(pl.col("len") > 1).height
        rest = [value for value in allowed if str(value) not in there]
        if len(allowed) == 2 and len(rest) == 1 and (twice > 1 or column == "valve"):
            return column, int(rest[0]) if column in WHOLE else rest[0]
    return None


def _events(events: pl.DataFrame) -> list[Finding]:
    if events.is_empty():
        return []
    # zero and ring of a gauge may read the same on one day: two checks, not one typed twice
    master = pl.when(pl.col("kind") == "gauge-check").then("batch").fill_null("").alias("_master")
    same = [*SAME_EVENT, master]
    turn = pl.int_range(pl.len()).over(same)
    first = pl.col("cell").first().over(same)
    copies = events.with_columns(turn.alias("_turn"), first.alias("_first")).filter(pl.col("_turn") > 0)
    found = []
    for row in copies.to_dicts():
        problem = f"the same line stands already at {row['_first']}"
        mend = "Leave it out, or add a note that tells the two apart."
        found.append(Finding(row[INDEX], Reason.DOUBLED_ROW, problem, mend))
    return found
