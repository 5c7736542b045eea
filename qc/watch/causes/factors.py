"""What was recorded around each piece: who, with which gauge, tool and batch, upstream as well as here.

A factor is one column of circumstances, for example "the bending mandrel named on the valve card" or "the
leadpipe batch on the assembly card". Its levels per serial are what suspects are drawn from.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

import polars as pl

from qc.plan import Plan
from qc.watch.causes.upstream import Figure
from qc.watch.causes.weighing import split
from qc.watch.results import Point

CHECKED, UNCHECKED = "checked", "not checked"

KINDS = ("person", "gauge", "tool", "batch")
"""What a reading says of its circumstances."""

CARRIED_ON = ("person", "tool", "batch")
"""What is done at one stage shows at later ones; the gauge of another figure has touched nothing."""

AIR = Figure("", "air")
"""The air temperature stands among the figures, though it was measured beside the piece."""


@dataclass(frozen=True, slots=True, order=True)
class Factor:
    """Names one column of circumstances.

    Attributes
    ----------
    kind : str
        person | gauge | tool | batch | gauge-check | model mix.
    source : str
        Stage, gauge class, tool class or role of a part.
    stage : str
        Stage on whose card it stands; empty for what the readings of the judged series say themselves and
        for what came with a part.
    figures : tuple of str
        Figures of that stage which say the same of every piece: those of one card.
    """

    kind: str
    source: str
    stage: str = ""
    figures: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FactorLevels:
    """Levels of every factor by serial, and the stage each factor belongs to.

    Attributes
    ----------
    levels : mapping of Factor to mapping of serial to level
        A serial without a record of a factor is absent there; several levels are joined by `` + ``.
    route : mapping of Factor to int
        Place of its stage in the route; a cause cannot come after its effect.
    figures : mapping of Figure to mapping of serial to float
        What was measured on the same pieces, and their parts, at earlier stages.
    vouched : mapping of str to collection of str
        By gauge, the serials after which the first check of it, of their own day or later, was not off.
    """

    levels: Mapping[Factor, Mapping[str, str]] = field(default_factory=dict)
    route: Mapping[Factor, int] = field(default_factory=dict)
    figures: Mapping[Figure, Mapping[str, float]] = field(default_factory=dict)
    vouched: Mapping[str, Collection[str]] = field(default_factory=dict)

    def up_to(self, stage_index: int) -> list[Factor]:
        """Return the factors recorded at or before a place in the route, the earliest first.

        The same batch may stand on two cards; it is then named by where it came in.
        """
        found = [factor for factor in self.levels if self.route[factor] <= stage_index]
        return sorted(found, key=lambda factor: self.route[factor])

    def beside(
        self, points: Sequence[Point], plan: Plan, stage_index: int, own: Collection[str]
    ) -> FactorLevels:
        """Put what the readings of a series say themselves in the place of what their card says.

        Parameters
        ----------
        points : sequence of Point
            The series: who, with what, from which batch, of which model, and how warm it was.
        plan : Plan
            Gives gauge and tool classes.
        stage_index : int
            Place of the series' stage in the route.
        own : collection of str
            Figures of that stage whose readings the series is made of.
        """
        stage = plan.stages[stage_index].id
        levels = {
            factor: found
            for factor, found in self.levels.items()
            if not (factor.stage == stage and set(factor.figures) & set(own))
            and not (factor.kind == "gauge-check" and not _uses(points, factor.source))
        }
        route = {factor: self.route[factor] for factor in levels}
        for factor, found in _own_levels(points, plan, stage).items():
            levels[factor], route[factor] = found, stage_index
        air = {p.serial: p.air_c for p in points if p.air_c is not None}
        return FactorLevels(levels, route, {AIR: air, **self.figures}, self.vouched)


def _own_levels(points: Sequence[Point], plan: Plan, stage: str) -> dict[Factor, dict[str, str]]:
    """Return the circumstances that the points of a series carry, gauges and tools by their class."""
    found: dict[Factor, dict[str, list[str]]] = {}
    for point in points:
        for kind in KINDS:
            for level in split(getattr(point, kind)):
                source = _source(plan, kind, level, stage)
                found.setdefault(Factor(kind, source), {}).setdefault(point.serial, []).append(level)
        if point.model:
            found.setdefault(Factor("model mix", "model"), {})[point.serial] = [point.model]
    return {factor: {s: " + ".join(own) for s, own in each.items()} for factor, each in found.items()}


def _uses(points: Sequence[Point], gauge: str) -> bool:
    """Say whether any reading of a series names a gauge; where none names one, its checks may matter."""
    named = {each for point in points for each in split(point.gauge)}
    return not named or gauge in named


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
        self._levels = _first_levels(readings, plan)
        daily = [gauge.id for gauge in plan.gauges if gauge.daily_check]
        self._used = readings.filter(pl.col("gauge").is_not_null()).select("gauge", "serial", "day").unique()
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
        for factor, found in _by_card(self._levels.filter(own)).items():
            place[factor] = self._route.get(factor.stage, 0)
            levels[factor] = found

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
        return FactorLevels(levels, place, vouched=self._vouched(events, own))

    def _vouched(self, events: pl.DataFrame, own: pl.Expr) -> dict[str, set[str]]:
        """Return by gauge the pieces whose next check of it, of the day they were read on or later, was good.

        A gauge that is not checked each day is vouched for by the check that comes next.
        """
        limits = {gauge.id: gauge.check_tolerance for gauge in self._plan.gauges}
        sound: dict[tuple[str, date], bool] = {}
        checks = events.filter(pl.col("kind") == "gauge-check").select("subject", "day", "value")
        for gauge, day, value in checks.iter_rows():
            limit = limits.get(gauge)
            good = value is None or limit is None or abs(value) <= limit
            sound[gauge, day] = sound.get((gauge, day), True) and good
        days: dict[str, list[date]] = {}
        for gauge, day in sorted(one for one in sound if one[1] is not None):
            days.setdefault(gauge, []).append(day)
        found: dict[str, set[str]] = {}
        for gauge, serial, day in self._used.filter(own).iter_rows():
            checked = days.get(gauge, [])
            following = bisect_left(checked, day)
            if following < len(checked) and sound[gauge, checked[following]]:
                found.setdefault(gauge, set()).add(serial)
        return found


def among(column: str, names: Iterable[str]) -> pl.Expr:
    """Return whether a column holds one of these names."""
    return pl.col(column).is_in(pl.Series(sorted(set(names)), dtype=pl.String).implode())


def _first_levels(readings: pl.DataFrame, plan: Plan) -> pl.DataFrame:
    """Return the first level of each factor, figure and piece in order of entry."""
    each = ["serial", "stage", "characteristic"]
    kept = readings.select(*each, *CARRIED_ON).unique(maintain_order=True)
    kept = kept.with_columns(pl.all().fill_null("")).with_row_index("entered")
    rows = pl.concat(
        [
            kept.select("entered", *each, level=kind, kind=pl.lit(kind), nth=pl.lit(nth))
            for nth, kind in enumerate(CARRIED_ON)
        ]
    ).filter(pl.col("level") != "")
    names = rows.select("kind", "level", "stage").unique()
    sources = [_source(plan, *row) for row in names.iter_rows()]
    names = names.with_columns(source=pl.Series(sources, dtype=pl.String))
    rows = rows.join(names, on=["kind", "level", "stage"]).sort("entered", "nth")
    return rows.unique(["kind", "source", *each], keep="first", maintain_order=True)


def _by_card(rows: pl.DataFrame) -> dict[Factor, dict[str, str]]:
    """Return the factors of each stage: figures that nowhere contradict each other stand on one card."""
    keys = ["kind", "source", "stage"]
    said = pl.struct("serial", "level").hash()
    columns = rows.group_by(*keys, "characteristic", maintain_order=True).agg(
        pieces=pl.len(), total=said.sum(), least=said.min(), most=said.max()
    )
    # most figures of a card say the very same: they are told apart without a look at their pieces
    alike = columns.group_by(*keys, "pieces", "total", "least", "most", maintain_order=True).agg(
        pl.col("characteristic")
    )
    parts = rows.partition_by(*keys, "characteristic", as_dict=True)
    cards: dict[tuple[str, str, str], list[tuple[list[str], dict[str, str]]]] = {}
    for kind, source, stage, figures in alike.select(*keys, "characteristic").iter_rows():
        found = dict(parts[kind, source, stage, figures[0]].select("serial", "level").iter_rows())
        of_stage = cards.setdefault((kind, source, stage), [])
        for names, levels in of_stage:
            if all(levels.get(serial, level) == level for serial, level in found.items()):
                names += figures
                levels.update(found)
                break
        else:
            of_stage.append((list(figures), found))
    return {Factor(*named, tuple(figures)): levels for named, own in cards.items() for figures, levels in own}


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
                carried = replace(factor, source=f"{factor.source} of {role}")
                target = inherited.setdefault(carried, {})
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
