"""What a table gives for a few pieces is what would be gathered if nothing else had been recorded."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest

from qc.plan import load_plan
from qc.watch import Factor, FactorTable, FigureTable

PLAN = """
workshop: {name: Reed Lane Works, time_zone: UTC}
models:
  - {id: tenor, name: Tenor, family: tenor, pedal_midi: 34, length_mm: 2931.6}
  - {id: bass, name: Bass, family: bass, pedal_midi: 34, length_mm: 2931.6}
people: [{code: IS}, {code: AB}]
gauges:
  - {id: G-1, name: G, gauge_class: rig, resolution: 0.001, unit: mm, daily_check: true, check_tolerance: 1}
  - {id: G-2, name: G, gauge_class: rig, resolution: 0.001, unit: mm, daily_check: true, check_tolerance: 1}
  - {id: G-3, name: Gauge, gauge_class: bench, resolution: 0.001, unit: mm}
tools:
  - {id: D-1, name: Die, tool_class: die, fitted: 2026-01-01}
  - {id: D-2, name: Die, tool_class: die, fitted: 2026-03-01}
stages:
  - {id: s0, name: First, characteristics: [{id: f0, name: One, unit: mm, limits: [{target: 10}]}]}
  - {id: s1, name: Second, characteristics: [{id: f1, name: B, unit: mm}, {id: f2, name: Pitch, unit: cent}]}
  - {id: s2, name: Third, characteristics: [{id: f3, name: Four, unit: mm}]}
"""
STAGES = {"s0": "f0", "s1": "f1", "s2": "f3"}


@pytest.fixture(scope="module")
def plan():
    return load_plan(PLAN)


def drawn(seed, pieces=40):
    """Readings, assemblies, checks and means of a small workshop, in which parts are pieces as well."""
    draw = np.random.default_rng(seed)
    serials = [f"R-{n}" for n in range(pieces)] + [f"P-{n}" for n in range(pieces // 2)]
    some = {
        "serial": serials,
        "model": ["tenor", "bass", None],
        "stage": [*STAGES, "s9"],
        "person": ["IS", "AB", "", None],
        "gauge": ["G-1", "G-2", "G-3", "G-9", None],
        "tool": ["D-1", "D-2", "D-9", "", None],
        "batch": ["B-1", "B-2", None],
    }
    rows = [{name: each[draw.integers(len(each))] for name, each in some.items()} for _ in range(600)]
    for row in rows:
        row["day"] = date(2026, 4, 1) + timedelta(days=int(draw.integers(9)))
        row["characteristic"] = STAGES.get(row["stage"], "f2")
    parts = [
        {
            **{
                "kind": "part",
                "serial": serials[draw.integers(len(serials))],
                "code": ["bell", "", None][n % 3],
            },
            **{"subject": f"P-{draw.integers(pieces // 2)}", "batch": some["batch"][n % 3]},
            **{"tool": some["tool"][n % 5], "day": date(2026, 4, 5)},
        }
        for n in range(pieces)
    ]
    checks = [
        {
            "kind": "gauge-check",
            "subject": f"G-{n % 2 + 1}",
            "day": date(2026, 4, 1) + timedelta(days=n // 2),
            "value": 0.0,
        }
        for n in range(8)
    ]
    readings = pl.DataFrame(rows, infer_schema_length=None)
    means = (
        readings.with_columns(value=pl.Series(draw.normal(10, 1, readings.height)))
        .group_by("serial", "model", "stage", "characteristic", maintain_order=True)
        .agg(pl.col("day").min(), pl.col("value").mean().alias("mean"))
        .sort("serial", "stage", "characteristic", "day", maintain_order=True)
    )
    return readings, pl.DataFrame(parts), pl.DataFrame(checks), means


def few(frame, names):
    return frame.filter(pl.col("serial").is_in(list(names)))


def by_hand(readings, events, plan):
    """The same factors, row by row: first level of a piece, earliest stage of a factor, in order of entry."""
    route = {stage.id: n for n, stage in enumerate(plan.stages)}
    classes = {t.id: t.tool_class for t in plan.tools} | {g.id: g.gauge_class for g in plan.gauges}
    levels, place = {}, {}

    def put(factor, serial, level, at):
        levels.setdefault(factor, {}).setdefault(serial, level)
        place[factor] = min(at, place.get(factor, at))

    for row in readings.iter_rows(named=True):
        for kind in ("person", "tool", "batch"):
            if row[kind]:
                own = classes.get(row[kind], row["stage"]) if kind == "tool" else row["stage"]
                factor = Factor(kind, own, row["stage"], (row["characteristic"],))
                put(factor, row["serial"], row[kind], route.get(row["stage"], 0))
    parts = events.filter(pl.col("kind") == "part").rows(named=True)
    for row in parts:
        role = row["code"] or "part"
        if row["batch"]:
            put(Factor("batch", role), row["serial"], row["batch"], 0)
        if row["tool"]:
            put(Factor("tool", classes.get(row["tool"], role)), row["serial"], row["tool"], 0)
    for factor, own in list(levels.items()):
        carried = {}
        for row in parts:
            if factor.kind in {"tool", "batch"} and row["subject"] in own:
                name = replace(factor, source=f"{factor.source} of {row['code'] or 'part'}")
                carried.setdefault(name, {}).setdefault(row["serial"], own[row["subject"]])
        for name, found in carried.items():
            levels.setdefault(name, {}).update(found)
            place.setdefault(name, 0)
    done = {(r["subject"], r["day"]) for r in events.rows(named=True) if r["kind"] == "gauge-check"}
    used = readings.filter(pl.col("gauge").is_in(["G-1", "G-2"])).rows(named=True)
    first = {row["gauge"]: row["stage"] for row in reversed(used)}
    for row in sorted(used, key=lambda r: (r["day"], r["serial"])):
        said = "checked" if (row["gauge"], row["day"]) in done else "not checked"
        put(Factor("gauge-check", row["gauge"]), row["serial"], said, route.get(first[row["gauge"]], 0))
    return levels, place


@pytest.mark.parametrize("seed", range(6))
def test_factors_of_a_few_pieces(plan, seed):
    readings, parts, checks, _ = drawn(seed)
    table = FactorTable(readings, plan)
    for own in ([f"R-{n}" for n in range(seed, 40, 3)], ["R-1", "P-2"], ["R-7"]):
        mine = few(parts, own)
        about = {*own, *mine["subject"]}
        events = pl.concat([mine, checks], how="diagonal")
        found = table.factors(events, about)
        alone = FactorTable(few(readings, about), plan).factors(events)
        levels, place = by_hand(few(readings, about), events, plan)
        assert (found.levels, found.route) == (alone.levels, alone.route) == (levels, place)
        assert list(found.levels) == list(alone.levels)


@pytest.mark.parametrize("seed", range(6))
def test_figures_of_a_few_pieces(plan, seed):
    _, parts, _, means = drawn(seed)
    table = FigureTable(means, plan)
    for own in ([f"R-{n}" for n in range(seed, 40, 3)], ["R-1", "P-2"]):
        mine = few(parts, own)
        about = {*own, *mine["subject"]}
        for stage in range(4):
            found = table.figures(mine, stage, about)
            assert found == FigureTable(few(means, about), plan).figures(mine, stage)
            assert {figure.stage for figure in found} <= {"s0", "s1", "s2"}
            assert not any(figure.characteristic == "f2" for figure in found)
    first = few(means, [f"R-{n}" for n in range(40)]).filter(stage="s0").row(0, named=True)
    (one,) = table.figures(parts.clear(), 1, {first["serial"]}).values()
    assert one == {first["serial"]: first["mean"] - 10}


def test_figures_of_one_card_make_one_factor_and_those_of_another_a_second(plan):
    """At the second stage two figures stand on one card, of which one was not read on a piece."""
    base = {"gauge": None, "tool": None, "batch": None, "model": "tenor", "stage": "s1"}
    said = {"f1": ["IS", "IS", "AB"], "f2": ["IS", None, "AB"], "f9": ["AB", "AB", "AB"]}
    rows = [
        {**base, "serial": f"R-{n}", "characteristic": figure, "person": who, "day": date(2026, 4, 1)}
        for figure, people in said.items()
        for n, who in enumerate(people)
    ]
    readings = pl.DataFrame(rows, schema_overrides=dict.fromkeys(("gauge", "tool", "batch"), pl.String))
    parts = pl.DataFrame(
        schema=dict.fromkeys(("kind", "serial", "code", "subject", "batch", "tool"), pl.String)
    )
    events = parts.with_columns(day=pl.lit(None, pl.Date), value=pl.lit(None, pl.Float64))
    found = FactorTable(readings, plan).factors(events).levels
    assert found == {
        Factor("person", "s1", "s1", ("f1", "f2")): {"R-0": "IS", "R-1": "IS", "R-2": "AB"},
        Factor("person", "s1", "s1", ("f9",)): {"R-0": "AB", "R-1": "AB", "R-2": "AB"},
    }


def test_a_figure_without_a_chart_is_never_named(plan):
    """It is read for another figure; the means of the very same readings without it give the rest."""
    *_, means = drawn(3)
    first, *rest = plan.stages
    hidden = first.model_copy(
        update={"characteristics": (first.characteristics[0].model_copy(update={"charted": False}),)}
    )
    kept = plan.model_copy(update={"stages": (hidden, *rest)})
    none = pl.DataFrame(schema=dict.fromkeys(("subject", "serial", "code"), pl.String))
    assert "s0" in {figure.stage for figure in FigureTable(means, plan).figures(none, 3)}
    assert "s0" not in {figure.stage for figure in FigureTable(means, kept).figures(none, 3)}
