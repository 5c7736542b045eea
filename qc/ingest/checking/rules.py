"""Writes the plan down as rules for each kind of card, and prepares the columns the rules speak of."""

from __future__ import annotations

from datetime import date
from itertools import chain, combinations

import polars as pl

from qc.ingest.checking.declared import ColumnRule
from qc.ingest.reasons import Reason
from qc.plan import PLACE, Characteristic, Plan, Stage

FIRST_DAY = date(2000, 1, 1)
"""No bench card is older; an earlier date is a slip of the pen."""

ROOM_C = (0.0, 45.0)
"""Room temperatures a person works in; outside this the figure is none."""

VERDICTS = ("pass", "rework", "reject")
CHECK_CODES = ("zeroed", "as-found")


def reading_rules(frame: pl.DataFrame, plan: Plan, today: date) -> tuple[ColumnRule, ...]:
    """Return the rules for the readings of one card, from the plan.

    Parameters
    ----------
    frame : DataFrame
        Readings prepared by `prepare_readings`; it says which columns the card fills at all.
    plan : Plan
        The measuring plan.
    today : date
        The workshop's day.

    Returns
    -------
    tuple of ColumnRule
    """
    rules = [
        ColumnRule("given", "typed", Reason.MISSING_VALUE, "text"),
        ColumnRule("empty", "unread", Reason.NOT_A_NUMBER, "text"),
        ColumnRule("given", "serial_given", Reason.MISSING_SERIAL, "serial"),
        ColumnRule("given", "model_told", Reason.MISSING_MODEL, "model"),
        ColumnRule("among", "gauge_given", Reason.UNKNOWN_GAUGE, "gauge", tuple(g.id for g in plan.gauges)),
        ColumnRule("at-most", "day_past", Reason.GAUGE_OVERDUE, "gauge", other="gauge_due"),
        ColumnRule("among", "model_asked", Reason.UNKNOWN_MODEL, "model", _models_asked(plan)),
        ColumnRule("at-most", "value", Reason.OUTSIDE_SENSIBLE, "text", other="sensible_high"),
        ColumnRule("at-most", "sensible_low", Reason.OUTSIDE_SENSIBLE, "text", other="value"),
        ColumnRule("between", "count", Reason.NEGATIVE_COUNT, "text", low=0.0),
        ColumnRule("empty", "unwhole", Reason.NOT_WHOLE, "text"),
        ColumnRule("between", "air_c", Reason.OUT_OF_RANGE, "air_c", low=ROOM_C[0], high=ROOM_C[1]),
        ColumnRule("between", "tool_count", Reason.OUT_OF_RANGE, "tool_count", low=0.0),
        *_shared_rules(plan, today),
        *(
            ColumnRule("among", f"at_{place}", Reason.UNKNOWN_PLACE, place, _places(plan, place))
            for place in PLACE
        ),
        ColumnRule("among", "valve_of", Reason.UNKNOWN_PLACE, "valve", _valve_states(plan)),
    ]
    return _in_use(frame, rules)


def event_rules(frame: pl.DataFrame, plan: Plan, today: date) -> tuple[ColumnRule, ...]:
    """Return the rules for the events of one card, from the plan.

    Parameters
    ----------
    frame : DataFrame
        Events prepared by `prepare_events`.
    plan : Plan
        The measuring plan.
    today : date
        The workshop's day.

    Returns
    -------
    tuple of ColumnRule
    """
    kind = frame["kind"][0]
    gauges, tools = tuple(g.id for g in plan.gauges), tuple(t.id for t in plan.tools)
    own = {
        "part": [ColumnRule("given", "subject_given", Reason.MISSING_SERIAL, "part")],
        "returned": [ColumnRule("among", "code_given", Reason.UNKNOWN_CODE, "cause", plan.causes)],
        "play-test": [ColumnRule("among", "code_or_text", Reason.UNKNOWN_CODE, "verdict", VERDICTS)],
        "rework": [
            ColumnRule("among", "code_given", Reason.UNKNOWN_CODE, "cause", plan.causes),
            ColumnRule(
                "among", "stage_given", Reason.UNKNOWN_CODE, "stage", tuple(s.id for s in plan.stages)
            ),
            ColumnRule("between", "value", Reason.OUT_OF_RANGE, "hours", low=0.0, high=500.0),
        ],
        "gauge-check": [
            ColumnRule("among", "subject", Reason.UNKNOWN_GAUGE, "gauge", gauges),
        ],
        "tool-fitted": [ColumnRule("among", "subject", Reason.UNKNOWN_TOOL, "tool", tools)],
    }.get(kind, [])
    if kind in {"rework", "gauge-check"}:
        own.append(ColumnRule("given", "typed", Reason.MISSING_VALUE, "text"))
        own.append(ColumnRule("empty", "unread", Reason.NOT_A_NUMBER, "text"))
    if kind in {"part", "shipped", "returned", "play-test", "rework"}:
        own.append(ColumnRule("given", "serial_given", Reason.MISSING_SERIAL, "serial"))
    models = tuple(m.id for m in plan.models)
    own.append(ColumnRule("among", "model_given", Reason.UNKNOWN_MODEL, "model", models))
    return _in_use(frame, [*own, *_shared_rules(plan, today)])


def prepare_readings(readings: pl.DataFrame, plan: Plan, today: date) -> pl.DataFrame:
    """Add the columns that the rules for readings speak of.

    Parameters
    ----------
    readings : DataFrame
        Readings with origin and `INDEX`.
    plan : Plan
        The measuring plan.
    today : date
        The workshop's day.

    Returns
    -------
    DataFrame
    """
    facts = _characteristic_table(plan)
    gauges = pl.DataFrame(
        {"gauge": [g.id for g in plan.gauges], "gauge_due": [g.due for g in plan.gauges]},
        schema={"gauge": pl.String, "gauge_due": pl.Date},
    )
    frame = readings.join(facts, on=["stage", "characteristic"], how="left", maintain_order="left")
    frame = frame.join(gauges, on="gauge", how="left", maintain_order="left")
    joined = pl.col("hint").str.starts_with("joined=")
    key = pl.col("characteristic") + ":"
    return frame.with_columns(
        *_shared_columns(),
        pl.when(pl.col("value").is_null() & (pl.col("text") != "") & ~joined).then("text").alias("unread"),
        _filled("gauge").alias("gauge_given"),
        pl.when((pl.col("model") != "") | ~pl.col("asks_model").fill_null(False))
        .then(pl.lit("told"))
        .alias("model_told"),
        _ordinal("gauge_due").alias("gauge_due"),
        # a date in the future is wrong itself and says nothing of a calibration
        pl.when(pl.col("day") <= today).then(_ordinal("day")).alias("day_past"),
        pl.when(pl.col("model") != "").then(key + pl.col("model")).alias("model_asked"),
        pl.when(pl.col("kind") == "count").then("value").alias("count"),
        pl.when((pl.col("kind") == "count") & (pl.col("value") != pl.col("value").floor()))
        .then("text")
        .alias("unwhole"),
        *(_place_column(place, plan) for place in PLACE),
        pl.when(
            (pl.col("model") != "")
            & pl.col("characteristic").is_in([c.id for c in _with_place(plan, "valve")])
            & (pl.col("valve") != "")
        )
        .then(pl.col("model") + ":" + pl.col("valve"))
        .alias("valve_of"),
    )


def prepare_events(events: pl.DataFrame) -> pl.DataFrame:
    """Add the columns that the rules for events speak of."""
    number = pl.col("kind").is_in(["rework", "gauge-check"])
    return events.with_columns(
        *_shared_columns(),
        pl.when(number & pl.col("value").is_null() & (pl.col("text") != "")).then("text").alias("unread"),
        _filled("subject").alias("subject_given"),
        _filled("code").alias("code_given"),
        _filled("stage").alias("stage_given"),
        _filled("model").alias("model_given"),
        pl.when(pl.col("code") != "").then("code").otherwise("text").alias("code_or_text"),
    )


def _shared_rules(plan: Plan, today: date) -> tuple[ColumnRule, ...]:
    tools = tuple(t.id for t in plan.tools)
    return (
        ColumnRule("empty", "bad_cells", Reason.EXTRA_CELLS, "cells"),
        ColumnRule("empty", "bad_fields", Reason.NOT_A_NUMBER, "bad"),
        ColumnRule("given", "day_given", Reason.NO_DATE, "day"),
        ColumnRule("empty", "day_unread", Reason.NO_DATE, "day_text"),
        ColumnRule("between", "day_number", Reason.FUTURE_DATE, "day", high=float(today.toordinal())),
        ColumnRule("between", "day_number", Reason.OLD_DATE, "day", low=float(FIRST_DAY.toordinal())),
        ColumnRule(
            "among", "person_given", Reason.UNKNOWN_PERSON, "person", tuple(p.code for p in plan.people)
        ),
        *((ColumnRule("among", "tool_given", Reason.UNKNOWN_TOOL, "tool", tools),) if tools else ()),
    )


def _shared_columns() -> list[pl.Expr]:
    cells = pl.col("bad").str.contains('"cells":', literal=True)
    return [
        # a mended row has a figure or a day although none was typed
        pl.when((pl.col("text") != "") | pl.col("value").is_not_null()).then(pl.lit("typed")).alias("typed"),
        _filled("serial").alias("serial_given"),
        _filled("person").alias("person_given"),
        _filled("tool").alias("tool_given"),
        pl.when((pl.col("day_text") != "") | pl.col("day").is_not_null())
        .then(pl.lit("given"))
        .alias("day_given"),
        pl.when(pl.col("day").is_null() & (pl.col("day_text") != "")).then("day_text").alias("day_unread"),
        _ordinal("day").alias("day_number"),
        pl.when(cells).then("bad").alias("bad_cells"),
        pl.when(~cells & (pl.col("bad") != "")).then("bad").alias("bad_fields"),
    ]


def _in_use(frame: pl.DataFrame, rules: list[ColumnRule]) -> tuple[ColumnRule, ...]:
    """Leave out rules over columns that a card never fills: they cannot fail and cost time."""
    kept = []
    for rule in rules:
        filled = frame[rule.column].null_count() < frame.height
        if rule.kind == "given" or (
            filled and (not rule.other or frame[rule.other].null_count() < frame.height)
        ):
            kept.append(rule)
    return tuple(kept)


def _asks_model(plan: Plan, stage: Stage, characteristic: Characteristic) -> bool:
    """Tell whether a row of an unknown piece must say its model: its own series does, or one of its stage.

    A figure that is charted whatever the model is on a piece all the same, and what is measured there of a
    model asks for it.
    """
    if len(plan.models) < 2 or not characteristic.charted:
        return plan.asks_model(stage.id, characteristic.id)
    return any(c.charted and (plan.asks_model(stage.id, c.id) or c.models) for c in stage.characteristics)


def _characteristic_table(plan: Plan) -> pl.DataFrame:
    """Lay what the plan asks of each characteristic out as a table, to be joined to the readings."""
    rows = [
        (stage.id, c.id, c.kind, _asks_model(plan, stage, c), *(c.sensible or (None, None)))
        for stage in plan.stages
        for c in stage.characteristics
    ]
    schema = {
        "stage": pl.String,
        "characteristic": pl.String,
        "kind": pl.String,
        "asks_model": pl.Boolean,
        "sensible_low": pl.Float64,
        "sensible_high": pl.Float64,
    }
    return pl.DataFrame(rows, schema=schema, orient="row")


def _filled(name: str) -> pl.Expr:
    return pl.when(pl.col(name) != "").then(name)


def _ordinal(name: str) -> pl.Expr:
    first = date(1970, 1, 1).toordinal()
    return pl.col(name).cast(pl.Int32).cast(pl.Float64) + first


def _with_place(plan: Plan, place: str) -> list[Characteristic]:
    return [c for stage in plan.stages for c in stage.characteristics if c.places.get(place)]


def _place_column(place: str, plan: Plan) -> pl.Expr:
    asked = pl.col("characteristic").is_in([c.id for c in _with_place(plan, place)])
    typed = pl.col(place).cast(pl.String).fill_null("")
    return pl.when(asked).then(pl.col("characteristic") + ":" + typed).alias(f"at_{place}")


def _places(plan: Plan, place: str) -> tuple[str, ...]:
    return tuple(f"{c.id}:{value}" for c in _with_place(plan, place) for value in c.places[place])


def _models_asked(plan: Plan) -> tuple[str, ...]:
    every = [c for stage in plan.stages for c in stage.characteristics]
    return tuple(f"{c.id}:{m.id}" for c in every for m in plan.models_of(c))


def _valve_states(plan: Plan) -> tuple[str, ...]:
    """Return model:state for every set of valves that can sound, a single valve by itself included."""
    states = []
    for model in plan.models:
        names = [valve.name for valve in model.valves]
        sets = chain.from_iterable(combinations(names, size) for size in range(1, len(names) + 1))
        states += [f"{model.id}:open", *(f"{model.id}:{'+'.join(chosen)}" for chosen in sets)]
    return tuple(states)
