"""The model on one card is not the model of that serial everywhere else."""

from __future__ import annotations

from collections import Counter, defaultdict

import polars as pl

from qc.ingest.doubts.facts import Doubted, Doubts, Facts
from qc.ingest.doubts.pieces.serial_series import slips
from qc.ingest.doubts.record import Record, gather_record, taken_apart
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason
from qc.plain import FrameRow
from qc.plan import Plan

MANY = 10
"""So many pieces with the same letters and of one model say which model those letters stand for; chosen."""

SERIAL_IN_DOUBT = frozenset(
    {Reason.UNKNOWN_SERIAL, Reason.DOUBLED_SERIAL, Reason.NEVER_BEGUN, Reason.AFTER_SHIPPING}
)


def find_model_differs(facts: Facts, doubted: Doubts) -> Doubted:
    """Find rows whose model is not the piece's."""
    models = _usual_models(facts)
    planned = [model.id for model in facts.plan.models]  # an unknown model is a fault of its own
    readings, events = (
        rows.filter(pl.col("model").is_in(planned)) for rows in (facts.readings, facts.events)
    )
    strange = [index for index, reasons in doubted.items() if reasons & SERIAL_IN_DOUBT]
    readings = readings.filter(~pl.col(INDEX).is_in(strange))
    record = gather_record(facts, doubted)
    return Doubted(
        [*_differing(readings, models, facts, record), *_unlike_series(readings, models, record)],
        _differing(events, models, facts, record),
    )


def _usual_models(facts: Facts) -> dict[str, str]:
    """Return serial -> model, from the record, else from the cards that agree by more than two to one."""
    columns = ["serial", "model", "file", "tab"]
    pairs = pl.concat([facts.readings.select(columns), facts.events.select(columns)]).unique()
    counted = (
        pairs.filter((pl.col("model") != "") & (pl.col("serial") != "")).group_by("serial", "model").len()
    )
    ranked = counted.sort("len", descending=True).group_by("serial", maintain_order=True)
    # a history has thousands of pieces in one part: a frame for each would cost more than all other doubts
    most = ranked.agg(
        pl.col("model").first(), pl.col("len").first().alias("most"), pl.col("len").slice(1, 1).first()
    )
    agreed = most.filter(pl.col("most") > 2 * pl.col("len"))
    found = dict(agreed.select("serial", "model").iter_rows())
    found.update({serial: model for serial, model in facts.known.serials.items() if model})
    return found


def _differing(rows: pl.DataFrame, models: dict[str, str], facts: Facts, record: Record) -> list[Finding]:
    if rows.is_empty() or not models:
        return []
    usual = pl.col("serial").replace_strict(models, default="", return_dtype=pl.String)
    differs = (pl.col("model") != "") & (pl.col("_usual") != "") & (pl.col("model") != pl.col("_usual"))
    found = []
    for row in rows.with_columns(usual.alias("_usual")).filter(differs).to_dicts():
        problem = f"{row['serial']} is {row['_usual']} on its other cards, but {row['model']} here"
        mend = f"Accept {row['_usual']}, or check the serial."
        proposal: dict[str, object] = {"model": row["_usual"]}
        others = _meant(row, facts, record)
        if others:
            # one word is wrong, the serial or the model: the piece that waits and the figures may say which
            serial = f"If {' or '.join(others[:3])} was measured, accept or type it"
            mend = f"{serial}; if the piece is {row['_usual']}, put the model right."
            fits = _fits(row, facts.plan)
            if fits != "model":
                proposal = {"serial": others[0]} if fits == "serial" and len(others) == 1 else {}
        found.append(Finding(row[INDEX], Reason.MODEL_DIFFERS, problem, mend, proposal))
    return found


def _meant(row: FrameRow, facts: Facts, record: Record) -> list[str]:
    """Return the pieces of the row's model that wait for this card and are one slip of its serial away."""
    name, day = row.get("characteristic"), row["day"]
    if not name or day is None:
        return []
    heads = {parts.head for serial in record.days if (parts := taken_apart(serial)) is not None}
    waiting = record.waiting((row["stage"], name), row["model"], day, (row["serial"],))
    return sorted(set(waiting) & set(slips(row["serial"], heads, day)))


def _fits(row: FrameRow, plan: Plan) -> str:
    """Say which word the figure speaks against, empty where it may be a figure of either model."""
    characteristic = plan.characteristic(row["stage"], row["characteristic"])
    if characteristic is None or row["value"] is None:
        return ""
    measured = {model.id for model in plan.models_of(characteristic)}
    if row["_usual"] not in measured:
        return "serial"
    if row["model"] not in measured:
        return "model"
    inside = {}
    for model in (row["_usual"], row["model"]):
        limits = plan.usual_limits_at(characteristic, model, row["day"], row)
        low, high = limits.lower, limits.upper
        inside[model] = (low is None or row["value"] >= low) and (high is None or row["value"] <= high)
    if inside[row["model"]] == inside[row["_usual"]]:
        return ""
    return "serial" if inside[row["model"]] else "model"


def _unlike_series(rows: pl.DataFrame, models: dict[str, str], record: Record) -> list[Finding]:
    """Find new pieces whose model is not that of any other piece with the letters of their serial."""
    counted: dict[str, Counter[str]] = defaultdict(Counter)
    for serial, model in record.models.items():
        parts = taken_apart(serial)
        if parts is not None and model:
            counted[parts.letters()][model] += 1
    of_letters = {letters: max(count, key=lambda m: count[m]) for letters, count in counted.items()}
    if len(set(of_letters.values())) < 2:
        return []  # the letters say nothing of the model
    found = []
    for row in rows.filter((pl.col("model") != "") & ~pl.col("serial").is_in(list(models))).to_dicts():
        parts = taken_apart(row["serial"])
        count = counted.get(parts.letters(), Counter()) if parts is not None else Counter()
        usual = max(count, key=lambda m: count[m], default="")
        others = sum(count.values()) - count[usual] - (row["model"] != usual)
        if count[usual] < MANY or others > 0 or row["model"] == usual:
            continue
        problem = (
            f"{row['serial']} is {row['model']} here, and all {count[usual]} others of its series are {usual}"
        )
        mend = f"If it is {usual}, accept it; else check the serial, or confirm the model."
        found.append(Finding(row[INDEX], Reason.MODEL_DIFFERS, problem, mend, {"model": usual}))
    return found
