"""The monthly report: gathered from the store, judged as of the month's last day, written three ways."""

from __future__ import annotations

import os
from calendar import monthrange
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import polars as pl

from qc.errors import MachineError, QcError
from qc.jobs.judging import brought_up, judge_now, signals_of_day
from qc.jobs.pieces import hold_list, why_words
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.report.month import (
    MonthContent,
    PieceToHold,
    change_lines,
    data_gaps,
    decisions,
    die_lines,
    draw_all,
    gauge_lines,
    month_html,
    month_pdf,
    month_workbook,
    reaction_lines,
    return_lines,
    rework_lines,
    rolled_yield,
    shipped_models,
    stage_yields,
)
from qc.report.terminal import month_text
from qc.sayings import SignalState
from qc.stats import Tabled
from qc.store import OWN_FILE, HeldRecord, private_folder
from qc.watch import SeriesVerdict

MOST_CHANGES = 3
"""Chosen: with more of them the first page would run over; each is told in the panel of its series too."""


@dataclass(frozen=True, slots=True)
class MonthReport(Tabled):
    """The files of a month's report."""

    content: MonthContent
    files: tuple[Path, ...]
    not_judged: str = ""  # since when signals wait that could not be kept now, in words

    def to_dict(self) -> JsonObject:
        """Return month, files and the headline."""
        return {
            "month": self.content.month,
            "as_of": self.content.as_of.isoformat(),
            "headline": self.content.headline,
            "files": [str(path) for path in self.files],
        }

    def to_text(self) -> str:
        """Say what the month was and where the report lies."""
        told = month_text(self.content.headline, self.files, self.content.last_hash)
        return f"{self.not_judged}\n{told}" if self.not_judged else told


def month(workshop: Workshop, which: str, *, out: Path | None = None) -> MonthReport:
    """Write a month's report as pdf, page and workbook.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    which : str
        ``YYYY-MM``.
    out : pathlib.Path, optional
        Folder to write to; ``reports/YYYY-MM`` of the workshop when left out.

    Raises
    ------
    QcError
        Not a month, or a month to come.
    MachineError
        The folder cannot be written.
    """
    waits = brought_up(workshop)
    then = workshop.then
    content = month_content(workshop, which, keep=waits is None and then is None)
    # what was known then must not take the place of what is known now
    own = which if then is None else f"{which}-known-{then.day.isoformat()}"
    folder = out if out is not None else workshop.folder / "reports" / own
    drawings = draw_all(content)
    documents = {
        "pdf": month_pdf(content, drawings),
        "html": month_html(content, drawings).encode("utf-8"),
        "xlsx": month_workbook(content),
    }
    try:
        private_folder(folder)
        files = _put({folder / f"month-{which}.{kind}": data for kind, data in documents.items()})
    except OSError as error:
        raise MachineError(
            f"{folder}: the report cannot be written here ({error.strerror}). None of its files was "
            "written; make room, or name another folder with --out."
        ) from error
    told = waits.sentence(workshop.plan.workshop.time_zone) if waits else ""
    return MonthReport(content, files, told)


def month_content(workshop: Workshop, which: str, *, keep: bool = True) -> MonthContent:
    """Gather everything that the report of a month says.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    which : str
        ``YYYY-MM``; a month that has begun is reported as it stands today.
    keep : bool
        Keep what judging works out on the way; False where the store cannot be written.

    Returns
    -------
    MonthContent
        The same for the same data, whenever it is asked for.
    """
    first, last = _month_days(which)
    if first > workshop.today:
        raise QcError(
            f"{which} has not begun: today is {workshop.today.isoformat()}. Ask for an earlier month."
        )
    as_of = min(last, workshop.today)
    # judged as of the month's last day: what was made since takes no part
    then = replace(workshop, today=as_of)
    judged = judge_now(then, keep=keep)
    every = workshop.store.readings(until=as_of)
    happened = workshop.store.events(until=as_of)
    events = happened.filter(pl.col("day").is_between(first, as_of))
    readings = every.filter(pl.col("day").is_between(first, as_of))
    yields = stage_yields(workshop.plan, readings, events)
    dies = die_lines(judged.verdicts)
    gauges = gauge_lines(workshop.plan, every, happened, first, as_of)
    held = [row for row in workshop.store.held(open_only=False) if first <= row.day <= as_of]
    return MonthContent(
        workshop=workshop.plan.workshop.name,
        month=which,
        first=first,
        last=last,
        as_of=as_of,
        plan_version=workshop.store.plan_versions()[-1].version,
        shipped=shipped_models(workshop.plan, every, events),
        returned=return_lines(events),
        yields=yields,
        rolled=rolled_yield(yields),
        changes=change_lines(judged.verdicts)[:MOST_CHANGES],
        reactions=reaction_lines(judged.verdicts, _states(workshop, judged.verdicts), as_of),
        rework=rework_lines(events),
        gauges=gauges,
        dies=dies,
        decisions=decisions(judged.verdicts, dies, gauges),
        gaps=data_gaps(readings, _waiting(held), sum(row.state != "open" for row in held)),
        verdicts=tuple(judged.verdicts),
        budget=judged.budget.sentence(),
        last_hash=workshop.store.head(),
        hold=_hold(then, judged.verdicts, first),
    )


def _hold(then: Workshop, verdicts: Sequence[SeriesVerdict], first: date) -> tuple[PieceToHold, ...]:
    """Return the pieces to hold on a month's last day: those in the house, and those that left in it."""
    rows = hold_list(then, judge=False, verdicts=verdicts, keep=False).rows
    return tuple(
        PieceToHold(
            row.serial,
            row.name,
            why_words(row),
            row.whereabouts.words,
            row.whereabouts.shipped,
            row.next_step,
        )
        for row in rows
        if row.waits and (row.in_house or (row.whereabouts.shipped or date.min) >= first)
    )


def _states(workshop: Workshop, verdicts: Sequence[SeriesVerdict]) -> dict[tuple[str, str], SignalState]:
    """Return how signals stand, by series and first piece: that is what a month tells of them."""
    return {(s.series, s.found.start_serial): s.state for s in signals_of_day(workshop, verdicts)}


def _waiting(held: Iterable[HeldRecord]) -> list[list[str]]:
    """Return why each row that still waits is held."""
    return [[reason.id for reason in row.reasons] for row in held if row.state == "open"]


def _month_days(which: str) -> tuple[date, date]:
    year, dash, number = which.partition("-")
    written = dash and len(year) == 4 and len(number) == 2 and (year + number).isdecimal()
    if not (written and 1 <= int(number) <= 12 and int(year)):
        raise QcError(f"'{which}' is not a month. Write it as YYYY-MM, for example 2026-10.")
    days = monthrange(int(year), int(number))[1]
    return date(int(year), int(number), 1), date(int(year), int(number), days)


def _put(documents: Mapping[Path, bytes]) -> tuple[Path, ...]:
    """Write every file whole or none of them: a reader never meets half a report."""
    drafts = {path.with_suffix(path.suffix + ".part"): path for path in documents}
    try:
        for draft, path in drafts.items():
            draft.touch(OWN_FILE)
            draft.write_bytes(documents[path])
        for draft, path in drafts.items():
            os.replace(draft, path)
    finally:
        for draft in drafts:
            draft.unlink(missing_ok=True)
    return tuple(documents)
