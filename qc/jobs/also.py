"""Containment: which pieces did a gauge, tool, batch or person touch, shipped or not."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

import polars as pl

from qc.errors import UsageError
from qc.ingest import days_of
from qc.jobs.errors import JobError
from qc.jobs.judging import master_checks
from qc.jobs.pieces import Doubt, doubts_of, read_in_doubt
from qc.jobs.then import said_of_then
from qc.jobs.workshop import Workshop, asked_day
from qc.plain import JsonObject
from qc.plan import PLACE
from qc.report.terminal import Touch, touched_text
from qc.watch import check_is_good, was_zeroed, worst_of_days
from qc.words import day_words

Kind = Literal["gauge", "tool", "batch", "person"]
KINDS: tuple[Kind, ...] = ("gauge", "tool", "batch", "person")


@dataclass(frozen=True, slots=True)
class Touched:
    """One piece that was touched.

    Attributes
    ----------
    serial, model : str
        The piece; a part that went into an instrument is told with it.
    day : date
        First day of the touch.
    stages : tuple of str
        Where.
    inside : str
        Serial of the instrument that the part went into, empty otherwise.
    shipped : date or None
        When it (or its instrument) left.
    held : bool
        Only rows that are still held tell of the touch; serial and day stand there as typed.
    again : date or None
        When all that it touched of the piece had been measured again without it; of a gauge, what it read
        since the day asked from.
    returned : date or None
        When it (or its instrument) came back after it had left; `shipped` is the day before that then.
    """

    serial: str
    model: str
    day: date
    stages: tuple[str, ...]
    inside: str
    shipped: date | None
    held: bool = False
    again: date | None = None
    returned: date | None = None

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {
            "serial": self.serial,
            "model": self.model,
            "day": self.day.isoformat(),
            "stages": list(self.stages),
            "inside": self.inside or None,
            "shipped": self.shipped.isoformat() if self.shipped else None,
            "held": self.held,
            "measured_again": self.again.isoformat() if self.again else None,
            "returned": self.returned.isoformat() if self.returned else None,
        }

    def told(self) -> Touch:
        """Return what a terminal lists of it."""
        where = (self.shipped, self.returned)
        return Touch(self.serial, self.inside, self.day, self.stages, *where, self.held, self.again)


@dataclass(frozen=True, slots=True)
class Also:
    """Everything a gauge, tool, batch or person touched.

    Attributes
    ----------
    kind, id : str
        What touched.
    since : date or None
        From which day on; None for ever.
    why_since : str
        Why from that day, in words.
    pieces : tuple of Touched
        In order of the touch.
    as_of : date
        The day it is asked for.
    doubts : tuple of (Doubt, mapping of str to date or None)
        Of a gauge: stretches before `since` that a check found off, with the pieces it read in them and the
        day each was measured again, None where it was not.
    in_doubt : tuple of tuple of Touched
        Of each of these stretches its pieces.
    known : date or None
        The day as it was known on which it is answered, where that was asked.
    then : str
        That in words; what was measured by then and handed in later is named and not listed.
    """

    kind: str
    id: str
    since: date | None
    why_since: str
    pieces: tuple[Touched, ...]
    as_of: date
    doubts: tuple[tuple[Doubt, Mapping[str, date | None]], ...] = ()
    in_doubt: tuple[tuple[Touched, ...], ...] = ()
    known: date | None = None
    then: str = ""

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        return {
            **({"known": self.known.isoformat()} if self.known else {}),
            "kind": self.kind,
            "id": self.id,
            "since": self.since.isoformat() if self.since else None,
            "pieces": [piece.to_dict() for piece in self.pieces],
            "doubts": [
                {
                    "first": None if doubt.first == date.min else doubt.first.isoformat(),
                    "last": doubt.last.isoformat(),
                    "because": doubt.because,
                    "pieces": list(serials),
                    "measured_again": {one: day.isoformat() for one, day in serials.items() if day},
                }
                for doubt, serials in self.doubts
            ],
        }

    def to_text(self) -> str:
        """Say how many, how many are out, and list them; of a gauge also what it read while it was off."""
        rows = [piece.told() for piece in self.pieces]
        between = zip(self.doubts, self.in_doubt, strict=True)
        doubts = [(doubt.because, serials, [p.told() for p in own]) for (doubt, serials), own in between]
        told = touched_text(f"{self.kind} {self.id}", self.since, self.why_since, rows, self.as_of, doubts)
        return f"{self.then}\n{told}" if self.then else told


def also(workshop: Workshop, kind: Kind, name: str, *, since: str = "") -> Also:
    """List every piece that a gauge, tool, batch or person touched.

    Parameters
    ----------
    workshop : Workshop
        An open workshop, or one as it was known on a day; what was measured, checked or shipped after its
        day is passed over.
    kind : {"gauge", "tool", "batch", "person"}
        What touched.
    name : str
        Its id.
    since : str
        A day (YYYY-MM-DD), ``last-good-check`` for a gauge (the day after its last check within tolerance),
        or empty for ever.

    Returns
    -------
    Also
        In order of the touch.

    Raises
    ------
    JobError
        It touched nothing on record, or `since` cannot be read.
    """
    first, last, why = _since(workshop, kind, name, since)
    events = workshop.store.events("part", until=workshop.today)
    rows = _rows(workshop, kind, name, events, first).filter(pl.col("day") <= last)
    # Nothing since that day is an answer, but only where the name is right.
    if rows.is_empty() and _rows(workshop, kind, name, events, None).is_empty():
        raise JobError(f"No reading and no part on record names {kind} {name!r}. Check the id: qc plan show")
    doubts = _doubts(workshop, name, first) if kind == "gauge" and since in {"", "last-good-check"} else ()
    every = _rows(workshop, kind, name, events, None) if doubts else rows
    between = [every.filter(pl.col("day").is_between(doubt.first, doubt.last)) for doubt, _ in doubts]
    if kind == "gauge":
        again = _measured_again(workshop, name, first, last) if first else {}
    else:
        again = _measured_without(workshop, kind, name, rows)
    found = _touched(workshop, rows, events, again)
    read_off = (
        _touched(workshop, own, events, serials) for own, (_, serials) in zip(between, doubts, strict=True)
    )
    known = workshop.then.day if workshop.then else None
    then = said_of_then(workshop)
    return Also(kind, name, first, why, found, workshop.today, doubts, tuple(read_off), known, then)


def _touched(
    workshop: Workshop, rows: pl.DataFrame, events: pl.DataFrame, again: Mapping[str, date | None]
) -> tuple[Touched, ...]:
    """Return the pieces of some rows in order of the touch, each with what became of it."""
    # a part left the shop with the instrument it went into, not under its own serial
    inside = {part: serial for part, serial in events.select("subject", "serial").iter_rows() if part}
    moves = workshop.store.events(("shipped", "returned"), until=workshop.today).sort("day", "id")
    left: dict[str, date] = {}
    back: dict[str, date] = {}
    for kind, serial, day in moves.select("kind", "serial", "day").iter_rows():
        if kind == "shipped":
            left[serial] = day
            back.pop(serial, None)
        else:
            back[serial] = day
    table = rows.group_by("serial", maintain_order=True).agg(
        pl.col("model").drop_nulls().first(),
        pl.col("day").min(),
        pl.col("stage").unique(maintain_order=True),
        pl.col("held").all(),
    )
    return tuple(
        Touched(
            serial=row["serial"],
            model=row["model"] or "",
            day=row["day"],
            stages=tuple(row["stage"]),
            inside=inside.get(row["serial"], ""),
            shipped=left.get(inside.get(row["serial"], row["serial"])),
            held=row["held"],
            again=again.get(row["serial"]),
            returned=back.get(inside.get(row["serial"], row["serial"])),
        )
        for row in table.sort("day", "serial").to_dicts()
    )


def _rows(
    workshop: Workshop, kind: Kind, name: str, events: pl.DataFrame, first: date | None
) -> pl.DataFrame:
    """Return what it touched from a day on; a large store is read from that day only."""
    columns = ["serial", "model", "day", "stage"]
    rows = (
        workshop.store.readings(since=first, until=workshop.today)
        .filter(pl.col(kind) == name)
        .select(columns)
    )
    waiting = _held_rows(workshop, kind, name)
    if first is not None:
        waiting = waiting.filter(pl.col("day") >= first)
    waiting = waiting.filter(pl.col("day") <= workshop.today)
    rows = pl.concat([rows.with_columns(held=pl.lit(False)), waiting], how="vertical_relaxed")
    if kind == "gauge":
        return rows
    own = events.filter(pl.col(kind) == name).with_columns(stage=pl.lit("assembly"))
    own = own if first is None else own.filter(pl.col("day") >= first)
    return pl.concat([rows, own.select(*columns, held=pl.lit(False))], how="vertical_relaxed")


def _measured_again(workshop: Workshop, name: str, first: date, last: date) -> Mapping[str, date | None]:
    """Return the pieces that a gauge read on some days, with the day each was measured again."""
    gauge = workshop.plan.gauge(name)
    return read_in_doubt(workshop, Doubt(gauge, first, last, "")) if gauge else {}


def _measured_without(
    workshop: Workshop, kind: Kind, name: str, rows: pl.DataFrame
) -> dict[str, date | None]:
    """Return the pieces of which every figure touched was measured again without it, with the newest day."""
    serials = rows["serial"].unique().sort().to_list()
    read = workshop.store.readings(serials=serials, until=workshop.today).with_columns(
        by=pl.col(kind) == name
    )
    figure = ["serial", "stage", "characteristic", *PLACE]
    own = read.filter(pl.col("by")).select(figure).unique()
    newest = read.join(own, on=figure, nulls_equal=True).sort("day", "id").group_by(figure).last()
    again = newest.group_by("serial").agg(pl.col("by").fill_null(value=False).any(), pl.col("day").max())
    return dict(again.filter(~pl.col("by")).select("serial", "day").iter_rows())


def _doubts(
    workshop: Workshop, name: str, since: date | None
) -> tuple[tuple[Doubt, Mapping[str, date | None]], ...]:
    """Return what a check found off and a later good one ended: by now it looks as if nothing were amiss."""
    gauge = workshop.plan.gauge(name)
    found = []
    for doubt in doubts_of(workshop, gauge) if gauge else ():
        if doubt.off is not None and (since is None or doubt.last < since):
            found.append((doubt, read_in_doubt(workshop, doubt)))
    return tuple(found)


def _held_rows(workshop: Workshop, kind: Kind, name: str) -> pl.DataFrame:
    """Return what held rows say of it: a piece was touched, whether or not its figure is in doubt."""
    found = []
    for held in workshop.store.held():
        row = held.as_typed()
        if row.get(kind) == name and row.get("serial") and (kind != "gauge" or held.table == "reading"):
            stage = row.get("stage") or "assembly"
            found.append((row["serial"], row.get("model") or None, held.day, stage, True))
    kinds = {"serial": pl.String, "model": pl.String, "day": pl.Date, "stage": pl.String, "held": pl.Boolean}
    return pl.DataFrame(found, schema=kinds, orient="row")


def _since(workshop: Workshop, kind: str, name: str, since: str) -> tuple[date | None, date, str]:
    """Return the first and the last day that is asked about, and why."""
    if not since:
        return None, workshop.today, ""
    if since == "last-good-check":
        if kind != "gauge":
            raise UsageError(f"last-good-check is for gauges; for a {kind} give a day: --since YYYY-MM-DD")
        return _after_last_good_check(workshop, name)
    if not days_of(since):
        raise UsageError(f"'{since}' is no day. Write YYYY-MM-DD, or last-good-check for a gauge.")
    return asked_day(since), workshop.today, ""


def _after_last_good_check(workshop: Workshop, name: str) -> tuple[date | None, date, str]:
    gauge = workshop.plan.gauge(name)
    made = master_checks(workshop, [name]).get(name, [])
    checks = worst_of_days(made)
    good = [c.day for c in checks if gauge is None or check_is_good(gauge, c.value) is not False]
    last, until = (good[-1] if good else None), ""
    end = workshop.today
    after = [c for c in made if last is None or c.day > last]
    # checks are of the morning: what was read on the day it was zeroed, and later, was read after that
    if gauge is not None and after and was_zeroed(gauge, [c for c in after if c.day == after[-1].day]):
        end = after[-1].day - timedelta(days=1)
        until = f", until it was zeroed on {day_words(after[-1].day)}"
    if last is None:
        never = "was never good when it was checked" if made else "has never been checked"
        return None, end, f" (it {never}, so all it read counts{until})"
    # and what was measured on the day of a good one is trusted
    return last + timedelta(days=1), end, f", the day after its last good check on {day_words(last)}{until}"
