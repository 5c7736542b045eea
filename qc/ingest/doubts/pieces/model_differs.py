"""The model on one card is not the model of that serial everywhere else."""

from __future__ import annotations

import polars as pl

from qc.ingest.doubts.facts import Doubted, Doubts, Facts
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Finding, Reason

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
    return Doubted(_differing(readings, models), _differing(events, models))


def _usual_models(facts: Facts) -> dict[str, str]:
    """Return serial -> model, from the record, else from the cards that agree by more than two to one."""
    columns = ["serial", "model", "file", "tab"]
    pairs = pl.concat([facts.readings.select(columns), facts.events.select(columns)]).unique()
    counted = (
        pairs.filter((pl.col("model") != "") & (pl.col("serial") != "")).group_by("serial", "model").len()
    )
    found: dict[str, str] = {}
    for (serial,), group in counted.group_by("serial"):
        ranked = group.sort("len", descending=True)
        if ranked.height > 1 and ranked["len"][0] > 2 * ranked["len"][1]:
            found[str(serial)] = str(ranked["model"][0])
    found.update({serial: model for serial, model in facts.known.serials.items() if model})
    return found


def _differing(rows: pl.DataFrame, models: dict[str, str]) -> list[Finding]:
    if rows.is_empty() or not models:
        return []
    usual = pl.col("serial").replace_strict(models, default="", return_dtype=pl.String)
    differs = (pl.col("model") != "") & (pl.col("_usual") != "") & (pl.col("model") != pl.col("_usual"))
    found = []
    for row in rows.with_columns(usual.alias("_usual")).filter(differs).to_dicts():
        problem = f"{row['serial']} is {row['_usual']} on its other cards, but {row['model']} here"
        mend = f"Accept {row['_usual']}, or check the serial."
        found.append(Finding(row[INDEX], Reason.MODEL_DIFFERS, problem, mend, {"model": row["_usual"]}))
    return found
