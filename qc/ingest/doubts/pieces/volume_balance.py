"""Drawn tubes must keep the volume of their blank: outside diameter, bore and length check each other.

A draw moves metal but makes none: pi/4 (OD^2 - bore^2) length is that of the blank. Over 2 % off the usual
volume of the same blank means that one of the three readings is wrong.
"""

from __future__ import annotations

import polars as pl

from qc.ingest.doubts.facts import Doubted, Doubts, Facts, is_diameter
from qc.ingest.frames import INDEX
from qc.ingest.known import SPREAD_OF_MAD
from qc.ingest.reasons import Finding, Reason
from qc.plain import FrameRow
from qc.plan import Plan
from qc.trade import section_mm2

TOLERANCE = 0.02
"""Volume may be off by so much before a reading must be wrong."""

ENOUGH = 6
"""So many tubes of one model say what their blank's volume is; chosen, since a slip in one of six leaves
their median alone."""

TUBE = ["_part", "row", "serial", "model", "stage"]


def find_volume_balance(facts: Facts, doubted: Doubts) -> Doubted:
    """Find tubes whose three readings do not give the blank's volume."""
    found: list[Finding] = []
    for stage, names in _triples(facts.plan).items():
        tubes = _tubes(facts.readings, stage, names, doubted)
        tubes = _unbalanced(tubes, _recorded_volumes(facts, stage, names))
        for tube in tubes.to_dicts():
            found += _findings(tube, names)
    return Doubted(found)


def _triples(plan: Plan) -> dict[str, dict[str, str]]:
    """Return stage -> {outer, bore, length: characteristic id} for stages that measure all three."""
    found = {}
    for stage in plan.stages:
        names: dict[str, str] = {}
        for characteristic in stage.characteristics:
            words = set(f"{characteristic.id} {characteristic.name}".casefold().replace("_", " ").split())
            if is_diameter(characteristic) and not characteristic.places:
                names["bore" if words & {"bore", "id"} else "outer"] = characteristic.id
            elif characteristic.unit == "mm" and "length" in words and characteristic.derive is None:
                names["length"] = characteristic.id
        if len(names) == 3:
            found[stage.id] = names
    return found


def _tubes(readings: pl.DataFrame, stage: str, names: dict[str, str], doubted: Doubts) -> pl.DataFrame:
    # one tube a row; a tube with a reading in doubt or left out cannot be weighed
    rows = readings.filter((pl.col("stage") == stage) & pl.col("value").is_not_null())
    if rows.is_empty():
        return pl.DataFrame()
    of = {role: pl.col("characteristic") == name for role, name in names.items()}
    sound = ~pl.col(INDEX).is_in(list(doubted))
    wide = rows.group_by(TUBE, maintain_order=True).agg(
        *(pl.col("value").filter(match).first().alias(role) for role, match in of.items()),
        *(pl.col(INDEX).filter(match).first().alias(f"{role}_index") for role, match in of.items()),
        *(pl.col("_center").filter(match).first().alias(f"{role}_center") for role, match in of.items()),
        *(pl.col("_spread").filter(match).first().alias(f"{role}_spread") for role, match in of.items()),
        sound.all().alias("sound"),
    )
    whole = wide.filter(pl.col("sound") & pl.all_horizontal(pl.col(role).is_not_null() for role in names))
    whole = whole.filter((pl.col("outer") > pl.col("bore")) & (pl.col("bore") > 0) & (pl.col("length") > 0))
    if whole.is_empty():
        return whole
    section = whole.select("outer", "bore").map_rows(lambda pair: section_mm2(pair[0], pair[1])).to_series()
    return whole.with_columns((section * whole["length"]).alias("volume"), section.alias("section"))


def _unbalanced(tubes: pl.DataFrame, recorded: pl.DataFrame) -> pl.DataFrame:
    """Keep the tubes whose volume is off that of the upload's other tubes, or of those on record."""
    if tubes.is_empty():
        return tubes
    enough = pl.len().over("model") >= ENOUGH
    own = pl.when(enough).then(pl.col("volume").median().over("model"))
    off = (
        tubes.join(recorded, on="model", how="left", maintain_order="left")
        .with_columns(pl.coalesce(own, "recorded").alias("usual"))
        .with_columns((pl.col("volume") / pl.col("usual") - 1).alias("error"))
    )
    spread = pl.when(enough).then(SPREAD_OF_MAD * pl.col("error").abs().median().over("model"))
    allowed = pl.max_horizontal(pl.lit(TOLERANCE), 6 * pl.coalesce(spread, "recorded_spread"))
    return off.filter(pl.col("usual").is_not_null() & (pl.col("error").abs() > allowed))


def _recorded_volumes(facts: Facts, stage: str, names: dict[str, str]) -> pl.DataFrame:
    """Return the usual volume of each model on record, and its spread: that of the length, which ends it."""
    rows = []
    for model in facts.plan.models:
        found = {role: facts.known.usual.get((stage, name, model.id)) for role, name in names.items()}
        usual = {
            role: figure for role, figure in found.items() if figure is not None and figure.count >= ENOUGH
        }
        if len(usual) == len(names) and usual["outer"].median > usual["bore"].median > 0:
            length = usual["length"]
            volume = section_mm2(usual["outer"].median, usual["bore"].median) * length.median
            rows.append((model.id, volume, length.spread / length.median))
    schema = {"model": pl.String, "recorded": pl.Float64, "recorded_spread": pl.Float64}
    return pl.DataFrame(rows, schema=schema, orient="row")


def _findings(tube: FrameRow, names: dict[str, str]) -> list[Finding]:
    """Hold all three readings; say which one lies farthest from its own usual figure."""
    roles = list(names)
    off = {role: _off(tube, role) for role in roles}
    worst = max(roles, key=lambda role: off[role])
    words = {"outer": "outside diameter", "bore": "bore", "length": "length"}
    problem = (
        f"the three readings of tube {tube['serial']} give {100 * tube['error']:+.1f} % of the volume of its "
        f"blank; the {words[worst]} {tube[worst]:g} mm lies farthest from the usual"
    )
    mend = f"Look at the {words[worst]} first, measure the tube again and type what is right."
    proposal = _swapped_length(tube) if worst == "length" else None
    found = []
    for role in roles:
        offer: dict[str, object] = {"value": proposal} if proposal is not None and role == "length" else {}
        found.append(Finding(tube[f"{role}_index"], Reason.VOLUME_BALANCE, problem, mend, offer))
    return found


def _off(tube: FrameRow, role: str) -> float:
    center, spread = tube[f"{role}_center"], tube[f"{role}_spread"]
    return abs(tube[role] - center) / spread if center is not None and spread else 0.0


def _swapped_length(tube: FrameRow) -> float | None:
    """Return the length with two neighbouring digits swapped where that closes the balance."""
    digits = f"{tube['length']:g}"
    for at in range(len(digits) - 1):
        if "." in digits[at : at + 2] or digits[at] == digits[at + 1]:
            continue
        swapped = float(digits[:at] + digits[at + 1] + digits[at] + digits[at + 2 :])
        if abs(swapped * tube["section"] / tube["usual"] - 1) < TOLERANCE / 2:
            return swapped
    return None
