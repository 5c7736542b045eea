"""What a check needs to know of the past: who the pieces are, what is usual, what was recorded already."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

import polars as pl

from qc.column_types import polars_schema
from qc.plan import PLACE, READING

SPREAD_OF_MAD = 1.4826  # median absolute deviation to standard deviation of a normal figure
IDENTITY = ("serial", "stage", "characteristic", *PLACE, "repeat", "day")
"""Columns that tell one measurement from another; its value, its person and its gauge are what it says."""

CARDS = {
    "serial": pl.String,
    "model": pl.String,
    "stage": pl.String,
    "characteristic": pl.String,
    "day": pl.Date,
}
"""What is known of the cards on record: whose figure of which stage was taken on which day."""

LATEST = 200
"""So many latest readings say what is usual now; older ones belong to older tools and people. Chosen: plenty
for a median and its spread."""


@dataclass(frozen=True, slots=True)
class Usual:
    """What is usual of a characteristic on a model: median, robust spread [unit], and of how many."""

    median: float
    spread: float
    count: int


@dataclass(frozen=True, slots=True)
class Recorded:
    """An accepted reading: its id in the store, its value, and the figure as it was typed."""

    id: int
    value: float | None
    text: str = ""


@dataclass(frozen=True, slots=True)
class GaugeCheck:
    """A morning check: reading less master [unit of the gauge], and whether the gauge was then zeroed."""

    gauge: str
    day: date
    deviation: float
    zeroed: bool
    master: str = ""  # what it was made on, as written


@dataclass(frozen=True, slots=True)
class Known:
    """What the store knows that bears on an upload.

    Attributes
    ----------
    today : date
        The workshop's day; a later date on a card is in the future.
    serials : mapping of str to str
        Serial -> model, empty where not yet tied to one. Tubes count as pieces too.
    shipped : frozenset of str
        Serials that have left.
    usual : mapping of (stage, characteristic, model) to Usual
        What is usual now.
    recorded : mapping of str to Recorded
        `identity` of accepted readings -> what was recorded; the pieces of the upload are enough.
    gauge_checks : tuple of GaugeCheck
        Latest checks of each gauge.
    newest_day : date or None
        Latest measured day on record; None on an empty store, where old cards are no surprise.
    past : DataFrame
        READING columns: the latest readings of the upload's figures, and all of its pieces.
    cards : DataFrame
        `CARDS` columns: which figures the newest pieces and the upload's have on record, and of which days.
    stays : mapping of str to tuple of (str, date)
        Part -> the pieces it was built into and when, the present one last: of the upload's parts, and of
        what its pieces are in.
    left : mapping of str to date
        Serial -> the day it was shipped, for pieces of the upload that have not come back since.
    parts : frozenset of str
        Serials of parts on record that are those of the upload, however they are written there.
    waiting : frozenset of str
        Serials of rows that are held and not decided about; looked up where parts are built in.
    again : frozenset of (str, str)
        Serial and stage where a second card is expected: a limit, a signal or rework asks for it.
    """

    today: date
    serials: Mapping[str, str] = field(default_factory=dict)
    shipped: frozenset[str] = frozenset()
    usual: Mapping[tuple[str, str, str], Usual] = field(default_factory=dict)
    recorded: Mapping[str, Recorded] = field(default_factory=dict)
    gauge_checks: tuple[GaugeCheck, ...] = ()
    newest_day: date | None = None
    past: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=polars_schema(READING)))
    cards: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=CARDS))
    left: Mapping[str, date] = field(default_factory=dict)
    stays: Mapping[str, tuple[tuple[str, date | None], ...]] = field(default_factory=dict)
    parts: frozenset[str] = frozenset()
    waiting: frozenset[str] = frozenset()
    again: frozenset[tuple[str, str]] = frozenset()


def identity(readings: pl.DataFrame) -> pl.Series:
    """Return what tells one measurement from another: piece, figure, place, repeat and day, as one text.

    Parameters
    ----------
    readings : DataFrame
        READING columns.

    Returns
    -------
    Series of str
        One for each row; the value is not part of it.
    """
    parts = [pl.col(name).cast(pl.String).fill_null("") for name in IDENTITY]
    return readings.select(pl.concat_str(parts, separator="|").alias("identity"))["identity"]


def known_from(today: date, readings: pl.DataFrame, events: pl.DataFrame) -> Known:
    """Gather what a check needs from frames of the store.

    Parameters
    ----------
    today : date
        The workshop's day.
    readings : DataFrame
        READING columns and ``id``: the readings of the upload's pieces, and the latest of each
        characteristic.
    events : DataFrame
        EVENT columns.

    Returns
    -------
    Known
    """
    readings, events = _without_nulls(readings), _without_nulls(events)
    serials = _serials(readings)
    shipped = frozenset(events.filter(pl.col("kind") == "shipped")["serial"].to_list())
    checks = events.filter((pl.col("kind") == "gauge-check") & pl.col("value").is_not_null())
    columns = checks.select("subject", "day", "value", "code", "batch").rows()
    gauge_checks = tuple(
        GaugeCheck(g, d, v, code == "zeroed", master) for g, d, v, code, master in columns if d is not None
    )
    recorded = {}
    if "id" in readings.columns and readings.height:
        own = readings["id"], readings["value"], readings["text"]
        rows = zip(identity(readings), *own, strict=True)
        recorded = {key: Recorded(number, value, text or "") for key, number, value, text in rows}
    newest = readings["day"].max()
    return Known(
        today=today,
        serials=serials,
        shipped=shipped,
        usual=usual_figures(readings),
        recorded=recorded,
        gauge_checks=gauge_checks,
        newest_day=newest if isinstance(newest, date) else None,
        past=readings.select(list(READING)),
        cards=card_days(readings),
    )


def card_days(rows: pl.DataFrame) -> pl.DataFrame:
    """Return which figure of which piece was taken on which day, each once.

    Parameters
    ----------
    rows : DataFrame
        With the columns of `CARDS`.

    Returns
    -------
    DataFrame
        `CARDS` columns; rows without a serial or a day are left out.
    """
    named = _without_nulls(rows.select(pl.col(name).cast(kind) for name, kind in CARDS.items()))
    whole = named.filter((pl.col("serial") != "") & pl.col("day").is_not_null())
    return whole.unique(maintain_order=True)


def usual_figures(readings: pl.DataFrame) -> dict[tuple[str, str, str], Usual]:
    """Return median and robust spread of the latest readings of each characteristic and model.

    Parameters
    ----------
    readings : DataFrame
        READING columns. Body readings of inner tubes are left out.

    Returns
    -------
    dict
        (stage, characteristic, model) -> Usual.
    """
    keys = ["stage", "characteristic", "model"]
    plain = _without_nulls(readings).filter(pl.col("value").is_not_null() & (pl.col("surface") != "body"))
    latest = plain.sort("day").group_by(keys).tail(LATEST)
    table = (
        latest.with_columns(pl.col("value").median().over(keys).alias("_median"))
        .with_columns((pl.col("value") - pl.col("_median")).abs().alias("_off"))
        .group_by(keys)
        .agg(pl.col("_median").first(), pl.col("_off").median(), pl.len())
    )
    return {(s, c, m): Usual(median, SPREAD_OF_MAD * off, n) for s, c, m, median, off, n in table.rows()}


def _without_nulls(frame: pl.DataFrame) -> pl.DataFrame:
    """Write empty text for missing text: a store may keep either."""
    return frame.with_columns(pl.col(pl.String).fill_null(""))


def _serials(readings: pl.DataFrame) -> dict[str, str]:
    found: dict[str, str] = {}
    for serial, model in readings.select("serial", "model").unique().rows():
        if model or serial not in found:
            found[serial] = model or found.get(serial, "")
    return found
