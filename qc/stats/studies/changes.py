"""The change-point detector in a study: of readings, of what wears, of counts, in one shape of answer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import cast

import polars as pl

from qc.stats.change import DetectorSignal, Shape, Stretch, detect_counts, detect_many
from qc.stats.charts import Chart, Signal
from qc.stats.numbers import Floats
from qc.stats.studies.outcome import Outcome, Outcomes, each_series, points_of, series_of
from qc.stats.studies.question import StudyQuestion
from qc.stats.wear import detect_wear

DETECTOR_RATE = 0.001  # false signals per point where none is asked for
FEWEST = {"readings": 4, "counts": 2, "wear": 6}  # points before the detector can say anything
WEARS = "it wears along a line: a wear forecast says where that meets the limit"


def changepoint(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
    """Judge every series by the change-point detector.

    Parameters
    ----------
    frame : DataFrame
        Arranged rows with `value`; with `against` (and `tool`) readings are judged about the line of their
        wear, with `question.counts` they are counts, on `size` where it is there.
    question : StudyQuestion
        Rate, shape, resolution, counts.

    Returns
    -------
    Outcomes
        Charts without limits; `extras` hold stretches and changes.

    Raises
    ------
    StatisticsError
        A rate that cannot be asked for.

    Examples
    --------
    >>> from qc.stats.charts.table import arrange
    >>> counts = [1, 0, 2, 1, 0, 1, 1, 0, 1, 2, 0, 1, 1, 7, 8, 6]
    >>> frame = arrange(pl.DataFrame({"value": [float(count) for count in counts]}))
    >>> found = changepoint(frame, StudyQuestion("changepoint", counts="defects"))[""].chart
    >>> [(signal.rule, signal.start, signal.point) for signal in found.signals]
    [('count', 14, 14)]
    """
    if question.counts is not None:
        return each_series(frame, lambda name, part: _counts(name, part, question))
    if "against" in frame.columns:
        return each_series(frame, lambda name, part: _wear(name, part, question))
    return _readings(points_of(frame), question)


def _readings(frame: pl.DataFrame, question: StudyQuestion) -> Outcomes:
    """Judge all series in one batch: one after the other would cost many times as much."""
    names, parts = [], []
    for name, part in series_of(frame):
        names.append(name)
        parts.append(part["value"].to_numpy())
    found = detect_many(
        parts,
        false_alarm_rate=question.false_alarm_rate or DETECTOR_RATE,
        shape=cast(Shape, question.shape),
        resolution=question.setting.resolution,
    )
    out: Outcomes = {}
    for name, values, one in zip(names, parts, found, strict=True):
        chart = _chart(name, values, one.signals, one.stretches, question, "readings", one.shape)
        out[name] = Outcome(values.size, chart)
    return out


def _counts(name: str, part: pl.DataFrame, question: StudyQuestion) -> Outcome:
    number = part["value"].to_numpy()
    size = part["size"].to_numpy() if "size" in part.columns else None
    found = detect_counts(
        number,
        size,
        question.false_alarm_rate or DETECTOR_RATE,
        pass_fail=question.counts == "pass-fail",
    )
    values = number if size is None else number / size
    chart = _chart(name, values, found.signals, found.stretches, question, "counts", found.shape)
    return Outcome(number.size, chart)


def _wear(name: str, part: pl.DataFrame, question: StudyQuestion) -> Outcome:
    values = part["value"].to_numpy()
    tools = detect_wear(
        part["against"].to_numpy(),
        values,
        part["tool"].cast(pl.String).to_list() if "tool" in part.columns else None,
        false_alarm_rate=question.false_alarm_rate or DETECTOR_RATE,
        resolution=question.setting.resolution,
    )
    signals = [signal for tool in tools for signal in tool.detection.signals]
    stretches = [stretch for tool in tools for stretch in tool.detection.stretches]
    fitted = [{"tool": tool.tool, "first": tool.first, "last": tool.last} for tool in tools]
    chart = _chart(name, values, signals, stretches, question, "wear", "normal", {"tools": fitted})
    return Outcome(values.size, chart, unstable=WEARS)


def _chart(
    name: str,
    values: Floats,
    found: Sequence[DetectorSignal],
    stretches: Sequence[Stretch],
    question: StudyQuestion,
    judged: str,
    shape: str,
    more: Mapping[str, object] | None = None,
) -> Chart:
    """Show points by stretches: there are no limits, the level is that of the newest stretch."""
    newest = stretches[-1] if stretches else None
    signals = tuple(
        Signal(one.point, one.kind, one.side, one.start, one.size, one.size_sigma, name or None)
        for one in found
    )
    least = FEWEST[judged]
    warnings = (
        ()
        if values.size >= least
        else (f"the detector begins at the {least}{'th' if least > 3 else 'nd'} point",)
    )
    return Chart(
        kind="changepoint",
        # the stretches of what wears are errors about the line: their mean is no level of the readings
        center=None if newest is None or judged == "wear" else newest.mean,
        lower=None,
        upper=None,
        sigma=None if newest is None else newest.sd,
        values=values,
        signals=signals if question.rules else (),
        warnings=warnings,
        extras={
            "false_alarm_rate": question.false_alarm_rate or DETECTOR_RATE,
            "shape": shape,
            "judged": judged,
            "stretches": [stretch.to_dict() for stretch in stretches],
            "changes": [one.to_dict() for one in found],
            **(more or {}),
        },
    )
