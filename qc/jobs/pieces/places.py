"""Where a piece is: what left, what is built in, else the last card or event."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date

import polars as pl

from qc.jobs.pieces.rows import Whereabouts
from qc.jobs.workshop import Workshop
from qc.words import dated_words

MEASURED_AT: dict[str, str] = {"part": "built in", "play-test": "play-test", "rework": "rework"}
"""Events of a piece that say where it is; others happen to a gauge or a tool."""


def whereabouts(workshop: Workshop, serials: Iterable[str]) -> dict[str, Whereabouts]:
    """Return where pieces are, by serial: what left, what is built in, else the last card or event."""
    own = sorted(set(serials))
    store, today = workshop.store, workshop.today
    built = store.events("part", subjects=own, until=today) if own else None
    inside = {} if built is None else dict(built.select("subject", "serial").iter_rows())
    every = sorted({*own, *inside.values()})
    if not every:
        return {}
    events = store.events(serials=every, until=today).sort("day", "id", maintain_order=True)
    seen = {serial: (day, stage) for serial, stage, day in store.last_seen(every, until=today).iter_rows()}
    names = {stage.id: stage.name for stage in workshop.plan.stages}
    own_events = {serial: part for (serial,), part in events.partition_by("serial", as_dict=True).items()}
    each = {s: _place(own_events.get(s, events.clear()), seen.get(s), names) for s in every}
    found = {}
    for serial in own:
        whole = inside.get(serial)
        found[serial] = (
            each[serial]
            if whole is None or whole not in each
            else replace(each[whole], words=f"in {whole}, {each[whole].words}".rstrip(", "), whole=whole)
        )
    return found


def _place(events: pl.DataFrame, seen: tuple[date, str] | None, names: Mapping[str, str]) -> Whereabouts:
    """Say where a piece is by its own events and its last card."""
    left: date | None = None
    words, newest = (names.get(seen[1], seen[1]), seen[0]) if seen else ("", date.min)
    for kind, day in events.select("kind", "day").iter_rows():
        if kind == "shipped":
            left = day
        elif kind == "returned":
            left, words, newest = None, "came back", day
        elif kind in MEASURED_AT and day >= newest:
            words, newest = ("assembly" if kind == "part" else MEASURED_AT[kind]), day
    if left is not None:
        return Whereabouts(f"left {dated_words(left)}", left)
    return Whereabouts(f"{words}, {dated_words(newest)}" if words else "no card yet", bench=words)
