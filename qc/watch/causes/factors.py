"""What was recorded around each piece: who, with which gauge, tool and batch, upstream as well as here.

A factor is one column of circumstances, for example "the bending mandrel named on the valve card" or "the
leadpipe batch on the assembly card". Its levels per serial are what suspects are drawn from.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

import polars as pl

from qc.plan import Plan
from qc.watch.causes.upstream import Figure
from qc.watch.results import Point

CHECKED, UNCHECKED = "checked", "not checked"

KINDS = ("person", "gauge", "tool", "batch")
"""What a reading says of its circumstances."""

AIR = Figure("", "air")
"""The air temperature stands among the figures, though it was measured beside the piece."""


@dataclass(frozen=True, slots=True, order=True)
class Factor:
    """Names one column of circumstances."""

    kind: str  # person | gauge | tool | batch | gauge-check | model mix
    source: str  # stage, gauge class, tool class or role of a part


@dataclass(frozen=True, slots=True)
class FactorLevels:
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

    def beside(self, points: Sequence[Point], stage_index: int) -> FactorLevels:
        """Add what the points of a series say themselves: the mix of models and the air at their stage."""
        mix = Factor("model mix", "model")
        return FactorLevels(
            {**self.levels, mix: {p.serial: p.model for p in points if p.model}},
            {**self.route, mix: stage_index},
            {AIR: {p.serial: p.air_c for p in points if p.air_c is not None}, **self.figures},
        )


class FactorTable:
    """What was recorded around many pieces, sorted once; the factors of a few of them are taken from it.

    Parameters
    ----------
    readings : polars.DataFrame
        Rows of the tidy table, in order of entry.
    plan : Plan
        Gives gauge and tool classes and the route.
    """

    def __init__(self, readings: pl.DataFrame, plan: Plan) -> None:
        self._plan = plan
        self._route = {stage.id: index for index, stage in enumerate(plan.stages)}
        self._levels = _first_levels(readings, plan, self._route)
        daily = [gauge.id for gauge in plan.gauges if gauge.daily_check]
        used = readings.with_row_index("entered").filter(pl.col("gauge").is_in(daily))
        self._days = used.select("gauge", "serial", "day").unique()
        self._stages = used.unique(["gauge", "serial"], keep="first", maintain_order=True).select(
            "entered", "gauge", "serial", "stage"
        )

    def factors(self, events: pl.DataFrame, serials: Collection[str] | None = None) -> FactorLevels:
        """Gather the factors of some pieces, as if nothing else had been recorded.

        Parameters
        ----------
        events : polars.DataFrame
            Events of kind part of these pieces, and gauge checks.
        serials : collection of str, optional
            The pieces, and the parts in them; all when left out.
        """
        own = pl.lit(True) if serials is None else among("serial", serials)
        levels: dict[Factor, dict[str, str]] = {}
        place: dict[Factor, int] = {}
        by_factor = self._levels.filter(own).partition_by("kind", "source", maintain_order=True, as_dict=True)
        for (kind, source), part in by_factor.items():
            factor = Factor(kind, source)
            place[factor] = int(part["at"].min())  # type: ignore[arg-type]
            levels[factor] = dict(part.select("serial", "level").iter_rows())

        def put(factor: Factor, serial: str, level: str, at: int) -> None:
            levels.setdefault(factor, {}).setdefault(serial, level)
            place[factor] = min(at, place.get(factor, at))

        parts = events.filter(pl.col("kind") == "part")
        for serial, code, batch, tool in parts.select("serial", "code", "batch", "tool").iter_rows():
            role = code or "part"
            if batch:
                put(Factor("batch", role), serial, batch, 0)
            if tool:
                put(Factor("tool", _source(self._plan, "tool", tool, role)), serial, tool, 0)
        _carry_over_parts(parts, levels, place)
        stages = dict(
            self._stages.filter(own).sort("entered", descending=True).select("gauge", "stage").rows()
        )
        for (gauge, serial), level in _checks(self._days.filter(own), events).items():
            put(Factor("gauge-check", gauge), serial, level, self._route.get(stages[gauge], 0))
        return FactorLevels(levels, place)


def among(column: str, names: Iterable[str]) -> pl.Expr:
    """Return whether a column holds one of these names."""
    return pl.col(column).is_in(pl.Series(sorted(set(names)), dtype=pl.String).implode())


def _first_levels(readings: pl.DataFrame, plan: Plan, route: Mapping[str, int]) -> pl.DataFrame:
    """Return the first level of each factor and piece in order of entry, and its earliest place."""
    kept = readings.select("serial", "stage", *KINDS).unique(maintain_order=True)
    kept = kept.with_columns(pl.all().fill_null("")).with_row_index("entered")
    rows = pl.concat(
        [
            kept.select("entered", "serial", "stage", level=kind, kind=pl.lit(kind), nth=pl.lit(nth))
            for nth, kind in enumerate(KINDS)
        ]
    ).filter(pl.col("level") != "")
    names = rows.select("kind", "level", "stage").unique()
    named = [(_source(plan, *row), route.get(row[2], 0)) for row in names.iter_rows()]
    names = names.with_columns(
        source=pl.Series([source for source, _ in named], dtype=pl.String),
        at=pl.Series([at for _, at in named], dtype=pl.Int64),
    )
    rows = rows.join(names, on=["kind", "level", "stage"]).sort("entered", "nth")
    each = ["kind", "source", "serial"]
    rows = rows.with_columns(pl.col("at").min().over(each))
    return rows.unique(each, keep="first", maintain_order=True)


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


def _checks(used: pl.DataFrame, events: pl.DataFrame) -> dict[tuple[str, str], str]:
    """Say for each gauge used and each serial whether it had been checked on the first day of use."""
    checks = events.filter(pl.col("kind") == "gauge-check").select("subject", "day")
    done: set[tuple[str, date]] = set(checks.iter_rows())
    return {
        (gauge, serial): CHECKED if (gauge, day) in done else UNCHECKED
        for gauge, serial, day in used.sort("day", "serial", "gauge", descending=True).iter_rows()
    }
