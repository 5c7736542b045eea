"""Marks: what is worth knowing of a sheet although every row of it may be right."""

from __future__ import annotations

from collections import defaultdict
from datetime import timedelta

import polars as pl
from scipy.special import bdtrc

from qc.ingest.doubts import Facts
from qc.ingest.reasons import SheetMark

LATE = timedelta(days=14)
"""A card that comes in so long after the newest one on record is marked. Chosen: cards come in daily, and a
holiday of two weeks is no delay."""

UNCHECKED = timedelta(days=4)
"""A gauge with a daily check may go so long without one: a long weekend."""

ENOUGH = 30
"""So many figures of one kind on a sheet before their last digits are looked at."""

STEPS = 4.0
"""A spread under four steps of the gauge crowds the last digits by itself."""

PILED_UP = 1e-6
"""Chance below which multiples of five are no accident. Chosen: with some thousands of sheets and figures a
year hardly one mark in a century is false."""


def sheet_marks(facts: Facts) -> dict[int, list[SheetMark]]:
    """Return the marks of each sheet of an upload, by its number in the upload.

    Parameters
    ----------
    facts : Facts
        The upload's rows.

    Returns
    -------
    dict of int to list of SheetMark
    """
    marks: dict[int, list[SheetMark]] = defaultdict(list)
    for find in (_backdated, _rounded, _unchecked):
        for number, mark in find(facts):
            marks[number].append(mark)
    return marks


def _backdated(facts: Facts) -> list[tuple[int, SheetMark]]:
    # a card that comes late is no fault, but what was judged without it has to be seen as such
    newest = facts.known.newest_day
    if newest is None:
        return []
    columns = ["_part", "file", "day"]
    rows = pl.concat([facts.readings.select(columns), facts.events.select(columns)])
    found = []
    for number, file, last in (
        rows.group_by("_part", "file", maintain_order=True).agg(pl.col("day").max()).rows()
    ):
        if last is not None and newest - last > LATE:
            sentence = (
                f"{file}: the work is of {last}, {(newest - last).days} days before the newest card on record"
            )
            found.append((number, SheetMark("backdated", sentence + ". Both days are kept.")))
    return found


def _rounded(facts: Facts) -> list[tuple[int, SheetMark]]:
    # only where figures spread over several steps of the gauge would their last digits come evenly
    if facts.readings.is_empty():
        return []
    fine = facts.readings.filter(
        (pl.col("_kind") == "measured") & pl.col("value").is_not_null() & pl.col("_step").is_not_null()
    )
    found = []
    for (number, name), group in fine.group_by(["_part", "characteristic"], maintain_order=True):
        steps = (group["value"] / group["_step"]).round()
        spread = (group["_spread"] / group["_step"]).median()
        log = bool(group["_log"][0])
        if group.height < ENOUGH or log or not isinstance(spread, float) or spread < STEPS:
            continue
        on = int(((steps.cast(pl.Int64) % 5) == 0).sum())
        if _chance_of(on, group.height) < PILED_UP:
            file = group["file"][0]
            sentence = f"{file}: {on} of {group.height} figures of {name} end in 0 or 5; one in five would"
            found.append(
                (int(str(number)), SheetMark("rounded-readings", sentence + ". Were they read in steps?"))
            )
    return found


def _chance_of(hits: int, n: int) -> float:
    """Return the chance of so many hits or more where one in five is expected (binomial)."""
    if hits <= n / 5:
        return 1.0
    # the regularised incomplete beta function takes a sheet of any length; a sum of products would overflow
    return float(bdtrc(hits - 1, n, 0.2))


def _unchecked(facts: Facts) -> list[tuple[int, SheetMark]]:
    # the checks typed on this very upload count too: they were made in the morning of their day
    daily = [gauge.id for gauge in facts.plan.gauges if gauge.daily_check]
    checks: dict[str, list[int]] = defaultdict(list)
    for check in facts.known.gauge_checks:
        checks[check.gauge].append(check.day.toordinal())
    typed = facts.events.filter((pl.col("kind") == "gauge-check") & pl.col("day").is_not_null())
    for gauge, day in typed.select("subject", "day").rows():
        checks[gauge].append(day.toordinal())
    used = facts.readings.filter(pl.col("gauge").is_in(daily) & pl.col("day").is_not_null())
    found = []
    for (number, gauge, file), group in used.group_by(["_part", "gauge", "file"], maintain_order=True):
        known = checks.get(str(gauge), [])
        for day in group["day"].unique().sort():
            before = max((c for c in known if c <= day.toordinal()), default=None)
            if before is not None and day.toordinal() - before > UNCHECKED.days:
                sentence = (
                    f"{file}: {gauge} was used on {day}, {day.toordinal() - before} days after its last check"
                )
                found.append(
                    (int(str(number)), SheetMark("gauge-unchecked", sentence + ". Check it on its master."))
                )
    return found
