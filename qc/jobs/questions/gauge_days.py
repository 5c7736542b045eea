"""`qc gauge --day`: a gauge watched over days and runs, and the limits of a check standard."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from qc.ingest.reading import Table, TableSource
from qc.jobs.questions.gauge import ColumnAnswer, guard_where
from qc.jobs.questions.study_read import SMALL, faults_named, read_study_table, take_labels, take_numbers
from qc.plain import as_meant
from qc.report.terminal import check_standard_text, over_days_text
from qc.stats import (
    CheckStandard,
    GuardBand,
    NestedLevels,
    RepeatSets,
    StatisticsUsageError,
    averaged_sets,
    check_standard,
    repeat_sets,
)

_FACTOR = 2.0  # sds; NIST/SEMATECH e-Handbook 2.2.2


@dataclass(frozen=True, slots=True)
class GaugeOverDays(ColumnAnswer):
    """Spread of a gauge within days, between days and between runs; `guard` is there with a limit."""

    sets: RepeatSets
    levels: NestedLevels
    guard: GuardBand | None = None

    def to_dict(self) -> dict[str, object]:
        """Return the object that `--json` prints."""
        plain: dict[str, object] = {
            "parts": len(set(self.sets.parts or "-")),
            "runs": None if self.sets.runs is None else len(set(self.sets.runs)),
            "sets": len(self.sets.days),
            "repeats": self.sets.repeats,
        }
        plain |= self.levels.to_dict()
        plain["guard_band"] = None if self.guard is None else self.guard.to_dict()
        return plain

    def to_text(self) -> str:
        """Return what a person reads: the finding in a sentence, then the levels."""
        return over_days_text(self.sets, self.levels, self.guard, self.value, self.file)

    def to_frame(self) -> pl.DataFrame:
        """Return one row per spread: its sd, degrees of freedom and interval."""
        return self.levels.to_frame()


@dataclass(frozen=True, slots=True)
class GaugeCheckStandard(ColumnAnswer):
    """Limits of a check standard, and the days outside them."""

    ROWS = "days"

    sets: RepeatSets
    found: CheckStandard

    @property
    def outside(self) -> dict[str, tuple[str, ...]]:
        """Days outside, in the order of the file, and what of each is: `average`, `spread` or both."""
        out: dict[str, tuple[str, ...]] = {}
        for number, day in enumerate(self.sets.days, start=1):
            what = ("average",) * (number in self.found.average_signals)
            what += ("spread",) * (number in self.found.sd_signals)
            if what:
                out[day] = what
        return out

    def to_dict(self) -> dict[str, object]:
        """Return the object that `--json` prints."""
        outside = self.outside
        plain: dict[str, object] = {
            "days": [
                {
                    "day": day,
                    "average": average,
                    "sd": sd,
                    "average_outside": "average" in outside.get(day, ()),
                    "sd_outside": "spread" in outside.get(day, ()),
                }
                for day, average, sd in zip(self.sets.days, self.sets.averages, self.sets.sds, strict=True)
            ],
            "repeats": self.sets.repeats,
        }
        return plain | self.found.to_dict()

    def to_text(self) -> str:
        """Return what a person reads: which days are outside and what to do, then limits and days."""
        return check_standard_text(self.sets, self.found, self.outside, self.value, self.file)


@as_meant
def gauge_over_days(
    path: TableSource,
    value: str,
    day: str,
    *,
    part: str | None = None,
    run: str | None = None,
    sd: str | None = None,
    repeats: int | None = None,
    lower: float | None = None,
    upper: float | None = None,
    confidence: float = 0.95,
    sheet: str | None = None,
) -> GaugeOverDays:
    """Separate what repeats, days and runs add to a reading of the same parts.

    Parameters
    ----------
    path, confidence, sheet
        As for `gauge_study`; with `sd` one average a row.
    value, day : str
        Columns of the reading and of the day it was taken on.
    part, run : str, optional
        Columns of the part, where there are several, and of the run: a new set-up, or the same days again
        much later. A day's name counts only within its run.
    sd, repeats : str and int, optional
        Column of the sds and number of readings behind each, where `value` holds averages.
    lower, upper : float, optional
        Specification limits, for a guard band of twice the sd of a reading. [unit of the readings]

    Raises
    ------
    StatisticsUsageError
        As for `gauge_study`, or only one of `sd` and `repeats`.
    """
    table, sets = _sets(path, value, day, part, run, sd, repeats, sheet)
    with faults_named(table):
        levels = sets.levels(confidence=confidence)
    guard = guard_where(lower, upper, levels.reading_sd)
    return GaugeOverDays(table.name, value, sets, levels, guard)


@as_meant
def gauge_check_standard(
    path: TableSource,
    value: str,
    day: str,
    *,
    sd: str | None = None,
    repeats: int | None = None,
    factor: float | None = None,
    confidence: float = 0.95,
    sheet: str | None = None,
) -> GaugeCheckStandard:
    """Limits for one standard that is measured with repeats day after day.

    Parameters
    ----------
    path, value, day, sd, repeats, sheet
        As for `gauge_over_days`, and so are the errors. All rows are of one standard.
    factor : float, > 0, optional
        Limits of the averages at so many sds; 2 when left out.
    confidence : float, 0..1
        Of the one-sided limit of the sds.
    """
    table, sets = _sets(path, value, day, None, None, sd, repeats, sheet)
    with faults_named(table):
        found = check_standard(
            sets.averages,
            sets.sds,
            repeat_df=sets.repeats - 1,
            factor=_FACTOR if factor is None else factor,
            confidence=confidence,
        )
    return GaugeCheckStandard(table.name, value, sets, found)


def _sets(
    path: TableSource,
    value: str,
    day: str,
    part: str | None,
    run: str | None,
    sd: str | None,
    repeats: int | None,
    sheet: str | None,
) -> tuple[Table, RepeatSets]:
    """Read the table and gather its rows into sets of repeats."""
    if (sd is None) != (repeats is None):
        raise StatisticsUsageError(
            "gauge over days: averages need both the column of their sds and the number of repeats behind "
            "each: give --sd COLUMN and --repeats NUMBER, or neither where each row is one reading"
        )
    table = read_study_table(path, sheet, numbers=[value, sd], labels=[part, run, day], manner=SMALL)
    readings = take_numbers(table, value).to_numpy()
    names = [None if name is None else take_labels(table, name).to_list() for name in (part, run)]
    days = take_labels(table, day).to_list()
    spreads = None if sd is None else take_numbers(table, sd).to_numpy()
    with faults_named(table):
        if spreads is None or repeats is None:
            return table, repeat_sets(readings, days, *names)
        return table, averaged_sets(readings, spreads, days, *names, repeats=repeats)
