"""The change-point detector: since when is a series not the same process as before, and by how much.

`detect` judges one series, `detect_many` thousands at once, `DetectorState` (in `qc.stats.detector_state`)
one reading at a time; all three give the same findings.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.stats.detector_block import Block, Judgement, Setting, excess
from qc.stats.detector_input import check_setting, check_values, dither_of
from qc.stats.detector_result import Detection, Shape, stretches_of
from qc.stats.detector_scan import SHORTEST
from qc.stats.detector_track import Outcome, Track
from qc.stats.errors import StatisticsError
from qc.stats.thresholds import check_rate

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Values = Sequence[float] | Floats

BLOCK = 256  # stretches judged at once: their arrays fit the processor's cache


def detect(
    values: Values,
    *,
    false_alarm_rate: float = 0.001,
    shape: Shape = "normal",
    resolution: float | None = None,
    labels: Sequence[object] | None = None,
) -> Detection:
    """Find where a series stopped being the same process.

    Parameters
    ----------
    values : sequence of float, length n >= 0
        Readings in order of making, one a piece. [unit of the characteristic]
    false_alarm_rate : float
        Wanted share of points that raise a false signal, all kinds together, 1e-6 to 0.02.
    shape : {"normal", "positive", "any"}
        `normal` judges the readings as they are, `positive` their logarithms, `any` the normal scores of
        their ranks (blind to a single piece, and silent for about the first 14 pieces at 0.001).
    resolution : float or None
        Step of the gauge. None: the smallest gap between readings, once it or a reading recurs.
        [unit of the characteristic]
    labels : sequence or None
        Names of the pieces; they decide between equal readings where ranks are used. None: their numbers.

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
    aside instead. Rates, delays and their standard errors: `docs/reference/detector.md`.

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
    return _run([values], false_alarm_rate, shape, resolution, None if labels is None else [labels], True)[0]


def detect_many(
    series: Mapping[str, Values] | Sequence[Values],
    *,
    false_alarm_rate: float = 0.001,
    shape: Shape = "normal",
    resolution: float | None = None,
    labels: Sequence[Sequence[object]] | None = None,
    evidence: bool = False,
) -> list[Detection]:
    """Judge many series in one pass; each finding is that of `detect` on the series alone.

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

    Returns
    -------
    list of Detection
        In the order given.

    Raises
    ------
    StatisticsError
        As for `detect`.

    Examples
    --------
    >>> [len(found.signals) for found in detect_many([[1.0, 2.0, 1.5, 1.2], [0.3, 0.1]])]
    [0, 0]
    """
    every = list(series.values()) if isinstance(series, Mapping) else list(series)
    return _run(every, false_alarm_rate, shape, resolution, labels, evidence)


def _run(
    series: list[Values],
    false_alarm_rate: float,
    shape: Shape,
    resolution: float | None,
    labels: Sequence[Sequence[object]] | None,
    evidence: bool,
) -> list[Detection]:
    """Check, judge and wrap up."""
    rate = check_rate(false_alarm_rate)
    setting = check_setting(shape, resolution)
    checked = [check_values(values, setting.shape) for values in series]
    batch = _Batch(setting, rate, checked, _dithers(checked, labels, setting), evidence)
    batch.judge()
    return [batch.detection(i) for i in range(len(checked))]


def _dithers(
    series: list[Floats], labels: Sequence[Sequence[object]] | None, setting: Setting
) -> list[Floats]:
    """Give each piece its fraction, where ranks may be used."""
    if labels is not None and len(labels) != len(series):
        raise StatisticsError(f"labels for {len(labels)} series, values for {len(series)}")
    if setting.shape == "normal":
        return [np.zeros(values.size) for values in series]
    longest = max((values.size for values in series), default=0)
    numbered = (
        np.array([dither_of(point) for point in range(1, longest + 1)]) if labels is None else np.zeros(0)
    )
    if labels is None:
        return [numbered[: values.size] for values in series]
    for names, values in zip(labels, series, strict=True):
        if len(names) != values.size:
            raise StatisticsError(f"{len(names)} labels for {values.size} values")
    return [np.array([dither_of(name) for name in names]) for names in labels]


@dataclass(slots=True)
class _Job:
    """A stretch to be judged from `begin` on."""

    index: int
    begin: int
    gap: float = np.inf
    coarse: bool = False


class _Batch:
    """Series judged side by side: stretches of the same length share each step."""

    def __init__(
        self, setting: Setting, rate: float, series: list[Floats], dithers: list[Floats], evidence: bool
    ) -> None:
        self.setting, self.rate, self.series, self.dithers = setting, rate, series, dithers
        self.tracks = [Track() for _ in series]
        self.ranked = [0] * len(series)
        self.steps: list[float | None] = [setting.resolution] * len(series)
        self.evidence = evidence
        sizes = [values.size if evidence else 0 for values in series]
        self.scores = [np.full(size, np.nan) for size in sizes]
        self.limits = [np.full(size, np.nan) for size in sizes]

    def judge(self) -> None:
        """Work through all stretches; those that begin after a signal form the next round."""
        jobs = [_Job(i, 0) for i, values in enumerate(self.series) if values.size]
        while jobs:
            # stretches with the same number of readings left stay together longest
            jobs.sort(key=lambda job: job.begin - self.series[job.index].size)
            blocks = [jobs[i : i + BLOCK] for i in range(0, len(jobs), BLOCK)]
            jobs = [job for block in blocks for job in _Lanes(self, block).run()]

    def detection(self, index: int) -> Detection:
        """Wrap up one series."""
        signals = tuple(self.tracks[index].signals)
        return Detection(
            self.series[index].size,
            self.setting.shape,
            self.rate,
            signals,
            stretches_of(self.series[index], signals),
            self.steps[index],
            self.ranked[index],
            tuple(None if np.isnan(score) else float(score) for score in self.scores[index]),
            tuple(None if np.isnan(limit) else float(limit) for limit in self.limits[index]),
        )


class _Lanes:
    """One block of stretches, grown reading by reading; `cursor` and `end` say where each lane stands."""

    def __init__(self, batch: _Batch, jobs: list[_Job]) -> None:
        self.batch = batch
        self.index = np.array([job.index for job in jobs], dtype=np.int64)
        self.cursor = np.array([job.begin for job in jobs], dtype=np.int64)
        self.end = np.array([batch.series[job.index].size for job in jobs], dtype=np.int64)
        self.offset = self.cursor.copy()
        capacity = int((self.end - self.cursor).max())
        self.block = Block(batch.setting, len(jobs), capacity)
        self.block.gap = np.array([job.gap for job in jobs])
        self.block.coarse = np.array([job.coarse for job in jobs], dtype=np.bool_)
        self.data = np.zeros((len(jobs), capacity))
        self.dither = np.zeros((len(jobs), capacity))
        for lane, job in enumerate(jobs):
            part = batch.series[job.index][job.begin :]
            self.data[lane, : part.size] = part
            self.dither[lane, : part.size] = batch.dithers[job.index][job.begin :]

    def run(self) -> list[_Job]:
        """Judge all lanes to their ends; the stretches that begin after a signal come back as new jobs."""
        restarted: list[_Job] = []
        length = 0
        while self.index.size:
            self._close(self.cursor < self.end, length)
            if not self.index.size:
                break
            length += 1
            todo = np.arange(self.index.size)
            alive = np.ones(self.index.size, dtype=np.bool_)
            while todo.size:
                self._place(todo, length)
                again: list[int] = []
                for lane, outcome in self._outcomes(todo, length):
                    if outcome is Outcome.SET_ASIDE and self.cursor[lane] < self.end[lane]:
                        again.append(lane)
                        continue
                    alive[lane] = False
                    if self.cursor[lane] < self.end[lane]:
                        restarted.append(self._job(lane))
                todo = np.array(again, dtype=np.int64)
            self._close(alive, length)
        return restarted

    def _place(self, todo: Integers, length: int) -> None:
        """Hand each lane its next reading."""
        column = self.cursor[todo] - self.offset[todo]
        self.block.place(length - 1, todo, self.data[todo, column], self.dither[todo, column])
        self.cursor[todo] += 1

    def _outcomes(self, todo: Integers, length: int) -> Iterator[tuple[int, Outcome]]:
        """Judge and record; what becomes of the lanes that signal."""
        if length < SHORTEST:
            return
        judgement = self.block.judge(todo, length, self.batch.rate)
        if self.batch.evidence:
            self._keep_evidence(todo, length, judgement)
        if self.batch.setting.shape == "positive":
            for place in np.flatnonzero(judgement.ranked):
                self.batch.ranked[self.index[todo[place]]] += 1
        for place in np.flatnonzero((judgement.statistic > judgement.limit).any(axis=1)):
            lane = int(todo[place])
            track = self.batch.tracks[self.index[lane]]
            yield lane, track.receive(self.block, lane, length, judgement, int(place), self.batch.rate)

    def _keep_evidence(self, todo: Integers, length: int, judgement: Judgement) -> None:
        """Note score and threshold of the kind nearest to signalling."""
        for place, lane in enumerate(todo):
            ranked = bool(judgement.ranked[place])
            scores, limits = excess(judgement.statistic[place], length, self.batch.rate, ranked)
            nearest = int(np.argmax(scores - limits))
            point = self.cursor[lane] - 1
            self.batch.scores[self.index[lane]][point] = scores[nearest]
            self.batch.limits[self.index[lane]][point] = limits[nearest]

    def _job(self, lane: int) -> _Job:
        """Make a job of the rest of a lane; it remembers the step of the gauge."""
        gap, coarse = float(self.block.gap[lane]), bool(self.block.coarse[lane])
        return _Job(int(self.index[lane]), int(self.cursor[lane]), gap, coarse)

    def _close(self, alive: NDArray[np.bool_], length: int) -> None:
        """Leave out the lanes that are done."""
        if alive.all():
            return
        for lane in np.flatnonzero(~alive):
            self.batch.steps[self.index[lane]] = self.block.resolution(int(lane))
        rows = np.flatnonzero(alive)
        self.block.keep(rows, length)
        for name in ("index", "cursor", "end", "offset", "data", "dither"):
            setattr(self, name, getattr(self, name)[rows])
