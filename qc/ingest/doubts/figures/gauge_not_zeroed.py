"""A gauge was found off at its check: everything read with it since the last good check is in doubt."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import polars as pl

from qc.ingest.cells import FACTORS, plain
from qc.ingest.doubts.facts import Doubted, Doubts, Facts, rounded
from qc.ingest.frames import INDEX
from qc.ingest.known import GaugeCheck
from qc.ingest.reasons import Finding, Reason
from qc.words import unit_words

LOOK_BACK = timedelta(days=14)
"""How far back readings are held where no earlier check says when the gauge was still good; chosen."""


@dataclass(frozen=True, slots=True)
class Wrong:
    """A stretch of days over which a gauge may have been off; `until` itself is out where it was zeroed."""

    gauge: str
    since: date
    until: date
    found: GaugeCheck


def find_gauge_not_zeroed(facts: Facts, doubted: Doubts) -> Doubted:
    """Find readings made with a gauge between its last good check and the one that found it off."""
    if facts.readings.is_empty():
        return Doubted()
    found = []
    told: set[object] = set()  # zero and ring may both say it of a row
    for wrong in stretches_off(facts):
        gauge = facts.plan.gauge(wrong.gauge)
        inside = pl.col("day").is_between(wrong.since, wrong.until) & (pl.col("gauge") == wrong.gauge)
        for row in facts.readings.filter(inside & pl.col("value").is_not_null()).to_dicts():
            if row[INDEX] in told:
                continue
            told.add(row[INDEX])
            unit = unit_words(gauge.unit if gauge else row["unit"])
            factor = 1.0 if unit == row["unit"] else FACTORS.get((unit, row["unit"]))
            problem = (
                f"{wrong.gauge} was {wrong.found.deviation:g} {unit} off at its check on {wrong.found.day}; "
                f"this was read after its last good check"
            )
            proposal: dict[str, object] = {}
            mend = "Measure again with the gauge zeroed."
            if factor is not None:
                value = rounded(row["value"] - wrong.found.deviation * factor, row["_step"])
                proposal = {"value": value}
                mend = f"Measure again with the gauge zeroed; accept {value:g} only if that cannot be done."
            found.append(Finding(row[INDEX], Reason.GAUGE_NOT_ZEROED, problem, mend, proposal))
    return Doubted(found)


def stretches_off(facts: Facts) -> list[Wrong]:
    """Return the stretches of days over which a gauge of the plan may have been off, by its checks."""
    if "gauges off" not in facts.odd:
        facts.odd["gauges off"] = list(_stretches_off(facts))
    found: list[Wrong] = facts.odd["gauges off"]
    return found


def _stretches_off(facts: Facts) -> Iterator[Wrong]:
    of: dict[str, list[GaugeCheck]] = {}
    for check in {*facts.known.gauge_checks, *_typed_checks(facts)}:
        of.setdefault(check.gauge, []).append(check)
    for gauge in facts.plan.gauges:
        if gauge.check_tolerance is None or gauge.id not in of:
            continue
        own = sorted(of[gauge.id], key=lambda c: (c.day, c.zeroed, c.deviation))
        # a good zero does not make good what the ring says, nor the other way round
        for master in dict.fromkeys(plain(c.master) for c in own):
            yield from _off_by([c for c in own if plain(c.master) == master], gauge.check_tolerance)


def _off_by(checks: Sequence[GaugeCheck], tolerance: float) -> Iterator[Wrong]:
    good: date | None = None
    # found off and written down as it was, then zeroed and checked anew: two lines of one morning
    righted = {c.day for c in checks if c.zeroed and _is_good(c, tolerance)}
    for check in checks:
        if _is_good(check, tolerance):
            good = check.day
            continue
        since = good if good is not None else _before(check.day, LOOK_BACK)
        # Checks are made in the morning: once zeroed, the day's own readings are good again.
        zeroed = check.zeroed or check.day in righted
        until = _before(check.day, timedelta(days=1)) if zeroed else check.day
        yield Wrong(check.gauge, since, until, check)
        if zeroed:
            good = check.day


def _is_good(check: GaugeCheck, tolerance: float) -> bool:
    return abs(check.deviation) <= tolerance * (1 + 1e-9)


def _before(day: date, by: timedelta) -> date:
    """Return an earlier day, the first of the calendar where a slip such as 0001-01-01 has none."""
    return max(day, date.min + by) - by


def _typed_checks(facts: Facts) -> Iterator[GaugeCheck]:
    if facts.events.is_empty():
        return
    checks = facts.events.filter(
        (pl.col("kind") == "gauge-check") & pl.col("value").is_not_null() & pl.col("day").is_not_null()
    )
    columns = ("subject", "day", "value", "code", "batch")
    for gauge, day, deviation, code, master in checks.select(columns).rows():
        yield GaugeCheck(gauge, day, deviation, code == "zeroed", master or "")
