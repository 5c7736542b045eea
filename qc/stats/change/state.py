"""The detector one reading at a time: a state that can be stored and taken up again."""

from __future__ import annotations

import json
from collections.abc import Sequence

import numpy as np

from qc.plain import JsonObject
from qc.stats.change.block import Block, ShapeAndStep
from qc.stats.change.dependent import ROW, lot_numbers
from qc.stats.change.input import check_setting, check_value, noise_unless_given
from qc.stats.change.result import Detection, DetectorSignal, Shape, stretches_of
from qc.stats.change.scan import SHORTEST
from qc.stats.change.thresholds import check_rate
from qc.stats.change.track import AfterSignal, Track
from qc.stats.errors import StatisticsError
from qc.stats.noise import Noise
from qc.stats.numbers import Floats, dither_of

FIRST_ROOM = 32  # chosen; doubled whenever it is used up
FORMAT = 2  # of the record; raised when a stored state can no longer be read as it was meant


class DetectorState:
    """Judge a series as it is made; the findings are those of `detect` on the whole series.

    What it keeps grows with the stretch being judged, not with the history.

    Parameters
    ----------
    false_alarm_rate : float
        Wanted share of points that raise a false signal, 1e-6 to 0.02.
    shape : {"auto", "normal", "positive", "any"}
        As for `detect`.
    resolution : float or None
        As for `detect`. [unit of the values]
    noise : Noise or None
        As for `detect`, until another is given with a reading.

    Examples
    --------
    >>> state = DetectorState(false_alarm_rate=0.001)
    >>> readings = [10.1, 9.9, 10.0, 10.2, 9.8, 10.1, 9.9, 10.0, 10.1, 9.9, 12.0, 12.1]
    >>> raised = [state.add(reading) for reading in readings]
    >>> [(s.kind, s.point, s.start) for s in state.signals]
    [('shift', 11, 11)]
    """

    def __init__(
        self,
        *,
        false_alarm_rate: float = 0.001,
        shape: Shape = "normal",
        resolution: float | None = None,
        noise: Noise | None = None,
    ) -> None:
        self.false_alarm_rate = check_rate(false_alarm_rate)
        self.setting: ShapeAndStep = check_setting(shape, resolution)
        self.n = 0
        self.judged_by_ranks = 0
        self.score: float | None = None
        self.threshold: float | None = None
        self._length = 0
        self._track = Track()
        self._noise = noise_unless_given(noise, self.setting.shape)
        self._lots: list[str | None] = []
        self._block = Block(self.setting, 1, FIRST_ROOM, [self._noise])

    @property
    def signals(self) -> tuple[DetectorSignal, ...]:
        """Signals raised so far."""
        return tuple(self._track.signals)

    @property
    def resolution(self) -> float | None:
        """Step allowed for: the given one, or the one seen so far."""
        return self._block.resolution(0)

    def add(
        self,
        value: float,
        *,
        label: object | None = None,
        false_alarm_rate: float | None = None,
        silent: bool = False,
        noise: Noise | None = None,
        lot: str | None = None,
    ) -> DetectorSignal | None:
        """Judge the next reading.

        Parameters
        ----------
        value : float
            The reading. [unit of the characteristic]
        label : object or None
            Name of the piece, which decides between equal readings where ranks are used; by default its
            number.
        false_alarm_rate : float or None
            A rate from this point on.
        silent : bool
            A reading of the settled state: it joins the stretch and can raise nothing itself.
        noise : Noise or None
            What has been learned of the series' noise, from this point on.
        lot : str or None
            The lot (batch, bath, set-up) the piece came from; None: a lot of its own.

        Returns
        -------
        DetectorSignal or None
            The signal raised or confirmed by this reading.

        Raises
        ------
        StatisticsError
            Not a finite number, or below zero where the shape is `positive`.
        """
        if false_alarm_rate is not None and not silent:
            self.false_alarm_rate = check_rate(false_alarm_rate)
        number = check_value(value, self.n + 1, self.setting.shape)
        if noise is not None and noise != self._noise:
            self._noise = noise
            self._block.learn([noise])
        self._make_room()
        self.n += 1
        self.score = self.threshold = None
        dither = dither_of(self.n if label is None else label)
        del self._lots[self._length :]
        self._lots.append(lot)
        # the first piece of a lot gives the lot its number
        lots = np.array([self._length if lot is None else self._lots.index(lot)])
        self._block.place(self._length, ROW, np.array([number]), np.array([dither]), lots)
        self._length += 1
        return None if silent or self._length < SHORTEST else self._judge()

    def detection(self, values: Floats | list[float]) -> Detection:
        """Everything found so far, given the `values` that were added."""
        return Detection(
            self.n,
            self.setting.shape,
            self.false_alarm_rate,
            self.signals,
            stretches_of(values, self.signals),
            self.resolution,
            self.judged_by_ranks,
        )

    def to_dict(self) -> JsonObject:
        """Plain values from which `from_dict` goes on as if never stopped."""
        return {
            "format": FORMAT,
            "shape": self.setting.shape,
            "resolution": self.setting.resolution,
            "noise": self._noise.to_dict(),
            "lots": self._lots[: self._length],
            "score": self.score,
            "threshold": self.threshold,
            "values": self._block.values[0, : self._length].tolist(),
            "dither": self._block.dither[0, : self._length].tolist(),
            **self.mark(),
        }

    @classmethod
    def from_dict(cls, record: JsonObject) -> DetectorState:
        """Undo `to_dict`; a record of another format is refused."""
        if record.get("format") != FORMAT:
            raise StatisticsError(
                f"stored state has format {record.get('format')!r}, not {FORMAT}: judge the series again"
            )
        state = cls(
            false_alarm_rate=record["false_alarm_rate"],
            shape=record["shape"],
            resolution=record["resolution"],
            noise=Noise.from_dict(record["noise"]),
        )
        state._restore(record, np.array(record["values"]), np.array(record["dither"]), record["lots"])
        state.score, state.threshold = record["score"], record["threshold"]
        return state

    def mark(self) -> JsonObject:
        """Plain values from which `from_mark` goes on, for one who has the readings themselves.

        Its size grows with the signals raised, not with the readings.
        """
        gap = float(self._block.gap[0])
        return {
            "false_alarm_rate": self.false_alarm_rate,
            "n": self.n,
            "judged_by_ranks": self.judged_by_ranks,
            "gap": gap if np.isfinite(gap) else None,
            "coarse": bool(self._block.coarse[0]),
            "begin": self._track.begin,
            "aside": list(self._track.aside),
            "pending": self._track.pending,
            "fit": self._block.fits[0, self._length - 1].tolist() if self._fitted else [0.0, 0.0],
            "signals": [signal.to_dict() for signal in self._track.signals],
        }

    @classmethod
    def from_mark(
        cls,
        record: JsonObject,
        values: Floats,
        labels: Sequence[object],
        *,
        setting: ShapeAndStep,
        noise: Noise | None = None,
        lots: Sequence[str | None] | None = None,
    ) -> DetectorState:
        """Undo `mark`, given the readings, the names and the lots of the pieces up to it (or further).

        `noise` is that of the last point.
        """
        rate, shape, step = record["false_alarm_rate"], setting.shape, setting.resolution
        state = cls(false_alarm_rate=rate, shape=shape, resolution=step, noise=noise)
        # the readings are not in the mark: they are picked out of the series by the places that were not set
        # aside
        track = _track_of(record)
        places = track.positions(int(record["n"]) - track.begin - len(track.aside))
        dither = np.array([dither_of(labels[place]) for place in places])
        own = [None if lots is None else lots[place] for place in places]
        state._restore(record, values[places], dither, own)
        return state

    def to_json(self) -> str:
        """One line of JSON."""
        return json.dumps(self.to_dict(), separators=(",", ":"))

    @classmethod
    def from_json(cls, text: str) -> DetectorState:
        """Undo `to_json`."""
        return cls.from_dict(json.loads(text))

    @property
    def _fitted(self) -> bool:
        """Whether the block holds a fit of the stretch."""
        return self._block.learned and self._length > 0

    def _restore(
        self, record: JsonObject, values: Floats, dither: Floats, lots: Sequence[str | None]
    ) -> None:
        """Take up a stretch and all that was seen and raised before."""
        self._length, self._lots = values.size, list(lots)
        self._block = Block(self.setting, 1, values.size + FIRST_ROOM, [self._noise])
        self._block.refill(values, dither, lot_numbers(self._lots, self._length), record["fit"])
        self._block.gap[0] = np.inf if record["gap"] is None else record["gap"]
        self._block.coarse[0] = record["coarse"]
        self.n, self.judged_by_ranks = int(record["n"]), int(record["judged_by_ranks"])
        self._track = _track_of(record)

    def _judge(self) -> DetectorSignal | None:
        """Judge the stretch as it now stands."""
        length = self._length
        judgement = self._block.judge(ROW, length, self.false_alarm_rate)
        ranked = bool(judgement.ranked[0])
        if ranked and self.setting.shape == "positive":
            self.judged_by_ranks += 1
        scores, limits = judgement.excess(0, length, self.false_alarm_rate)
        nearest = int(np.argmax(scores - limits))
        self.score, self.threshold = float(scores[nearest]), float(limits[nearest])
        if not (judgement.statistic[0] > judgement.limit[0]).any():
            return None
        outcome = self._track.receive(self._block, 0, length, judgement, 0, self.false_alarm_rate)
        # the newest reading leaves by being written over
        self._length = length - 1 if outcome is AfterSignal.SET_ASIDE else 0
        return self._track.signals[-1]

    def _make_room(self) -> None:
        """Double the room when it is used up."""
        if self._length < self._block.values.shape[1]:
            return
        block = Block(self.setting, 1, 2 * self._length, [self._noise])
        fit = self._block.fits[0, self._length - 1] if self._fitted else (0.0, 0.0)
        block.refill(self._block.values[0], self._block.dither[0], lot_numbers(self._lots, self._length), fit)
        block.gap, block.coarse = self._block.gap, self._block.coarse
        self._block = block


def _track_of(record: JsonObject) -> Track:
    signals = [DetectorSignal.from_dict(signal) for signal in record["signals"]]
    return Track(int(record["begin"]), [int(p) for p in record["aside"]], signals, record["pending"])
