"""`qc gauge`: what a gauge, and the people who use it, add to a reading."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import polars as pl

from qc.ingest.reading import Table, TableSource
from qc.jobs.questions.by_plan import PlannedFigure, by_workshop, figure_as_planned, plan_in
from qc.jobs.questions.study_read import (
    SMALL,
    faults_named,
    read_study_table,
    take_column,
    take_labels,
    take_numbers,
)
from qc.plain import as_meant
from qc.report.terminal import HandFigures, agreement_text, gauge_text, linearity_text, taken_text
from qc.stats import (
    AverageRange,
    Floats,
    GaugeStudy,
    GuardBand,
    Kappa,
    Linearity,
    OnePersonRanges,
    Proportion,
    StatisticsError,
    StatisticsUsageError,
    Tabled,
    average_range,
    cohen_kappa,
    evenly_read,
    fleiss_kappa,
    frame_of,
    guard_band,
    lay_out,
    linearity,
    misses_and_false_rejects,
    one_person_ranges,
)
from qc.stats import gauge_study as study_gauge

if TYPE_CHECKING:
    from qc.plan import Plan


@dataclass(frozen=True, slots=True)
class ColumnAnswer(Tabled):
    """What was asked of the column `value` of a file."""

    file: str
    value: str


@dataclass(frozen=True, slots=True)
class GaugeResult(ColumnAnswer):
    """A gauge study of a file; `by_hand` holds the average-and-range figures when they were asked for.

    `alone` holds what such figures say of a study by one person, `left_out` the parts they leave out.
    """

    study: GaugeStudy
    guard: GuardBand | None
    by_hand: AverageRange | None
    alone: OnePersonRanges | None = None
    taken: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, object]:
        """Return the object that `--json` prints."""
        plain: dict[str, object] = dict(self.study.to_dict())
        plain["guard_band"] = None if self.guard is None else self.guard.to_dict()
        if self.by_hand is not None:
            plain["by_hand"] = self.by_hand.to_dict() | (
                {"left_out": list(self.left_out)} if self.left_out else {}
            )
        if self.alone is not None:
            plain["by_hand_alone"] = self.alone.to_dict()
        return plain | ({"taken": list(self.taken)} if self.taken else {})

    def to_text(self) -> str:
        """Return what a person reads: the verdict, then the figures."""
        hand = HandFigures(self.by_hand, self.alone, self.left_out)
        text = gauge_text(self.study, self.guard, hand, self.value, self.file)
        return taken_text(text, self.taken)

    def to_frame(self) -> pl.DataFrame:
        """Return one row per component: variance with its interval, sd and share of all variance."""
        return self.study.to_frame()


@dataclass(frozen=True, slots=True)
class GaugeLinearity(ColumnAnswer):
    """Bias and linearity of a gauge against references."""

    ROWS = "references"

    linearity: Linearity

    def to_dict(self) -> dict[str, object]:
        """Return the object that `--json` prints."""
        return dict(self.linearity.to_dict())

    def to_text(self) -> str:
        """Return what a person reads: the verdict, then the bias at each reference."""
        return linearity_text(self.linearity, self.value, self.file)


@dataclass(frozen=True, slots=True)
class GaugeAgreement(ColumnAnswer):
    """Agreement of people who sort pieces by eye.

    `within` holds each person's agreement with themselves, `between` that of all judgements, `against` each
    person's with the true verdict, `missed` and `rejected` their bad pieces passed and good ones sent back.
    An agreement that no kappa can be said of (one verdict only) is left out, and `warnings` says so.
    """

    pieces: int
    within: dict[str, Kappa]
    between: Kappa | None
    against: dict[str, Kappa]
    missed: dict[str, Proportion | None]
    rejected: dict[str, Proportion | None]
    warnings: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, object]:
        """Return the object that `--json` prints."""
        plain = Tabled.to_dict(self)
        told = ("pieces", "within", "between", "against", "missed", "rejected", "warnings")
        return {"against_truth" if name == "against" else name: plain[name] for name in told}

    def to_text(self) -> str:
        """Return what a person reads: who agrees with whom, and what slips through."""
        alone = {f"{name} with themselves": kappa for name, kappa in self.within.items()}
        alone |= {f"{name} with the truth": kappa for name, kappa in self.against.items()}
        slips = {name: (share, self.rejected[name]) for name, share in self.missed.items()}
        pieces = f"{self.value} in {self.file}: {self.pieces} pieces"
        return agreement_text(self.between, alone, slips, pieces, self.warnings)

    def to_frame(self) -> pl.DataFrame:
        """Return one row per agreement: of each person with themselves, of all, of each with the truth."""
        rows = [{"who": who, "with": "themselves"} | kappa.to_dict() for who, kappa in self.within.items()]
        if self.between is not None:
            rows.append({"who": "all", "with": "each other"} | self.between.to_dict())
        rows += [{"who": who, "with": "the truth"} | kappa.to_dict() for who, kappa in self.against.items()]
        return frame_of(rows)


@as_meant
def gauge_study(
    path: TableSource,
    value: str,
    part: str,
    person: str | None = None,
    *,
    lower: float | None = None,
    upper: float | None = None,
    nested: bool = False,
    keep_interaction: bool = False,
    resolution: float | None = None,
    confidence: float = 0.95,
    by_hand: bool = False,
    sheet: str | None = None,
    workshop: Path | None = None,
) -> GaugeResult:
    """Study a gauge from a file of repeated readings.

    Parameters
    ----------
    path : path, polars DataFrame or pandas DataFrame
        A csv, parquet or xlsx file or a frame, one reading a row; or a bench's sheet, people across too.
    value, part, person : str
        Columns of the reading, the part and the person; without a person it is a study by one person.
    lower, upper : float, optional
        Specification limits. [unit of the readings]
    nested : bool
        Each person measured parts of their own.
    keep_interaction : bool
        Keep the interaction of person and part even if its test does not show it.
    resolution : float, optional
        Step of the gauge. [same unit]
    confidence : float, 0..1
        Confidence of the intervals.
    by_hand : bool
        Also give the figures by averages and ranges.
    sheet : str, optional
        Sheet of a workbook.
    workshop : Path, optional
        Workshop whose plan gives limits and step of a figure named as `value`, where they are left out.

    Returns
    -------
    GaugeResult
        With `to_dict()` (the agreed JSON) and `to_text()`.

    Raises
    ------
    StatisticsUsageError
        The question is wrong, or there is no such file.
    StatisticsError
        The data are at fault; the message says where and what to do.
    """
    if by_hand and nested:
        raise StatisticsUsageError("gauge study: averages and ranges by hand are for crossed studies only")
    by = by_workshop(workshop)
    table = _crossed_table(path, sheet, value, [part, person], plan_in(by))
    planned = figure_as_planned(by, value, table, PlannedFigure(None, lower, upper, resolution))
    readings = take_numbers(table, value).to_numpy()
    parts = take_labels(table, part).to_list()
    persons = None if person is None else take_labels(table, person).to_list()
    hand = HandFigures()
    with faults_named(table):
        found = study_gauge(
            readings,
            parts,
            persons,
            lower=planned.lower,
            upper=planned.upper,
            nested=nested,
            keep_interaction=keep_interaction,
            resolution=planned.resolution,
            confidence=confidence,
        )
        if by_hand:
            hand = _by_hand(readings, parts, persons)
    guard = guard_where(planned.lower, planned.upper, found.sd["gauge"])
    return GaugeResult(table.name, value, found, guard, hand.ranges, hand.alone, planned.taken, hand.left_out)


def _by_hand(readings: Floats, parts: list[object], persons: list[object] | None) -> HandFigures:
    """Reckon by averages and ranges from the parts that everybody read equally often."""
    even, left_out = evenly_read(lay_out(readings, parts, persons, holes=True))
    alone = one_person_ranges(even[:, 0, :]) if persons is None else None
    return HandFigures(average_range(even), alone, left_out)


def _crossed_table(
    path: TableSource,
    sheet: str | None,
    value: str,
    labels: list[str | None],
    plan: Plan | None,
) -> Table:
    """Read parts by people; on a bench's sheet the people may stand in the headings."""
    table = read_study_table(
        path, sheet, numbers=[value], labels=labels, manner=SMALL, crossed=labels[-1], plan=plan
    )
    return _filled(table, value)


def _filled(table: Table, value: str) -> Table:
    """Leave out rows whose reading was never taken: a study may have holes, and says how many."""
    cells = take_column(table, value)
    text = cells.cast(pl.String).str.strip_chars()
    there = (text.is_not_null() & (text != "")).fill_null(False)
    return table if there.all() or not there.any() else table.picked(there.arg_true())


@as_meant
def gauge_linearity(
    path: TableSource, value: str, reference: str, *, confidence: float = 0.95, sheet: str | None = None
) -> GaugeLinearity:
    """Hold readings against the references they were taken on.

    Parameters
    ----------
    path, confidence, sheet
        As for `gauge_study`, and so are the errors.
    value, reference : str
        Columns of the reading and of the true value.
    """
    table = read_study_table(path, sheet, numbers=[value, reference], manner=SMALL)
    readings = take_numbers(table, value).to_numpy()
    references = take_numbers(table, reference).to_list()
    with faults_named(table):
        found = linearity(readings, references, confidence=confidence)
    return GaugeLinearity(table.name, value, found)


@as_meant
def gauge_agreement(
    path: TableSource,
    value: str,
    part: str,
    person: str,
    *,
    truth: str | None = None,
    bad: str | None = None,
    confidence: float = 0.95,
    sheet: str | None = None,
) -> GaugeAgreement:
    """Say how far people agree who sort pieces by eye.

    Parameters
    ----------
    path, confidence, sheet
        As for `gauge_study`, with one verdict a row.
    value, part, person : str
        Columns of the verdict, the piece and the person.
    truth : str, optional
        Column of the true verdict.
    bad : str, optional
        The word for a bad piece; with `truth` it gives misses and false rejects.

    Raises
    ------
    StatisticsUsageError
        As for `gauge_study`, or `bad` without `truth`.
    """
    if bad is not None and truth is None:
        raise StatisticsUsageError("agreement: misses and false rejects need the column of the true verdict")
    table = read_study_table(path, sheet, labels=[value, part, person, truth], manner=SMALL)
    names = {"verdict": value, "part": part, "person": person} | ({} if truth is None else {"truth": truth})
    frame = pl.DataFrame({name: take_labels(table, column).cast(pl.String) for name, column in names.items()})
    if bad is not None and bad not in frame["truth"].to_list() + frame["verdict"].to_list():
        raise StatisticsError(f"{table.name}: no verdict reads '{bad}'; write it as in the file")
    with faults_named(table):
        return _agreement(frame, table.name, value, bad, confidence)


def guard_where(lower: float | None, upper: float | None, gauge_sd: float) -> GuardBand | None:
    """Return the guard band of a gauge with this sd, None where there is no limit to guard."""
    if lower is None and upper is None:
        return None
    return guard_band(lower=lower, upper=upper, gauge_sd=gauge_sd)


def _agreement(
    frame: pl.DataFrame, file: str, value: str, bad: str | None, confidence: float
) -> GaugeAgreement:
    """Agreement of every person with themselves, with the others and with the truth."""
    _check_truth(frame)
    within, against, missed, rejected = {}, {}, {}, {}
    warnings: list[str] = []
    for (name,), mine in frame.group_by("person", maintain_order=True):
        person = str(name)
        said = mine["verdict"].to_list()
        rows = _by_piece(mine)
        # a person with one verdict a piece has nothing to agree with themselves on
        if max(map(len, rows)) > 1:
            if len(set(said)) > 1:
                within[person] = fleiss_kappa(rows, confidence=confidence)
            else:
                warnings.append(f"{person} always said {said[0]}: no kappa of {person} with themselves")
        if "truth" in mine.columns:
            true = mine["truth"].to_list()
            if len({*said, *true}) > 1:
                against[person] = cohen_kappa(said, true, confidence=confidence)
            else:
                warnings.append(f"{person} and the truth are always {said[0]}: no kappa of {person} with it")
            if bad is not None:
                missed[person], rejected[person] = misses_and_false_rejects(
                    said, true, bad=bad, confidence=confidence
                )
    pieces = _by_piece(frame)
    between = None
    if frame["person"].n_unique() == 1:
        warnings.append("one person only: nothing is known about how people agree")
    elif frame["verdict"].n_unique() == 1:
        warnings.append(
            f"every verdict is {frame['verdict'][0]}: pieces of both kinds are needed for a kappa"
        )
    else:
        between = fleiss_kappa(pieces, confidence=confidence)
    return GaugeAgreement(
        file, value, len(pieces), within, between, against, missed, rejected, tuple(warnings)
    )


def _check_truth(frame: pl.DataFrame) -> None:
    """Refuse a piece with two true verdicts."""
    if "truth" not in frame.columns:
        return
    truths = frame.group_by("part", maintain_order=True).agg(pl.col("truth").unique(maintain_order=True))
    for part, found in truths.iter_rows():
        if len(found) > 1:
            raise StatisticsError(f"part {part} is truly {found[0]} in one row and {found[1]} in another")


def _by_piece(frame: pl.DataFrame) -> list[list[str]]:
    """Verdicts of each piece, pieces in order of first appearance; the same number for each."""
    groups = frame.group_by("part", maintain_order=True).agg("verdict")
    rows: list[list[str]] = groups["verdict"].to_list()
    most = max(map(len, rows))
    for part, row in zip(groups["part"], rows, strict=True):
        if len(row) < most:
            raise StatisticsError(
                f"part {part} has {len(row)} verdict{'s' * (len(row) != 1)} where others have {most}; "
                "judge it again, or leave the extra ones out"
            )
    return rows
