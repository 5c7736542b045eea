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

from qc.jobs.judging import brought_up
from qc.jobs.remedies.coating import CoatResult, coat
from qc.jobs.remedies.dies import wear_of
from qc.jobs.remedies.errors import RemedyError, RemedyUsageError
from qc.jobs.remedies.instruments import instrument_of, tune_plain
from qc.jobs.remedies.notes import read_notes
from qc.jobs.remedies.pairing import PairResult, pair
from qc.jobs.remedies.planned import filled_limits, limits_in_plan
from qc.jobs.remedies.planned import opened as _open
from qc.jobs.remedies.recording import RecordingResult, hear
from qc.jobs.remedies.sheet import RemedySheet, stored_sheet
from qc.jobs.remedies.tool_wear import WearResult, wear
from qc.jobs.remedies.tuning import TuneResult, tune
from qc.jobs.workshop import find_folder
from qc.plan import TUBE_FIGURES
from qc.trade import NotePlace, note_map

if TYPE_CHECKING:
    import polars as pl

    from qc.jobs.workshop import Workshop
    from qc.plan import Model


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
        return tune_piece(_open(workshop), serial or "", reference_air_c=reference_air_c, **options)
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
    lock: Sequence[str] = (),
) -> PairResult:
    """Answer `qc pair` from two files, or from the tubes of the workshop that are in no instrument yet."""
    if (inner is None) != (outer is None):
        raise RemedyUsageError("--inner and --outer belong together; leave both out for the workshop's rack")
    locked = [_locked(text) for text in lock]
    if inner is not None and outer is not None:
        return pair(
            inner, outer, target_um=target_um, lower_um=lower_um, upper_um=upper_um, cost=cost,
            workshop=workshop, locked=locked,
        )  # fmt: skip
    return pair_rack(
        _open(workshop), target_um=target_um, lower_um=lower_um, upper_um=upper_um, cost=cost, locked=locked
    )


def pair_rack(
    shop: Workshop,
    *,
    target_um: float | None = None,
    lower_um: float | None = None,
    upper_um: float | None = None,
    cost: str = "",
    locked: Sequence[tuple[str, str]] = (),
    model: str | None = None,
) -> PairResult:
    """Pair the tubes of the workshop that are in no instrument yet; what is left out is the plan's.

    With a model only its tubes, by its limits.
    """
    rack = _rack(shop, model)
    models = models_of_rack(rack)
    limits = limits_in_plan(shop.plan, "clearance", models[0] if len(models) == 1 else None, shop.today)
    sides = []
    for characteristic, column in (("inner_od", "od_mm"), ("outer_bore", "id_mm")):
        rows = rack.filter(rack["characteristic"] == characteristic)
        names = {"serial": "tube", "value": column}
        sides.append(
            stored_sheet(rows, f"rack ({characteristic})", names, ["leg", "station", "direction", "surface"])
        )
    target, lower, upper = filled_limits(limits, target_um, lower_um, upper_um)
    if target is None or lower is None or upper is None:
        raise RemedyUsageError(
            "the plan has no clearance limits: give --target-um, --lower-um and --upper-um"
        )
    chosen = cost or shop.plan.workshop.pairing_cost
    return pair(*sides, target_um=target, lower_um=lower, upper_um=upper, cost=chosen, locked=locked)


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
    brought_up(shop)  # as status does, so that both tell the same
    return wear_of(shop, value, lower=lower, upper=upper, per_week=per_week)


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
    return coat_piece(
        _open(workshop), serial or "", nominal_um=nominal_um, lower_um=lower_um, upper_um=upper_um, **options
    )


def coat_piece(
    shop: Workshop,
    serial: str,
    *,
    nominal_um: float | None = None,
    lower_um: float | None = None,
    upper_um: float | None = None,
    **options: Any,
) -> CoatResult:
    """Judge the lacquer of a piece of the workshop; what is left out is the plan's."""
    rows = shop.store.readings(serials=[serial], characteristics=["thickness"])
    sheet = stored_sheet(rows, f"{serial} (lacquer)", {"value": "um"}, ["area", "spot", "serial"])
    limits = limits_in_plan(shop.plan, "thickness", rows["model"][0], shop.today)
    nominal_um, lower_um, upper_um = filled_limits(limits, nominal_um, lower_um, upper_um)
    if nominal_um is None or lower_um is None:
        raise RemedyUsageError("the plan has no thickness limits: give --nominal and --lower")
    return coat(sheet, nominal_um=nominal_um, lower_um=lower_um, upper_um=upper_um, **options)


def _locked(text: str) -> tuple[str, str]:
    """Read a pair that is to stay together, as it is typed."""
    inner, equals, outer = (part.strip() for part in text.partition("="))
    if not (inner and equals and outer):
        raise RemedyUsageError(f"--lock {text}: write INNER=OUTER, the two tubes that stay together")
    return inner, outer


def tune_piece(
    shop: Workshop, serial: str, *, reference_air_c: float | None = None, **options: Any
) -> TuneResult:
    """Compute the remedy of a piece from its notes in the store; options as for `tune`."""
    return tune_sheet(shop, *notes_of_piece(shop, serial), reference_air_c=reference_air_c, **options)


def tune_sheet(
    shop: Workshop, sheet: RemedySheet, model: Model, *, reference_air_c: float | None = None, **options: Any
) -> TuneResult:
    """Compute the remedy of notes that are at hand, for the air and the A4 of a workshop."""
    air = shop.plan.workshop.reference_temperature_c if reference_air_c is None else reference_air_c
    return tune(sheet, instrument_of(model), reference_air_c=air, a4_hz=shop.plan.workshop.a4_hz, **options)


def sitting_map(shop: Workshop, sheet: RemedySheet, model: Model) -> tuple[NotePlace, ...]:
    """Return every note of a sheet as it was blown, nothing put right."""
    instrument = instrument_of(model)
    notes = read_notes(sheet, instrument, shop.plan.workshop.a4_hz)
    return note_map(notes, instrument, reference_air_c=shop.plan.workshop.reference_temperature_c)


def notes_of_piece(shop: Workshop, serial: str) -> tuple[RemedySheet, Model]:
    """Return the notes of a piece as a sheet of its own, and its model."""
    rows = shop.store.readings(serials=[serial], characteristics=["note"])
    # Notes blown on different days are different sittings.
    names = {"value": "cents", "person": "tester", "day": "sitting"}
    sheet = stored_sheet(
        rows, f"{serial} (tuning)", names, ["partial", "position", "valve", "air_c", "method"]
    )
    model: Model | None = shop.plan.model(rows["model"][0])
    if model is None:
        raise RemedyError(f"{serial}: model {rows['model'][0]!r} is not in the plan. Add it to the plan")
    return sheet, model


def rack_models(shop: Workshop) -> list[str]:
    """Return the models whose tubes wait in the rack, none where nothing waits or no model is known."""
    return models_of_rack(_waiting(shop))


def models_of_rack(rack: pl.DataFrame) -> list[str]:
    """Return the models of some tubes, in order of first appearance."""
    return [name for name in dict.fromkeys(rack["model"].to_list()) if name]


def _rack(shop: Workshop, model: str | None) -> pl.DataFrame:
    """Give the tubes that wait in the rack, of a model if one is asked for; both sides must be there."""
    waiting = _waiting(shop)
    if model is not None:
        waiting = waiting.filter(waiting["model"] == model)
    sides = set(waiting["characteristic"].to_list())
    if len(sides) == 2:
        return waiting
    if not shop.store.readings(characteristics=list(TUBE_FIGURES)).height:
        raise RemedyError(
            "no slide tube has been measured yet. Upload cards of loose tubes under their own serials, "
            "or give --inner and --outer"
        )
    if model is None:
        raise RemedyError(
            "the rack holds no loose inners or no loose outers: the tubes in the store are in slides "
            "already. Upload cards of loose tubes under their own serials, or give --inner and --outer"
        )
    there, lacks = ("inners", "outers") if "inner_od" in sides else ("outers", "inners")
    raise RemedyError(
        f"the rack holds loose {there} of model {model}, and no loose {lacks} for them. Upload the cards of "
        f"the {lacks} under their own serials, or give --inner and --outer"
    )


def _waiting(shop: Workshop) -> pl.DataFrame:
    """Give the tubes that wait in the rack: measured on one side only, and in no instrument yet.

    An instrument of which one side is held or was never read is no tube: parts went into it, or it left.
    """
    import polars as pl

    rows = shop.store.readings(characteristics=list(TUBE_FIGURES), until=shop.today)
    sides = rows.group_by("serial").agg(pl.col("characteristic").n_unique().alias("sides"))
    # a card of a whole slide bears both diameters under one serial: that is no loose tube
    slides = sides.filter(sides["sides"] > 1)["serial"].to_list()
    parts = shop.store.events("part", until=shop.today)
    left = shop.store.events("shipped", until=shop.today)["serial"]
    gone = {*parts["subject"].drop_nulls(), *parts["serial"].drop_nulls(), *left.drop_nulls()}
    return rows.filter(~rows["serial"].is_in([*slides, *sorted(gone)]))
