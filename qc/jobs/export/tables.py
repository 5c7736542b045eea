"""What is exported, as tidy frames: readings in parts, and the small tables whole."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from datetime import date

import polars as pl

from qc.jobs.export.columns import TableName, schema_of
from qc.jobs.signals import SignalLife
from qc.jobs.workshop import Workshop
from qc.plain import FrameRow
from qc.plan import Plan
from qc.store import HeldRecord
from qc.watch import SeriesKey, SeriesVerdict

PART = 25_000
"""Readings fetched and written at once, about; chosen: larger parts took more memory and no less time."""

ORDER = ("series", "day", "has_time", "measured_at", "tool_count", "row", "serial", "reading")
"""Order of the exported readings: by series, within it the order of making, then as they came in."""


def readings_in_parts(workshop: Workshop, until: date | None, most: int = PART) -> Iterator[pl.DataFrame]:
    """Yield the readings by series and time, about `most` at once; a day is never divided.

    Parameters
    ----------
    workshop : Workshop
        An open workshop; nothing may be written between two parts, see `Store.steady`.
    until : date, optional
        Only what was measured by then.
    most : int
        Readings at once; a single day of a series that has more comes whole.
    """
    counts = workshop.store.readings_by_day(until=until)
    waiting: list[pl.DataFrame] = []
    for series, models, kind in _by_series(workshop.plan, counts):
        own = counts.filter(
            (pl.col("stage") == kind[0])
            & (pl.col("characteristic") == kind[1])
            & pl.col("model").is_in(list(models), nulls_equal=True)
        )
        for since, last in _windows(own, most):
            part = workshop.store.readings(
                stage=kind[0], characteristics=[kind[1]], models=models, since=since, until=last
            )
            waiting.append(_as_exported(part, series))
            if sum(frame.height for frame in waiting) >= most:
                yield pl.concat(waiting)
                waiting = []
    if waiting:
        yield pl.concat(waiting)


def pieces(plan: Plan, verdicts: Iterable[SeriesVerdict]) -> pl.DataFrame:
    """Return the pieces of every series as they were judged, with the limits of their model and day."""
    rows = (row for verdict in _sorted(verdicts) for row in _pieces_of(plan, verdict))
    return _frame("pieces", rows)


def limits(verdicts: Iterable[SeriesVerdict]) -> pl.DataFrame:
    """Return a row for each series: the limits it is held against, its own, and how it stands."""
    return _frame("limits", (_limits_of(verdict) for verdict in _sorted(verdicts)))


def signals(lives: Iterable[SignalLife]) -> pl.DataFrame:
    """Return every signal with what became of it."""
    own = sorted(lives, key=lambda life: (life.series, life.found.raised, life.id))
    return _frame("signals", map(_signal_of, own))


def held(rows: Iterable[HeldRecord]) -> pl.DataFrame:
    """Return how many rows are held, or were, for which reason; what was typed stays in the workshop."""
    counted: Counter[tuple[str, str, str, str, str]] = Counter()
    for row in rows:
        typed = row.as_typed()
        what = str(typed.get("stage") or ""), str(typed.get("characteristic") or "")
        for reason in sorted({reason.id for reason in row.reasons}):
            counted[row.state, row.table, *what, reason] += 1
    names = ("state", "table", "stage", "characteristic", "reason")
    return _frame("held", ({**dict(zip(names, k, strict=True)), "rows": counted[k]} for k in sorted(counted)))


def plan_table(plan: Plan) -> pl.DataFrame:
    """Return a row for each target with limits in the plan; a characteristic without any has one row too."""
    names = ("unit", "kind", "shape", "pool", "charted", "decides", "gauge_class", "resolution", "sampling")
    rows: list[FrameRow] = []
    for stage in plan.stages:
        for one in stage.characteristics:
            said = {name: getattr(one, name) for name in names}
            said |= {"stage": stage.id, "stage_name": stage.name, "characteristic": one.id, "name": one.name}
            for entry in one.limits or (None,):
                rows.append(said if entry is None else {**said, **_dated(entry.model_dump())})
    return _frame("plan", rows)


def _by_series(plan: Plan, counts: pl.DataFrame) -> list[tuple[str, tuple[str | None, ...], tuple[str, str]]]:
    """List the series of all readings by name, each with its models, stage and characteristic.

    What the plan does not chart has a name made alike: by its model where it is pooled with nothing.
    """
    found: dict[tuple[str, str, str], list[str | None]] = {}
    kinds = counts.select("stage", "characteristic", "model").unique(maintain_order=True)
    for stage, characteristic, model in kinds.iter_rows():
        one = plan.characteristic(stage, characteristic)
        family = None if one is None else plan.family_of(one, model or "")
        key = stage, characteristic, model or "" if family is None else family
        found.setdefault(key, []).append(model)
    named = {str(SeriesKey(*key)): (tuple(models), key[:2]) for key, models in found.items()}
    return [(series, *named[series]) for series in sorted(named)]


def _windows(counts: pl.DataFrame, most: int) -> Iterator[tuple[date | None, date | None]]:
    """Yield first and last days of stretches of days with about `most` readings; None stands for any day."""
    by_day = counts.group_by("day").agg(pl.col("readings").sum()).sort("day").rows()
    if any(day is None for day, _ in by_day):  # never of an upload; it must not be lost all the same
        yield None, None
        return
    first, last, own = None, None, 0
    for day, number in by_day:
        if first is not None and own + number > most:
            yield first, last
            first, own = None, 0
        first, last, own = first or day, day, own + number
    yield first, last


def _as_exported(part: pl.DataFrame, series: str) -> pl.DataFrame:
    """Give readings of a series its name, the columns of the dictionary, and the order of making."""
    named = part.rename({"id": "reading"}).with_columns(
        pl.lit(series).alias("series"),
        pl.lit(SeriesKey.parse(series).family or None, pl.String).alias("family"),
    )
    schema = schema_of("readings")
    return named.select(pl.col(name).cast(kind) for name, kind in schema.items()).sort(
        list(ORDER), nulls_last=False
    )


def _sorted(verdicts: Iterable[SeriesVerdict]) -> list[SeriesVerdict]:
    return sorted(verdicts, key=lambda verdict: str(verdict.key))


def _key(series: str) -> FrameRow:
    key = SeriesKey.parse(series)
    return {
        "series": series,
        "stage": key.stage,
        "characteristic": key.characteristic,
        "family": key.family,
    }


def _pieces_of(plan: Plan, verdict: SeriesVerdict) -> Iterator[FrameRow]:
    """Yield the pieces of a series, each with the limits that held on its own day."""
    one = plan.characteristic(verdict.key.stage, verdict.key.characteristic)
    present = set(verdict.present)
    own = {
        **_key(str(verdict.key)),
        "unit": verdict.unit,
        "centered": verdict.centered,
        "shape": verdict.scatter.shape if verdict.scatter else None,
        "behaviour": verdict.behaviour,
    }
    names = (
        *("ordinal", "serial", "day", "model", "value", "measured", "readings", "spread", "size", "left_out"),
        *("person", "gauge", "tool", "tool_count", "batch", "air_c", "note"),
    )
    for point in verdict.points:
        row = {**own, **{name: getattr(point, name) for name in names}, "present": point.ordinal in present}
        if one is not None:
            dated = plan.limits(one, point.model, point.day)
            row |= {"target": dated.target, "lower": dated.lower, "upper": dated.upper}
        yield row


def _limits_of(verdict: SeriesVerdict) -> FrameRow:
    """Return the limits and capability of a series as one row."""
    names = (
        *("unit", "kind", "centered", "target", "lower", "upper", "natural_lower", "natural_upper", "pieces"),
        *("before", "rests_on", "behaviour", "settled_since", "capable", "ppk", "ppk_low", "ppk_high"),
        *("outside_share", "outside_low", "outside_high", "sd_between", "sd_within"),
        *("baseline_first", "baseline_last"),
    )
    return {
        **_key(str(verdict.key)),
        **{name: getattr(verdict, name) for name in names},
        "name": verdict.title,
        "reason": verdict.ppk_reason,
        "shape": verdict.scatter.shape if verdict.scatter else None,
        "counts_as": verdict.scatter.counts_as if verdict.scatter else None,
    }


def _signal_of(life: SignalLife) -> FrameRow:
    """Return a signal's life as one row, with how it was closed."""
    names = (
        *("kind", "side", "raised_serial", "raised_day", "start_serial", "start_day", "raised", "start"),
        *("start_low", "start_high", "ended", "pieces", "size", "size_low", "size_high", "size_sigma"),
        *("unit", "rate", "next_step"),
    )
    closing = life.closing
    return {
        **_key(life.series),
        **{name: getattr(life.found, name) for name in names},
        "signal": life.id,
        "state": life.state,
        "over": life.over,
        "sentence": life.sentence,
        "because": life.because,
        "suspects": "; ".join(suspect.sentence for suspect in life.found.suspects),
        "owner": life.owner,
        "due": life.due,
        "outcome": life.outcome,
        "cause": closing.cause if closing else None,
        "action": closing.action if closing else None,
        "closed_by": closing.who if closing else None,
        "closed_at": closing.when if closing else None,
    }


def _dated(entry: FrameRow) -> FrameRow:
    """Write the models and places of an entry of limits as texts."""
    places = [f"{part}: {', '.join(values)}" for part, values in entry["at"].items()]
    return {**entry, "models": ", ".join(entry["models"]), "at": "; ".join(places)}


def _frame(table: TableName, rows: Iterable[FrameRow]) -> pl.DataFrame:
    """Make a table of the dictionary; an empty text is empty, as it is in the readings."""
    schema = schema_of(table)
    columns: Sequence[list[object]] = [[] for _ in schema]
    for row in rows:
        for column, name in zip(columns, schema, strict=True):
            value = row.get(name)
            column.append(None if value == "" else value)
    return pl.DataFrame(
        [
            pl.Series(name, column, dtype=kind)
            for column, (name, kind) in zip(columns, schema.items(), strict=True)
        ]
    )
