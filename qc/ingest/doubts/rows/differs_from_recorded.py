"""The same measurement is on record, or on another sheet of the upload, with another figure."""

from __future__ import annotations

import polars as pl

from qc.ingest.cells import read_number
from qc.ingest.doubts.facts import Doubted, Doubts, Facts
from qc.ingest.frames import INDEX
from qc.ingest.known import IDENTITY, Recorded, identity
from qc.ingest.reasons import Finding, Reason
from qc.words import unit_words

SAME = 1e-9
"""Figures closer than this are the same figure written differently."""


def find_differs_from_recorded(facts: Facts, doubted: Doubts) -> Doubted:
    """Find readings that differ from what was recorded of the same piece, place and day."""
    if facts.readings.is_empty():
        return Doubted()
    sound = facts.readings.filter(
        pl.col("value").is_not_null()
        & (pl.col("serial") != "")
        & pl.col("day").is_not_null()
        & ~pl.col(INDEX).is_in(list(doubted))
    )
    return Doubted([*_on_record(sound, facts), *_on_another_sheet(sound)])


def _on_record(readings: pl.DataFrame, facts: Facts) -> list[Finding]:
    # offer the sheet's figure as a correction: which of the two is right, only a person knows
    recorded = facts.known.recorded
    if not recorded or readings.is_empty():
        return []
    keyed = readings.with_columns(identity(readings).alias("_key"))
    found = []
    for row in keyed.filter(pl.col("_key").is_in(list(recorded))).to_dicts():
        old = recorded[row["_key"]]
        if old.value is None or abs(old.value - row["value"]) <= SAME * max(1.0, abs(old.value)):
            continue
        unit = unit_words(row["unit"])
        was = f"{_as_typed(old)} {unit}"
        problem = (
            f"{row['serial']} is on record with {was} at this place on {row['day']}, "
            f"the sheet says {row['text']}"
        )
        mend = "If the sheet corrects the record, accept it as a correction; the old figure is kept too."
        proposal: dict[str, object] = {"replaces": old.id}
        found.append(Finding(row[INDEX], Reason.DIFFERS_FROM_RECORDED, problem, mend, proposal))
    return found


def _as_typed(old: Recorded) -> str:
    """Write a recorded figure as it was typed, where that is what is recorded."""
    number = read_number(old.text, "", comma_decimal=True).value
    return old.text if number == old.value else f"{old.value:g}"


def _on_another_sheet(readings: pl.DataFrame) -> list[Finding]:
    # two sheets of one upload may differ as well; the first one stands, and once it has a number in the
    # store the other is offered as its correction
    at = list(IDENTITY)
    first = readings.with_columns(
        pl.col("value").first().over(at).alias("_value"),
        pl.col("text").first().over(at).alias("_text"),
        pl.col("_part").first().over(at).alias("_first_part"),
        pl.concat_str(["file", "cell"], separator=", ").first().over(at).alias("_where"),
    )
    apart = (pl.col("value") - pl.col("_value")).abs() > SAME * pl.max_horizontal(
        pl.lit(1.0), pl.col("_value").abs()
    )
    found = []
    for row in first.filter((pl.col("_part") != pl.col("_first_part")) & apart).to_dicts():
        unit = unit_words(row["unit"])
        problem = (
            f"{row['serial']} has {row['text']} {unit} here and "
            f"{_as_typed(Recorded(0, row['_value'], row['_text']))} {unit} in {row['_where']}, "
            "same place and day"
        )
        mend = "If this sheet corrects the other, accept it as a correction; the old figure is kept too."
        found.append(Finding(row[INDEX], Reason.DIFFERS_FROM_RECORDED, problem, mend))
    return found
