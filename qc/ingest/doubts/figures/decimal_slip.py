"""The decimal point one or two places off: 140.52 for 14.052."""

from __future__ import annotations

from datetime import date

import polars as pl

from qc.ingest.doubts.facts import ENOUGH, Doubted, Doubts, Facts, distance, finer_than_gauge, rounded
from qc.ingest.doubts.figures.far import beside_others
from qc.ingest.doubts.figures.scale import scaled_fits
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason
from qc.plain import FrameRow
from qc.words import unit_words

TIMES = {0.1: "ten times", 10.0: "a tenth of", 0.01: "a hundred times", 100.0: "a hundredth of"}


WITHOUT_POINT = 4.0
"""Spreads from the usual figure at which one over the limit and without its point is asked about; chosen."""

USUAL_WITH_POINT = 2.0
"""Spreads within which it must be usual with the point put in; chosen."""

POINTED = 0.9
"""So many of the figures on record must be typed with a point; chosen."""

FINER = 0.5
"""Share of the figures on record beyond which a step of the plan is not the one the bench writes; chosen."""

MANY = 200
"""So many of the last figures on record say how finely a bench writes; chosen."""

ELSEWHERE = frozenset({Reason.COLUMNS_SWAPPED, Reason.UNKNOWN_PLACE})
"""What explains such a figure better: it stands in another column's place."""


def find_decimal_slip(facts: Facts, doubted: Doubts) -> Doubted:
    """Find figures about 10, 100, 1/10 or 1/100 of what is usual."""
    best: dict[int, tuple[float, Finding]] = {}
    for factor, words in TIMES.items():
        for row in scaled_fits(facts, factor):
            if doubted.get(row[INDEX], frozenset()) & ELSEWHERE or _of_another(row, facts):
                continue
            value = rounded(row["scaled"], None)
            if finer_than_gauge(value, row["_step"]) and not _written_finer(row, facts):
                continue  # nobody read that: the figure was typed in another unit
            if not beside_others(row, value):
                continue
            unit = unit_words(row["unit"])
            problem = f"{row['text']} {unit} is {_ratio(row, words)} the usual {row['usual']:.4g} {unit}"
            mend = f"If the decimal point slipped, accept {value:g}; else type the figure on the card."
            finding = Finding(row[INDEX], Reason.DECIMAL_SLIP, problem, mend, {"value": value})
            off = row["off"] if row["off"] is not None else 0.0
            if row[INDEX] not in best or off < best[row[INDEX]][0]:
                best[row[INDEX]] = (off, finding)
    for finding in _points_left_out(facts):
        if finding.index not in doubted:
            best.setdefault(finding.index, (0.0, finding))
    return Doubted([finding for _, finding in best.values()])


def _written_finer(row: FrameRow, facts: Facts) -> bool:
    """Tell whether most figures on record have more digits than the plan's step: then it says little."""
    same = (pl.col("stage") == row["stage"]) & (pl.col("characteristic") == row["characteristic"])
    values = facts.known.past.filter(same)["value"].drop_nulls().tail(MANY).to_list()
    finer = sum(finer_than_gauge(value, row["_step"]) for value in values)
    return len(values) >= ENOUGH and finer > FINER * len(values)


def _points_left_out(facts: Facts) -> list[Finding]:
    """Find whole figures beyond the plan's limit that are usual with the point all others are typed with."""
    if facts.readings.is_empty():
        return []
    typed = facts.readings.filter(
        (pl.col("_kind") == "measured")
        & pl.col("text").str.contains(r"^\d{2,}$")
        & (pl.col("_step") < 1)
        & (pl.col("value") > pl.col("_upper")).fill_null(False)
        & (distance(pl.col("value")) > WITHOUT_POINT).fill_null(False)
        & (distance(pl.col("value") / 10) <= USUAL_WITH_POINT).fill_null(False)
    )
    found = []
    for row in typed.to_dicts():
        same = (pl.col("stage") == row["stage"]) & (pl.col("characteristic") == row["characteristic"])
        texts = facts.known.past.filter(same)["text"].drop_nulls()
        pointed = texts.str.contains("[.,]").sum()
        value = rounded(row["value"] / 10, None)
        if texts.len() < ENOUGH or pointed < POINTED * texts.len() or _of_another(row, facts):
            continue
        unit = unit_words(row["unit"])
        problem = f"{row['text']} {unit} is over the limit and typed without a point, as hardly any other is"
        mend = f"If the decimal point was left out, accept {value:g}; else confirm the figure."
        found.append(Finding(row[INDEX], Reason.DECIMAL_SLIP, problem, mend, {"value": value}))
    return found


def _ratio(row: FrameRow, words: str) -> str:
    """Say how many times the usual figure was typed, in words where it is near a round number."""
    times, usual = row["value"], row["usual"]
    if not usual or times <= 0 or usual < 0:
        return words
    times /= usual
    factor = next(f for f, said in TIMES.items() if said == words)
    return words if abs(times * factor - 1) <= 0.1 else f"{times:.2g} times"


def _of_another(row: FrameRow, facts: Facts) -> bool:
    """Tell whether a figure lies within the limits of another figure of its stage: then no point slipped.

    Only where the figure's own spread is wide, so that a hundredth of nearly anything would fit.
    """
    stage = next((s for s in facts.plan.stages if s.id == row["stage"]), None)
    if stage is None or not row["_log"]:
        return False
    for characteristic in stage.characteristics:
        limits = facts.plan.usual_limits_at(characteristic, row["model"], row["day"] or date.max, row)
        if characteristic.id == row["characteristic"] or limits.lower is None or limits.upper is None:
            continue
        if limits.lower <= row["value"] <= limits.upper and not _stands_there(row, characteristic.id, facts):
            return True
    return False


def _stands_there(row: FrameRow, other: str, facts: Facts) -> bool:
    """Tell whether the other figure of the same line is usual where it stands, so that none was exchanged."""
    same = (
        (pl.col("_part") == row["_part"])
        & (pl.col("row") == row["row"])
        & (pl.col("characteristic") == other)
    )
    there = facts.readings.filter(same & (pl.col("serial") == row["serial"]))
    inside = pl.col("value").is_between(pl.col("_lower"), pl.col("_upper"))
    return bool(there.filter(inside.fill_null(False)).height)
