"""Where a remedy's readings come from: a file, or the workshop's store; and which limits hold there.

Each answer raises `RemedyError` where the data are at fault, and `RemedyUsageError` where options do not fit
together.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from qc.jobs.remedies.coating import CoatResult, coat
from qc.jobs.remedies.errors import RemedyError, RemedyUsageError
from qc.jobs.remedies.instruments import instrument_of, tune_plain
from qc.jobs.remedies.pairing import PairResult, pair
from qc.jobs.remedies.planned import filled_limits, latest_limits, limits_in_plan
from qc.jobs.remedies.planned import opened as _open
from qc.jobs.remedies.recording import RecordingResult, hear
from qc.jobs.remedies.sheet import RemedySheet, sheet_named
from qc.jobs.remedies.tool_wear import ToolWear, WearResult, wear
from qc.jobs.remedies.tuning import TuneResult, tune
from qc.jobs.workshop import find_folder
from qc.plain import Arguments

if TYPE_CHECKING:
    import polars as pl

    from qc.jobs.workshop import Workshop
    from qc.plan import Characteristic, Model


def tune_from(
    file: Path | None,
    *,
    serial: str | None,
    workshop: Path | None,
    model: str | None,
    plan: Path | None,
    length_mm: float | None,
    valves: Sequence[str],
    reference_air_c: float | None,
    a4_hz: float | None,
    wav: Path | None,
    **options: Any,
) -> TuneResult | RecordingResult:
    """Answer `qc tune` from a file, a recording, or a piece of the workshop."""
    if a4_hz is not None and not 0 < a4_hz < math.inf:
        raise RemedyUsageError(f"--a4 {a4_hz:g}: the tuner's A4 in hertz is needed, usually 440 to 443")
    if file is None and serial is None:
        if wav is None:
            raise RemedyUsageError(
                "give a FILE with a note set, --serial of a piece, or a recording with --wav"
            )
        return hear(wav, a4_hz or 440.0)
    if file is not None and serial is not None:
        raise RemedyUsageError("give either a FILE or --serial, not both")
    if file is None:
        return _tune_piece(serial or "", workshop, reference_air_c, options)
    if length_mm is not None and (model is not None or plan is not None):
        raise RemedyUsageError("give either --length-mm with --valve, or --model with --plan")
    if length_mm is None and model is None and plan is None and workshop is None:
        raise RemedyUsageError("say which instrument: --model NAME (with --plan FILE), or --length-mm MM")
    if length_mm is None and valves:
        raise RemedyUsageError("--valve goes with --length-mm; a model brings its own valves")
    if model is not None and plan is None and workshop is None:
        workshop = find_folder()
    return tune(
        file,
        None if length_mm is None else tune_plain(length_mm, valves),
        model=model,
        workshop=workshop,
        plan=plan,
        reference_air_c=reference_air_c,
        a4_hz=a4_hz,
        wav=wav,
        **options,
    )


def pair_from(
    inner: Path | None,
    outer: Path | None,
    *,
    workshop: Path | None,
    target_um: float | None,
    lower_um: float | None,
    upper_um: float | None,
    cost: str = "",
) -> PairResult:
    """Answer `qc pair` from two files, or from the tubes of the workshop that are in no instrument yet."""
    if (inner is None) != (outer is None):
        raise RemedyUsageError("--inner and --outer belong together; leave both out for the workshop's rack")
    if inner is not None and outer is not None:
        return pair(
            inner, outer, target_um=target_um, lower_um=lower_um, upper_um=upper_um, cost=cost,
            workshop=workshop,
        )  # fmt: skip
    shop = _open(workshop)
    rack = _rack(shop)
    limits = limits_in_plan(shop.plan, "clearance", None, shop.today)
    sides = []
    for characteristic, column in (("inner_od", "od_mm"), ("outer_bore", "id_mm")):
        rows = rack.filter(rack["characteristic"] == characteristic)
        names = {"serial": "tube", "value": column}
        sides.append(
            _sheet(rows, f"rack ({characteristic})", names, ["leg", "station", "direction", "surface"])
        )
    target, lower, upper = filled_limits(limits, target_um, lower_um, upper_um)
    if target is None or lower is None or upper is None:
        raise RemedyUsageError(
            "the plan has no clearance limits: give --target-um, --lower-um and --upper-um"
        )
    chosen = cost or shop.plan.workshop.pairing_cost
    return pair(*sides, target_um=target, lower_um=lower, upper_um=upper, cost=chosen)


def wear_from(
    file: Path | None,
    *,
    workshop: Path | None,
    value: str | None,
    against: str | None,
    tool: str | None,
    lower: float | None,
    upper: float | None,
    per_week: float | None,
    as_of: date | None,
) -> WearResult:
    """Answer `qc wear` from a file, or for a characteristic of the workshop that wears."""
    if file is not None:
        if workshop is None and (value is None or against is None):
            raise RemedyUsageError("--value and --against name the columns of the figure and the count")
        return wear(
            file, value=value, against=against, tool=tool, lower=lower, upper=upper, per_week=per_week,
            as_of=as_of, workshop=workshop,
        )  # fmt: skip
    shop = _open(workshop, as_of)
    wearing = [(s.id, c) for s in shop.plan.stages for c in s.characteristics if c.wears_with]
    chosen = [(stage, c) for stage, c in wearing if value in (None, c.id, c.name)]
    if not chosen:
        there = ", ".join(c.id for _, c in wearing) or "none"
        raise RemedyUsageError(f"--value {value}: no such wearing figure in the plan (it has: {there})")
    stage, characteristic = chosen[0]
    rows = shop.store.readings(stage=stage, characteristics=[characteristic.id])
    rows = _of_tools_in_use(rows, shop)
    return _wear_by_model(rows, shop, characteristic, lower, upper, per_week)


def coat_from(
    file: Path | None,
    *,
    serial: str | None,
    workshop: Path | None,
    nominal_um: float | None,
    lower_um: float | None,
    upper_um: float | None,
    **options: Any,
) -> CoatResult:
    """Answer `qc coat` from a file, or for a piece of the workshop."""
    if (file is None) == (serial is None):
        raise RemedyUsageError("give a FILE with spots, or --serial of a piece in the workshop")
    if file is not None:
        return coat(
            file, workshop=workshop, nominal_um=nominal_um, lower_um=lower_um, upper_um=upper_um, **options
        )
    shop = _open(workshop)
    rows = shop.store.readings(serials=[serial or ""], characteristics=["thickness"])
    sheet = _sheet(rows, f"{serial} (lacquer)", {"value": "um"}, ["area", "spot", "serial"])
    limits = limits_in_plan(shop.plan, "thickness", rows["model"][0], shop.today)
    nominal_um, lower_um, upper_um = filled_limits(limits, nominal_um, lower_um, upper_um)
    if nominal_um is None or lower_um is None:
        raise RemedyUsageError("the plan has no thickness limits: give --nominal and --lower")
    return coat(sheet, nominal_um=nominal_um, lower_um=lower_um, upper_um=upper_um, **options)


def _tune_piece(
    serial: str, workshop: Path | None, reference_air_c: float | None, options: Arguments
) -> TuneResult:
    shop = _open(workshop)
    rows = shop.store.readings(serials=[serial], characteristics=["note"])
    # Notes blown on different days are different sittings.
    names = {"value": "cents", "person": "tester", "day": "sitting"}
    sheet = _sheet(rows, f"{serial} (tuning)", names, ["partial", "position", "valve", "air_c", "method"])
    model: Model | None = shop.plan.model(rows["model"][0])
    if model is None:
        raise RemedyError(f"{serial}: model {rows['model'][0]!r} is not in the plan. Add it to the plan")
    air = shop.plan.workshop.reference_temperature_c if reference_air_c is None else reference_air_c
    return tune(sheet, instrument_of(model), reference_air_c=air, a4_hz=shop.plan.workshop.a4_hz, **options)


def _rack(shop: Workshop) -> pl.DataFrame:
    """Give the tubes that wait in the rack: measured on one side only, and in no instrument yet."""
    import polars as pl

    rows = shop.store.readings(characteristics=["inner_od", "outer_bore"])
    sides = rows.group_by("serial").agg(pl.col("characteristic").n_unique().alias("sides"))
    # a card of a whole slide bears both diameters under one serial: that is no loose tube
    slides = sides.filter(sides["sides"] > 1)["serial"].to_list()
    fitted = shop.store.events("part")["subject"].to_list()
    waiting = rows.filter(~rows["serial"].is_in(slides + fitted))
    if waiting["characteristic"].n_unique() < 2:
        raise RemedyError(
            "the rack holds no loose inners or no loose outers: the tubes in the store are in slides "
            "already. Upload cards of loose tubes under their own serials, or give --inner and --outer"
        )
    return waiting


def _sheet(rows: pl.DataFrame, name: str, renamed: dict[str, str], others: Sequence[str]) -> RemedySheet:
    """Hand stored readings to the reader of sheets, so that both ways share one set of checks."""
    if rows.height == 0:
        raise RemedyError(f"{name}: the store holds no readings. Check the serial, or upload the card first")
    columns = {**{column: column for column in others}, **renamed}
    return sheet_named(name, rows.select(list(columns)).rename(columns))


def _of_tools_in_use(rows: pl.DataFrame, shop: Workshop) -> pl.DataFrame:
    """Keep the tools that are fitted on the day, and of each only what was made since its fitting."""
    removed = {t.id for t in shop.plan.tools if t.removed is not None and t.removed <= shop.today}
    kept = rows.filter(rows["tool"].is_not_null() & rows["tool_count"].is_not_null())
    return kept.filter(~kept["tool"].is_in(sorted(removed))) if removed else kept


def _since_fitting(rows: pl.DataFrame) -> pl.DataFrame:
    """Give one row a piece, readings averaged, from the last fall of the count on: a re-polish resets it."""
    import polars as pl

    ordered = rows.sort("measured_at", "row", maintain_order=True)
    falls = (ordered["tool_count"].diff() < 0).fill_null(False).arg_true()
    current = ordered[int(falls[-1]) :] if len(falls) else ordered
    pieces = current.group_by("serial", "tool_count", maintain_order=True).agg(
        pl.col("value").mean(), pl.col("tool").first(), pl.col("model").first()
    )
    return pieces.sort("tool_count", maintain_order=True)


def _wear_by_model(
    rows: pl.DataFrame,
    shop: Workshop,
    characteristic: Characteristic,
    lower: float | None,
    upper: float | None,
    per_week: float | None,
) -> WearResult:
    """Forecast every tool against the limits of the model it makes."""
    tools: list[ToolWear] = []
    cautions: tuple[str, ...] = ()
    for name in rows["tool"].unique(maintain_order=True).to_list():
        own = _since_fitting(rows.filter(rows["tool"] == name))
        _, low, high = filled_limits(
            latest_limits(characteristic, own["model"][0], shop.today), None, lower, upper
        )
        sheet = _sheet(own, f"{name} ({characteristic.id})", {"value": "value"}, ["tool", "tool_count"])
        result = wear(
            sheet,
            value="value",
            against="tool_count",
            tool="tool",
            lower=low,
            upper=high,
            per_week=per_week,
            as_of=shop.today,
        )
        tools += result.tools
        cautions = result.cautions
    if not tools:
        raise RemedyError(
            f"{characteristic.id}: no readings with tool and count in the store. Upload the log first"
        )
    return WearResult(tuple(tools), characteristic.id, "tool_count", cautions)
