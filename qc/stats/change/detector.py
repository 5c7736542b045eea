"""The change-point detector: since when is a series not the same process as before, and by how much.

`detect` judges one series, `detect_many` thousands at once, `DetectorState` (in `qc.stats.change.state`)
one reading at a time; all three give the same findings.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from qc.stats.change.batch import BLOCK, Batch, first_told
from qc.stats.change.block import ShapeAndStep
from qc.stats.change.dependent import lot_numbers
from qc.stats.change.input import (
    check_as_many,
    check_setting,
    check_values,
    noise_of_points,
    noise_unless_given,
)
from qc.stats.change.result import Detection, Shape
from qc.stats.change.state import DetectorState
from qc.stats.change.thresholds import check_rate
from qc.stats.errors import StatisticsError
from qc.stats.noise import Noise
from qc.stats.numbers import Floats, Integers, Values, dither_of


def detect(
    values: Values,
    *,
    false_alarm_rate: float | Values = 0.001,
    shape: Shape = "normal",
    resolution: float | None = None,
    labels: Sequence[object] | None = None,
    settled: int = 0,
    noise: Noise | Sequence[Noise] | None = None,
    lots: Sequence[str | None] | None = None,
) -> Detection:
    """Find where a series stopped being the same process.

    Parameters
    ----------
    values : sequence of float, length n >= 0
        Readings in order of making, one a piece. [unit of the characteristic]
    false_alarm_rate : float or sequence of float, length n
        Wanted share of points that raise a false signal, all kinds together, 1e-6 to 0.02; one for all points
        or, to judge again as it was judged then, one for each.
    shape : {"auto", "normal", "positive", "any"}
        `auto` judges the normal scores of the readings under the shape that `noise` says was learned,
        `normal` the readings as they are, `positive` their logarithms, `any` the normal scores of their ranks
        (blind to a single piece, and silent for about the first 14 pieces at 0.001).
    resolution : float or None
        Step of the gauge. None: the smallest gap between readings, once it or a reading recurs.
        [unit of the characteristic]
    labels : sequence or None
        Names of the pieces; they decide between equal readings where ranks are used. None: their numbers.
    settled : int
        So many readings at the front are a known settled state: they raise nothing, the later ones are
        compared with them.
    noise : Noise, sequence of Noise or None
        What was learned of how settled pieces scatter (`learn_noise`), one for all points or one for each.
        None: nothing (`PRIOR`) with `auto`, else pieces that do not hang together (`NORMAL`). A shape other
        than `auto` takes from it only lots and neighbours.
    lots : sequence of str or None, length n, or None
        Lot (batch, bath, set-up) of each piece; None: a lot of its own.

    Returns
    -------
    Detection
        Signals with start and size, stretches, and the evidence at each point.

    Raises
    ------
    StatisticsError
        A reading that is not a finite number (or is below 0 with `positive`), a rate or resolution out of
        range, or labels of another length.

    Notes
    -----
    After every reading from the 4th on the stretch is split at every place; the largest two-sample t, the
    largest Bartlett-corrected ratio of spreads and the largest t of a climb are each turned into a normal
    score. Thresholds are simulated so that the three together signal at the wanted rate at every length
    [1]_. After a signal only later readings are judged; a piece that stands apart from ten or more is set
    aside instead. Learned shapes: `qc.stats.change.learned_shape`; lots and neighbours: `dependent` beside
    it. Rates, delays and their standard errors: `docs/reference/detector.md`.

    References
    ----------
    .. [1] Hawkins, Qiu & Kang, "The changepoint model for statistical process control", Journal of Quality
       Technology 35 (2003), 355-366.

    Examples
    --------
    >>> found = detect([5.1, 4.9, 5.0, 5.2, 4.8, 5.0, 5.1, 4.9, 7.0, 7.1, 6.9])
    >>> [(s.kind, s.start, s.side) for s in found.signals]
    [('shift', 9, 'above')]
    """
    if not isinstance(false_alarm_rate, int | float):
        rates = [float(rate) for rate in false_alarm_rate]
    elif settled or not (noise is None or isinstance(noise, Noise)):
        rates = [false_alarm_rate] * len(values)
    else:
        names, alike = None if labels is None else [labels], [noise_unless_given(noise, shape)]
        return _run([values], false_alarm_rate, shape, resolution, names, True, alike, [lots])[0]
    return _by_point(values, rates, shape, resolution, labels, settled, noise, lots)


def detect_many(
    series: Mapping[str, Values] | Sequence[Values],
    *,
    false_alarm_rate: float = 0.001,
    shape: Shape = "normal",
    resolution: float | None = None,
    labels: Sequence[Sequence[object]] | None = None,
    evidence: bool = False,
    noise: Noise | Sequence[Noise] | None = None,
    lots: Sequence[Sequence[str | None] | None] | None = None,
) -> list[Detection]:
    """Judge many series in one pass, in the order given; each finding or refusal is that of `detect` alone.

    Parameters
    ----------
    series : mapping of name to values, or sequence of values
        Any number of series of any length. [unit of each characteristic]
    false_alarm_rate, shape, resolution
        As for `detect`, the same for all.
    labels : sequence of sequences or None
        Names of the pieces of each series.
    evidence : bool
        Whether to keep scores and thresholds for each point.
    noise : Noise, sequence of Noise or None
        As for `detect`: one for all series or one for each.
    lots : sequence of sequences or None
        Lots of the pieces of each series.

    Examples
    --------
    >>> [len(found.signals) for found in detect_many([[1.0, 2.0, 1.5, 1.2], [0.3, 0.1]])]
    [0, 0]
    """
    every = list(series.values()) if isinstance(series, Mapping) else list(series)
    noises = noise_of_points(noise, shape, len(every))
    check_as_many(lots, "lots", len(every))
    known = [None] * len(every) if lots is None else lots
    return _run(every, false_alarm_rate, shape, resolution, labels, evidence, noises, known)


def told_after(
    paths: Floats,
    settled: int,
    *,
    false_alarm_rate: float = 0.001,
    shape: Shape = "normal",
    resolution: float | None = None,
    noise: Noise | None = None,
    lots: Integers | None = None,
) -> Integers:
    """Count the points after a settled front until `detect` first tells a change, for many series at once.

    Parameters
    ----------
    paths : float array, shape (series, length)
        Readings in order of making, all series as long as each other. [unit of the characteristic]
    settled : int, >= 3
        So many readings at the front of each are a known settled state, as for `detect`.
    false_alarm_rate, shape, resolution
        As for `detect`.
    noise : Noise or None
        As for `detect`, one for all.
    lots : int array, shape (series, length), or None
        Lot of each piece by number; None: a lot of its own.

    Returns
    -------
    int array, shape (series,)
        1 for a signal at the first point after the front; 0 where none is raised up to the end.

    Raises
    ------
    StatisticsError
        As for `detect`.

    Notes
    -----
    Only the first signal is asked for, so the front is laid in and not judged, and a series is left once it
    was told: a study of delays takes a small part of what `detect` would.

    Examples
    --------
    >>> import numpy as np
    >>> front = np.tile([5.1, 4.9, 5.0, 5.2, 4.8, 5.0, 5.1, 4.9], (2, 1))
    >>> after = np.array([[7.0, 7.1, 6.9], [5.0, 4.9, 5.1]])
    >>> told_after(np.hstack([front, after]), 8).tolist()
    [1, 0]
    """
    setting, rate = check_setting(shape, resolution), check_rate(false_alarm_rate)
    checked = [check_values(values, setting.shape) for values in paths]
    known = noise_unless_given(noise, shape)
    dithers = _dithers(checked, None, setting)
    numbers = [lot_numbers(None, values.size) for values in checked] if lots is None else list(lots)
    found = np.zeros(len(checked), dtype=np.int64)
    for first in range(0, len(checked), BLOCK):
        part = slice(first, first + BLOCK)
        laid = np.array(checked[part]), np.array(dithers[part]), np.array(numbers[part])
        found[part] = first_told(setting, rate, known, laid, settled)
    return found


def _by_point(
    values: Values,
    rates: list[float],
    shape: Shape,
    resolution: float | None,
    labels: Sequence[object] | None,
    settled: int,
    noise: Noise | Sequence[Noise] | None,
    lots: Sequence[str | None] | None,
) -> Detection:
    """Judge each reading at its own rate and by its own noise, those of the settled state not at all."""
    series = check_values(values, check_setting(shape, resolution).shape)
    check_as_many(rates, "rates", series.size)
    check_as_many(labels, "labels", series.size)
    noises = noise_of_points(noise, shape, series.size)
    check_as_many(lots, "lots", series.size)
    state = DetectorState(shape=shape, resolution=resolution)
    scores: list[float | None] = []
    limits: list[float | None] = []
    for point, (value, rate) in enumerate(zip(series, rates, strict=True)):
        state.add(
            float(value),
            label=None if labels is None else labels[point],
            false_alarm_rate=rate,
            silent=point < settled,
            noise=noises[point],
            lot=None if lots is None else lots[point],
        )
        scores.append(state.score)
        limits.append(state.threshold)
    return replace(state.detection(series), scores=tuple(scores), thresholds=tuple(limits))


def _run(
    series: list[Values],
    false_alarm_rate: float,
    shape: Shape,
    resolution: float | None,
    labels: Sequence[Sequence[object]] | None,
    evidence: bool,
    noises: list[Noise],
    lots: Sequence[Sequence[str | None] | None],
) -> list[Detection]:
    """Check, judge and wrap up."""
    rate = check_rate(false_alarm_rate)
    setting = check_setting(shape, resolution)
    checked = [check_values(values, setting.shape) for values in series]
    for own, values in zip(lots, checked, strict=True):
        check_as_many(own, "lots", values.size)
    numbers = [lot_numbers(own, values.size) for own, values in zip(lots, checked, strict=True)]
    dithers = _dithers(checked, labels, setting)
    batch = Batch(setting, rate, checked, dithers, evidence, noises, numbers)
    batch.judge()
    return [batch.detection(i) for i in range(len(checked))]


def _dithers(
    series: list[Floats], labels: Sequence[Sequence[object]] | None, setting: ShapeAndStep
) -> list[Floats]:
    """Give each piece its fraction, where ranks may be used."""
    if labels is not None and len(labels) != len(series):
        raise StatisticsError(f"labels for {len(labels)} series, values for {len(series)}")
    if setting.shape in {"auto", "normal"}:
        return [np.zeros(values.size) for values in series]
    if labels is None:
        longest = max((values.size for values in series), default=0)
        numbered = np.array([dither_of(point) for point in range(1, longest + 1)])
        return [numbered[: values.size] for values in series]
    for names, values in zip(labels, series, strict=True):
        check_as_many(names, "labels", values.size)
    return [np.array([dither_of(name) for name in names]) for names in labels]
