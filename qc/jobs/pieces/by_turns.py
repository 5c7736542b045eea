"""Batches, tools and gauges used by turns whose pieces sit apart, and the pieces that are held for it."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import polars as pl

from qc.jobs.pieces.outside import figures_of
from qc.jobs.pieces.rows import HoldRow
from qc.jobs.workshop import Workshop
from qc.watch import LevelApart, SeriesKey, SeriesVerdict, levels_apart


def used_by_turns(workshop: Workshop, verdicts: Sequence[SeriesVerdict]) -> tuple[LevelApart, ...]:
    """Return which batch (of parts too), tool or gauge sits apart in which series, the clearest first.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    verdicts : sequence of SeriesVerdict
        Those of its day.
    """
    events = workshop.store.events("part", until=workshop.today)
    known = events.filter((pl.col("serial") != "") & (pl.col("batch") != ""))
    parts: dict[str, dict[str, str]] = {}
    for role, serial, batch in known.select("code", "serial", "batch").iter_rows():
        own = parts.setdefault(role or "part", {})
        # two parts of one role from two batches are of neither
        own[serial] = batch if own.get(serial, batch) == batch else f"{own[serial]} + {batch}"
    route = [stage.id for stage in workshop.plan.stages]
    return levels_apart(verdicts, parts=parts, route=route)


def by_turns(
    workshop: Workshop, apart: Sequence[LevelApart], only: Collection[str] | None = None
) -> list[HoldRow]:
    """Return the pieces of a batch that sits apart the wrong way, to be held; `only` these.

    A tool or a gauge used by turns is only told: a tool is looked at, and a gauge has its checks.
    """
    rows: list[HoldRow] = []
    for one in apart:
        if not one.bad or one.kind != "batch":
            continue
        key = SeriesKey.parse(one.series)
        stage = workshop.plan.stage(key.stage)
        characteristic = workshop.plan.characteristic(key.stage, key.characteristic)
        if stage is None or characteristic is None:
            continue
        serials = [serial for serial in one.serials if only is None or serial in only]
        figures = figures_of(workshop, stage, characteristic, serials) if serials else {}
        step = f"Keep it back until batch {one.name} is cleared: measure two pieces of it, then release them."
        rests = ((f"{one.name} by turns in {one.series}",),)
        for serial in serials:
            title = f"{stage.name}: {characteristic.name}"
            named = (serial, stage.id, characteristic.id, title, characteristic.unit, figures.get(serial))
            rows.append(HoldRow(*named, "batch", one.in_short, step, rests))
    return rows
