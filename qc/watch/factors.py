"""What was recorded around each piece: who, with which gauge, tool and batch, upstream as well as here.

A factor is one column of circumstances, for example "the bending mandrel named on the valve card" or "the
leadpipe batch on the assembly card". Its levels per serial are what suspects are drawn from.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

import polars as pl

from qc.plan import Plan
from qc.watch.upstream import Figure

CHECKED, UNCHECKED = "checked", "not checked"

KINDS = ("person", "gauge", "tool", "batch")
"""What a reading says of its circumstances."""


@dataclass(frozen=True, slots=True, order=True)
class Factor:
    """Names one column of circumstances."""

    kind: str  # person | gauge | tool | batch | gauge-check | model mix
    source: str  # stage, gauge class, tool class or role of a part


@dataclass(frozen=True, slots=True)
class Factors:
    """Levels of every factor by serial, and the stage each factor belongs to.

    Attributes
    ----------
    levels : mapping of Factor to mapping of serial to level
        A serial without a record of a factor is absent there.
    route : mapping of Factor to int
        Place of its stage in the route; a cause cannot come after its effect.
    figures : mapping of Figure to mapping of serial to float
        What was measured on the same pieces, and their parts, at earlier stages.
    """

    levels: Mapping[Factor, Mapping[str, str]] = field(default_factory=dict)
    route: Mapping[Factor, int] = field(default_factory=dict)
    figures: Mapping[Figure, Mapping[str, float]] = field(default_factory=dict)

    def up_to(self, stage_index: int) -> list[Factor]:
        """Return the factors recorded at or before a place in the route, the earliest first.

        The same batch may stand on two cards; it is then named by where it came in.
        """
        found = [factor for factor in self.levels if self.route[factor] <= stage_index]
        return sorted(found, key=lambda factor: self.route[factor])


def collect_factors(readings: pl.DataFrame, events: pl.DataFrame, plan: Plan) -> Factors:
    """Gather the levels of all factors from readings and events.

    Parameters
    ----------
    readings, events : polars.DataFrame
        Rows of the tidy tables.
    plan : Plan
        Gives gauge and tool classes and the route.

    Returns
    -------
    Factors
    """
    route = {stage.id: index for index, stage in enumerate(plan.stages)}
    levels: dict[Factor, dict[str, str]] = {}
    place: dict[Factor, int] = {}

    def put(factor: Factor, serial: str, level: str, at: int) -> None:
        levels.setdefault(factor, {}).setdefault(serial, level)
        place[factor] = min(at, place.get(factor, at))

    for factor, at, by_serial in _circumstances(readings, plan, route):
        levels[factor], place[factor] = by_serial, at
    parts = events.filter(pl.col("kind") == "part")
    for row in parts.select("serial", "code", "batch", "tool").iter_rows(named=True):
        role = row["code"] or "part"
        if row["batch"]:
            put(Factor("batch", role), row["serial"], row["batch"], 0)
        if row["tool"]:
            put(Factor("tool", _source(plan, "tool", row["tool"], role)), row["serial"], row["tool"], 0)
    _carry_over_parts(parts, levels, place)
    stages = _first_stages(readings)
    for (gauge, serial), level in _checks(readings, events, plan).items():
        put(Factor("gauge-check", gauge), serial, level, route.get(stages.get(gauge, ""), 0))
    return Factors(levels, place)


def _circumstances(
    readings: pl.DataFrame, plan: Plan, route: Mapping[str, int]
) -> list[tuple[Factor, int, dict[str, str]]]:
    """Return each factor of the readings, its earliest place in the route and its first level by serial."""
    kept = readings.select("serial", "stage", *KINDS).unique(maintain_order=True)
    kept = kept.with_columns(pl.all().fill_null("")).with_row_index("row")
    rows = pl.concat(
        [
            kept.select("row", "serial", "stage", level=kind, kind=pl.lit(kind), nth=pl.lit(nth))
            for nth, kind in enumerate(KINDS)
        ]
    ).filter(pl.col("level") != "")
    names = rows.select("kind", "level", "stage").unique()
    named = [(_source(plan, *row), route.get(row[2], 0)) for row in names.iter_rows()]
    names = names.with_columns(
        source=pl.Series([source for source, _ in named], dtype=pl.String),
        at=pl.Series([at for _, at in named], dtype=pl.Int64),
    )
    rows = rows.join(names, on=["kind", "level", "stage"]).sort("row", "nth")
    factor = ["kind", "source"]
    rows = rows.with_columns(pl.col("at").min().over(factor))
    first = rows.unique([*factor, "serial"], keep="first", maintain_order=True)
    return [
        (Factor(kind, source), part["at"][0], dict(part.select("serial", "level").iter_rows()))
        for (kind, source), part in first.partition_by(factor, maintain_order=True, as_dict=True).items()
    ]


def _source(plan: Plan, kind: str, level: str, stage: str) -> str:
    if kind == "gauge":
        gauge = plan.gauge(level)
        return gauge.gauge_class if gauge else stage
    if kind == "tool":
        tool = plan.tool(level)
        return tool.tool_class if tool else stage
    return stage


def _carry_over_parts(
    parts: pl.DataFrame, levels: dict[Factor, dict[str, str]], place: dict[Factor, int]
) -> None:
    """Give an instrument the tools and batches of the parts that went into it, by role."""
    owner = [
        (row["subject"], row["serial"], row["code"] or "part")
        for row in parts.select("subject", "serial", "code").iter_rows(named=True)
        if row["subject"] and row["serial"]
    ]
    inherited: dict[Factor, dict[str, str]] = {}
    for factor, by_serial in levels.items():
        if factor.kind not in {"tool", "batch"}:
            continue
        for part, serial, role in owner:
            if part in by_serial:
                target = inherited.setdefault(Factor(factor.kind, f"{factor.source} of {role}"), {})
                target.setdefault(serial, by_serial[part])
    for factor, by_serial in inherited.items():
        levels.setdefault(factor, {}).update(by_serial)
        place.setdefault(factor, 0)


def _checks(readings: pl.DataFrame, events: pl.DataFrame, plan: Plan) -> dict[tuple[str, str], str]:
    """Say for each gauge with a daily check and each serial whether it was checked that day."""
    daily = [gauge.id for gauge in plan.gauges if gauge.daily_check]
    checks = events.filter(pl.col("kind") == "gauge-check").select("subject", "day")
    done: set[tuple[str, date]] = set(checks.iter_rows())
    used = readings.filter(pl.col("gauge").is_in(daily)).select("gauge", "serial", "day").unique()
    return {
        (gauge, serial): CHECKED if (gauge, day) in done else UNCHECKED
        for gauge, serial, day in used.sort("day", "serial", descending=True).iter_rows()
    }


def _first_stages(readings: pl.DataFrame) -> dict[str, str]:
    """Return where each gauge was first used."""
    used = readings.filter(pl.col("gauge") != "").unique("gauge", keep="first", maintain_order=True)
    return dict(used.select("gauge", "stage").iter_rows())
