"""Many series judged side by side: stretches of the same length share each step."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby

import numpy as np

from qc.stats.change.block import Block, Judgement, ShapeAndStep
from qc.stats.change.result import Detection, stretches_of
from qc.stats.change.scan import SHORTEST
from qc.stats.change.track import AfterSignal, Track
from qc.stats.noise import Noise
from qc.stats.numbers import Flags, Floats, Integers

BLOCK = 256  # stretches judged at once: their arrays fit the processor's cache


class Batch:
    """Series judged side by side: stretches of the same length share each step."""

    def __init__(
        self,
        setting: ShapeAndStep,
        rate: float,
        series: list[Floats],
        dithers: list[Floats],
        evidence: bool,
        noises: list[Noise],
        lots: list[Integers],
    ) -> None:
        self.setting, self.rate, self.series, self.dithers = setting, rate, series, dithers
        self.noises, self.lots = noises, lots
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
            # stretches with the same number of readings left stay together longest; what is at work in one
            # row of a block is at work in all
            jobs.sort(key=lambda job: (self._at_work(job), job.begin - self.series[job.index].size))
            groups = [list(group) for _, group in groupby(jobs, self._at_work)]
            blocks = [group[i : i + BLOCK] for group in groups for i in range(0, len(group), BLOCK)]
            jobs = [job for block in blocks for job in _Lanes(self, block).run()]

    def _at_work(self, job: _Job) -> tuple[bool, bool]:
        """Whether lots and whether neighbours hang together in the series of a job."""
        noise = self.noises[job.index]
        return noise.lots > 0, noise.echo > 0 and noise.fade > 0

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


def first_told(
    setting: ShapeAndStep,
    rate: float,
    noise: Noise,
    laid: tuple[Floats, Floats, Integers],
    settled: int,
) -> Integers:
    """Return at which point after a settled front each of some series first signals, 0 where none does.

    `laid` holds readings, dithers and lots, an array each with a series a row.
    """
    readings, dithers, lots = laid
    rows, most = readings.shape
    block = Block(setting, rows, most, [noise] * rows)
    found, alive = np.zeros(rows, dtype=np.int64), np.arange(rows)
    for length in range(1, most + 1):
        here, column = np.arange(alive.size), length - 1
        own = lots[alive, column] if block.by_lots else None
        block.place(column, here, readings[alive, column], dithers[alive, column], own)
        if length <= settled or length < SHORTEST:
            continue
        judgement = block.judge(here, length, rate)
        told = (judgement.statistic > judgement.limit).any(axis=1)
        found[alive[told]] = length - settled
        if told.all():
            break
        if told.any():
            block.keep(np.flatnonzero(~told), length)
            alive = alive[~told]
    return found


@dataclass(slots=True)
class _Job:
    """A stretch to be judged from `begin` on."""

    index: int
    begin: int
    gap: float = np.inf
    coarse: bool = False


class _Lanes:
    """One block of stretches, grown reading by reading; `cursor` and `end` say where each lane stands."""

    def __init__(self, batch: Batch, jobs: list[_Job]) -> None:
        """Copy the rest of each series beside the others, so that a lane may stand at a place of its own."""
        self.batch = batch
        self.index = np.array([job.index for job in jobs], dtype=np.int64)
        self.cursor = np.array([job.begin for job in jobs], dtype=np.int64)
        self.end = np.array([batch.series[job.index].size for job in jobs], dtype=np.int64)
        self.offset = self.cursor.copy()
        capacity = int((self.end - self.cursor).max())
        noises = [batch.noises[job.index] for job in jobs]
        self.block = Block(batch.setting, len(jobs), capacity, noises)
        self.block.gap = np.array([job.gap for job in jobs])
        self.block.coarse = np.array([job.coarse for job in jobs], dtype=np.bool_)
        self.data = np.zeros((len(jobs), capacity))
        self.dither = np.zeros((len(jobs), capacity))
        self.lots = np.zeros((len(jobs), capacity), dtype=np.int64)
        for lane, job in enumerate(jobs):
            part = batch.series[job.index][job.begin :]
            self.data[lane, : part.size] = part
            self.dither[lane, : part.size] = batch.dithers[job.index][job.begin :]
            self.lots[lane, : part.size] = batch.lots[job.index][job.begin :]

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
                    # the lane has lost its newest reading, so it must be given the next one to be as long as
                    # its neighbours
                    if outcome is AfterSignal.SET_ASIDE and self.cursor[lane] < self.end[lane]:
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
        lots = self.lots[todo, column] if self.block.by_lots else None
        self.block.place(length - 1, todo, self.data[todo, column], self.dither[todo, column], lots)
        self.cursor[todo] += 1

    def _outcomes(self, todo: Integers, length: int) -> Iterator[tuple[int, AfterSignal]]:
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
            scores, limits = judgement.excess(place, length, self.batch.rate)
            nearest = int(np.argmax(scores - limits))
            point = self.cursor[lane] - 1
            self.batch.scores[self.index[lane]][point] = scores[nearest]
            self.batch.limits[self.index[lane]][point] = limits[nearest]

    def _job(self, lane: int) -> _Job:
        """Make a job of the rest of a lane; it remembers the step of the gauge."""
        gap, coarse = float(self.block.gap[lane]), bool(self.block.coarse[lane])
        return _Job(int(self.index[lane]), int(self.cursor[lane]), gap, coarse)

    def _close(self, alive: Flags, length: int) -> None:
        """Leave out the lanes that are done."""
        if alive.all():
            return
        for lane in np.flatnonzero(~alive):
            self.batch.steps[self.index[lane]] = self.block.resolution(int(lane))
        rows = np.flatnonzero(alive)
        self.block.keep(rows, length)
        for name in ("index", "cursor", "end", "offset", "data", "dither", "lots"):
            setattr(self, name, getattr(self, name)[rows])
