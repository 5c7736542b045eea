"""The course of one series: where judgement began, which pieces were set aside, which signals were raised."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from enum import Enum

import numpy as np

from qc.stats.change.block import Block, Judgement
from qc.stats.change.evidence import Evidence, weigh
from qc.stats.change.result import DetectorSignal, Kind, Side
from qc.stats.change.scan import LEVEL, SPREAD

KINDS: tuple[Kind, Kind, Kind] = ("shift", "spread", "trend")


class AfterSignal(Enum):
    """What happens to the stretch after a signal."""

    SET_ASIDE = "the newest piece takes no part, the stretch goes on"
    RESTART = "judgement begins anew with the next piece"


@dataclass(slots=True)
class Track:
    """Where one series stands. Positions count from 0 in the whole series.

    Attributes
    ----------
    begin : int
        Position of the first reading of the judged stretch.
    aside : list of int
        Positions set aside since `begin`.
    signals : list of DetectorSignal
        Raised so far.
    pending : bool
        Whether the last signal is a `single` of this stretch, which may still prove to be a shift.
    """

    begin: int = 0
    aside: list[int] = field(default_factory=list)
    signals: list[DetectorSignal] = field(default_factory=list)
    pending: bool = False

    def positions(self, length: int) -> list[int]:
        """Positions of the first `length` readings of the stretch."""
        apart = set(self.aside)
        out: list[int] = []
        position = self.begin
        while len(out) < length:
            if position not in apart:
                out.append(position)
            position += 1
        return out

    def receive(
        self, block: Block, row: int, length: int, judgement: Judgement, place: int, rate: float
    ) -> AfterSignal:
        """Record the signal that `judgement` holds at `place` for `row` of `block`."""
        ranked = bool(judgement.ranked[place])
        scores, limits = judgement.excess(place, length, rate)
        over = judgement.statistic[place] > judgement.limit[place]
        # of several kinds beyond their limits the furthest beyond has the word; scores are on one scale
        kind = int(np.argmax(np.where(over, scores - limits, -np.inf)))
        values = block.values[row, :length]
        floor = float(block.floor(np.array([row]), length)[0][0])
        by_rank = ranked and block.setting.shape != "normal"
        scale = block.scale(row, length, by_rank)
        evidence = weigh(
            values,
            scale,
            kind,
            int(judgement.split[place, kind]),
            0.0 if by_rank else floor,
            "any" if by_rank else block.setting.shape,
            block.learned_of(row, length),
        )
        signal = _signal(kind, self.positions(length), evidence, float(scores[kind]), float(limits[kind]))
        outcome = self._enter(signal)
        if outcome is AfterSignal.SET_ASIDE:
            self.aside.append(signal.point - 1)
        else:
            self.begin, self.aside = signal.point, []
        self.pending = outcome is AfterSignal.SET_ASIDE
        return outcome

    def _enter(self, signal: DetectorSignal) -> AfterSignal:
        """Add the signal, or let it confirm the single before it."""
        # what follows a single on its own side says that it was none: it becomes a shift, raised where it was
        last = self.signals[-1] if self.pending else None
        if last is not None and signal.kind in ("single", "shift"):
            adjoins = last.start >= signal.start - 1
            if adjoins and signal.side == last.side:
                self.signals[-1] = _confirm(last, signal)
                return AfterSignal.RESTART
            # two in a row to opposite sides are more than a piece apart: judgement begins anew after them
            if adjoins and signal.kind == "single":
                self.signals.append(signal)
                return AfterSignal.RESTART
        self.signals.append(signal)
        return AfterSignal.SET_ASIDE if signal.kind == "single" else AfterSignal.RESTART


def _signal(
    kind: int, positions: list[int], evidence: Evidence, score: float, limit: float
) -> DetectorSignal:
    """Put the evidence of a stretch into points of the series."""
    n = len(positions)
    name: Kind = "single" if kind == LEVEL and evidence.split == n - 1 else KINDS[kind]
    side: Side = "both" if kind == SPREAD else "above" if evidence.size > 0 else "below"
    start = positions[evidence.split] + 1
    if KINDS[kind] == "trend" and evidence.split == 1:
        start = positions[0] + 1  # a climb over the whole stretch: a hinge at its first reading says the same
    low = min(positions[evidence.split_set[0]] + 1, start)
    high = positions[min(evidence.split_set[1], n - 1)] + 1
    return DetectorSignal(
        name,
        positions[-1] + 1,
        start,
        (low, high),
        side,
        evidence.size,
        evidence.size_interval,
        evidence.size_sigma,
        score,
        limit,
    )


def _confirm(single: DetectorSignal, later: DetectorSignal) -> DetectorSignal:
    """Turn a single that lasted into a shift: raised then, confirmed now, measured on the newest evidence."""
    start = min(single.start, later.start)
    low, high = min(single.start, later.start_set[0]), later.start_set[1]
    # two pieces are all there is of the new level: it began with the first of them or before
    if later.kind == "single":
        high = max(single.start, low)
    # the later evidence leaves out the piece that was set aside: put it back with its share
    pieces = later.point - later.start + 1
    size = (single.size + pieces * later.size) / (pieces + 1)
    narrower = (pieces / (pieces + 1)) ** 0.5
    return replace(
        later,
        kind="shift",
        size=size,
        size_interval=(
            size - narrower * (later.size - later.size_interval[0]),
            size + narrower * (later.size_interval[1] - later.size),
        ),
        size_sigma=later.size_sigma * (size / later.size if later.size else 1.0),
        point=single.point,
        start=start,
        start_set=(low, high),
        score=single.score,
        threshold=single.threshold,
        confirmed=later.point,
    )
