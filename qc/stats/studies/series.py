"""One question, one answer: the chart asked for, over one series or ten thousand, as the agreed JSON.

`study_frame` is pure: a frame of readings in, a `SeriesStudy` per series out. Reading files, drawing and
printing are the business of `qc.jobs.study`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from qc.plain import JsonObject
from qc.stats.capable import Capability
from qc.stats.charts import ONLY, Chart, Signal, arrange, lengths, short_run_frame
from qc.stats.errors import StatisticsError
from qc.stats.numbers import Places
from qc.stats.studies.assumptions import distributions, doubts
from qc.stats.studies.capability import series_capability
from qc.stats.studies.kinds import Kind, check_question
from qc.stats.studies.outcome import Outcome
from qc.stats.studies.question import StudyQuestion
from qc.stats.tabled import Tabled
from qc.words import count_words


@dataclass(frozen=True, slots=True)
class SeriesStudy(Tabled):
    """The answer for one series; without a chart, `reason` says why and what is needed."""

    series: str | None
    n: int
    points: int
    chart: Chart | None
    capability: Capability | None
    distribution: Mapping[str, str | float | None]
    warnings: tuple[str, ...] = ()
    reason: str | None = None

    @property
    def signals(self) -> tuple[Signal, ...]:
        """Signals of the chart, none where there is no chart."""
        return () if self.chart is None else self.chart.signals

    def to_dict(self, *, points: bool = True) -> JsonObject:
        """Return the contract's object; `points=False` leaves out the values."""
        out: JsonObject = {
            "n": self.n,
            "points": self.points,
            "chart": None if self.chart is None else self.chart.to_dict(points=points),
            "signals": [signal.to_dict() for signal in self.signals],
        }
        if self.capability is not None:
            out["capability"] = self.capability.to_dict()
        out["distribution"] = dict(self.distribution)
        out["warnings"] = list(self.warnings)
        if self.reason is not None:
            out["reason"] = self.reason
        return out

    def to_frame(self) -> pl.DataFrame:
        """Return one row per point of the chart; none where there is no chart."""
        return pl.DataFrame() if self.chart is None else self.chart.to_frame()


def study_frame(frame: pl.DataFrame, question: StudyQuestion) -> dict[str, SeriesStudy]:
    """Chart, signals, capability and distribution of every series of a frame.

    Parameters
    ----------
    frame : DataFrame
        Rows in order of making. `value` (for t2 and mewma the figures are all columns but the others named
        here), and as the chart needs them `series`, `subgroup`, `size`, `against`, `place`; with `nominal`
        the deviation from it is charted, with `model` models share the chart as they agree.
    question : StudyQuestion
        Chart kind and options.

    Returns
    -------
    dict of series name to SeriesStudy
        In order of first appearance. One series without a name has the name ''.

    Raises
    ------
    StatisticsError
        The only series cannot be charted, or a value is not a finite number. Among several series a bad one
        is kept with its reason.

    References
    ----------
    .. [1] Each chart names its source where it is computed.

    Examples
    --------
    >>> answer = study_frame(pl.DataFrame({"value": [1.0, 3.0, 2.0]}), StudyQuestion("individuals"))[""]
    >>> answer.n, answer.chart.center, answer.signals
    (3, 2.0, ())
    """
    frame = arrange(frame.with_columns(value=pl.lit(0.0)) if "value" not in frame.columns else frame)
    frame, said = short_run_frame(frame, own=question.chart == "self-starting")
    named = frame["series"].dtype != pl.String or frame["series"][0] != ONLY
    kind = check_question(question)
    outcomes = kind.build(frame, question)
    names = [str(name) for name in frame["series"].unique(maintain_order=True).to_list()]
    # one series alone: its reason is the answer to the whole question, so it is an error
    if not named and outcomes[names[0]].chart is None:
        raise StatisticsError(outcomes[names[0]].reason)
    ends = np.cumsum(lengths(frame))
    pieces = _groups(frame, ends)
    readings = np.split(frame["value"].to_numpy(), ends[:-1])
    checked = distributions(readings, measured=kind.measured, several=kind.several)
    capable: dict[str, Capability] = {}
    doubtful: dict[str, tuple[str, ...]] = {}
    if kind.measured and not kind.several:
        doubtful = doubts(names, readings, outcomes, question)
        if question.has_limits:
            capable = series_capability(names, readings, pieces, outcomes, question)
    out: dict[str, SeriesStudy] = {}
    for name, part, distribution, piece in zip(names, readings, checked, pieces, strict=True):
        outcome = outcomes[name]
        chart = outcome.chart
        warnings: tuple[str, ...] = ()
        if chart is not None:
            if name in said:
                chart = replace(chart, warnings=(*chart.warnings, said[name]))
            warnings = chart.warnings + _remarks(outcome, question, kind)
            warnings += _repeated(piece, question) + doubtful.get(name, ())
        out[name] = SeriesStudy(
            series=name if named else None,
            n=int(part.size),
            points=outcome.points,
            chart=chart,
            capability=capable.get(name),
            distribution=distribution,
            warnings=warnings,
            reason=outcome.reason,
        )
    return out


def _groups(frame: pl.DataFrame, ends: Places) -> list[pl.Series | None]:
    """Piece or subgroup of every reading, series by series."""
    there = [name for name in ("subgroup", "piece") if name in frame.columns]
    if not there:
        return [None] * len(ends)
    column = frame[there[0]]
    return [column[start:end] for start, end in zip([0, *ends[:-1].tolist()], ends.tolist(), strict=True)]


def _remarks(outcome: Outcome, question: StudyQuestion, kind: Kind) -> tuple[str, ...]:
    """Say what was asked for and cannot be given."""
    said = _baseline_missed(question, outcome.points)
    if question.has_limits and (kind.several or not kind.measured):
        said += ("limits are for measured values: no capability is given for this chart",)
    return said


def _repeated(pieces: pl.Series | None, question: StudyQuestion) -> tuple[str, ...]:
    """Say when readings of one piece stand on the chart as if they were pieces of their own."""
    column = question.piece_column
    if pieces is None or pieces.n_unique() == len(pieces):
        return ()
    told = f"{len(pieces)} readings of {count_words(pieces.n_unique(), 'piece')}"
    if column is None:
        return ()
    counted = "capability counts the pieces, but the" if question.has_limits else "the"
    return (
        f"{told} by the column '{column}': {counted} chart takes each reading for a piece; "
        f"--subgroup {column} gives each piece one point",
    )


def _baseline_missed(question: StudyQuestion, points: int) -> tuple[str, ...]:
    """Say when the baseline asked for runs beyond the last point."""
    wanted = question.setting.baseline.last
    if wanted is None or wanted <= points:
        return ()
    return (f"the baseline was to run to point {wanted}, but there are {points}: limits rest on those",)
