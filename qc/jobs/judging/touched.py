"""Which series an upload can have changed.

A series is touched by a reading it is made of. One in which something was found is touched as well by what
is recorded later about its pieces or their parts at the same stage or before (a card that comes late, an
assembly, a morning check of the gauge), since its suspects rest on that.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from datetime import date, timedelta

import polars as pl

from qc.jobs.judging.gauge_checks import stretches_off
from qc.jobs.judging.kept import load_verdicts
from qc.jobs.workshop import Workshop
from qc.store import News
from qc.watch import SeriesKey, SeriesVerdict, sources_of

ASSEMBLED, CHECKED = "part", "gauge-check"
ONE_DAY = timedelta(days=1)
MOST_CHECKS = 60
"""With more morning checks at once than this, every series with a finding is judged again."""


MOST_CARDS = 50_000
"""With more new cards at once than this, as a history brings them, their pieces are not looked at one by one:
every series with a finding is judged again. Chosen: years of a shop, some tens of megabytes."""


def series_with_findings(workshop: Workshop) -> set[str]:
    """Return the keys of the charted series in which something was found."""
    asked = {str(SeriesKey(s.id, c.id, f)) for s, c, f in workshop.plan.charted()}
    return {signal.series for signal in workshop.store.signals()} & asked


def series_touched(workshop: Workshop, news: News) -> set[str]:
    """Return the keys of the series that news can have changed.

    Parameters
    ----------
    workshop : Workshop
        Its plan says which readings a series is made of.
    news : News
        What came into the store.

    Returns
    -------
    set of str
        ``stage/characteristic/family``.
    """
    direct = made_of(workshop, news.readings.select("stage", "characteristic", "model").unique().rows())
    rest = series_with_findings(workshop) - direct
    if not rest:
        return direct
    checks = news.events.filter(pl.col("kind") == CHECKED).select("subject", "day").unique()
    if checks.height > MOST_CHECKS:
        return direct | rest
    pieces = _pieces(workshop, news, checks)
    off = _found_off(workshop, checks)
    kept = [verdict for verdict in load_verdicts(workshop) if str(verdict.key) in rest]
    return direct | {
        str(verdict.key)
        for verdict in kept
        if _explained_by(workshop, verdict, pieces) or _read_with(verdict, off)
    }


def _found_off(workshop: Workshop, checks: pl.DataFrame) -> set[str]:
    """Return the gauges that one of these checks found off, or put right: it speaks of pieces read before."""
    days: dict[str, list[date]] = {}
    for gauge, day in checks.iter_rows():
        days.setdefault(gauge, []).append(day)
    return {
        one.gauge.id
        for one in (stretches_off(workshop) if days else ())
        for day in days.get(one.gauge.id, ())
        if one.first <= day and (one.last is None or day <= one.last + ONE_DAY)
    }


def _read_with(verdict: SeriesVerdict, gauges: Collection[str]) -> bool:
    """Say whether something was found in a series of which a piece was read with one of these gauges."""
    if not verdict.signals or not gauges:
        return False
    return any(gauge in point.gauge.split(" + ") for point in verdict.points for gauge in gauges)


def made_of(workshop: Workshop, rows: Iterable[tuple[str, str, str | None]]) -> set[str]:
    """Return the keys of the series that readings of these stages, characteristics and models belong to."""
    plan, rows = workshop.plan, list(rows)
    found = set()
    for stage, characteristic, family in plan.charted():
        sources = sources_of(characteristic)
        own = [model for at, name, model in rows if at == stage.id and name in sources]
        if any(not model or plan.family_of(characteristic, model) == family for model in own):
            found.add(str(SeriesKey(stage.id, characteristic.id, family)))
    return found


def _pieces(workshop: Workshop, news: News, checks: pl.DataFrame) -> dict[str, int]:
    """Return each piece that something was recorded about, with the earliest place in the route."""
    store = workshop.store
    route = {stage.id: index for index, stage in enumerate(workshop.plan.stages)}
    pieces: dict[str, int] = {}

    def put(serial: str | None, at: int) -> None:
        if serial:
            pieces[serial] = min(at, pieces.get(serial, at))

    for stage, serial in news.readings.select("stage", "serial").unique().iter_rows():
        put(serial, route.get(stage, 0))
    for serial, part in (
        news.events.filter(pl.col("kind") == ASSEMBLED).select("serial", "subject").iter_rows()
    ):
        put(serial, 0)
        put(part, 0)
    for gauge, day in checks.iter_rows():
        for serial in store.serials_on(gauge, day):
            put(serial, 0)
    parts = store.events(ASSEMBLED, subjects=sorted(pieces))
    for serial, part in parts.select("serial", "subject").iter_rows():
        put(serial, pieces[part])
    return pieces


def _explained_by(workshop: Workshop, verdict: SeriesVerdict, pieces: Mapping[str, int]) -> bool:
    """Say whether a finding of a series rests on what is recorded about any of these pieces."""
    at = [stage.id for stage in workshop.plan.stages].index(verdict.key.stage)
    return bool(verdict.signals) and any(pieces.get(p.serial, at + 1) <= at for p in verdict.points)
