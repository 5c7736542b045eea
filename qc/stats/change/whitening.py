"""Evidence from pieces that hang together: the same questions, asked of what each piece adds to its forecast.

A signal is found by quick rules (`qc.stats.change.dependent`); once it is raised there is time to weigh it
exactly. Every reading, every step and every climb is put through the same forecast, which leaves independent
readings of one variance; least squares on these is generalised least squares on the readings.

References
----------
.. [1] Harvey, "Forecasting, Structural Time Series Models and the Kalman Filter", 1989, ch. 3: least squares
   on innovations (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from qc.stats.change.dependent import ROW, Dependence, Echo, LotPlaces, Lots, lot_numbers, lots_innovations
from qc.stats.change.scan import LEVEL, RELATIVE_GUARD, TREND_SIDE, Sums, ratio, shortage, split_squares
from qc.stats.noise import NORMAL, Noise
from qc.stats.numbers import Floats

CHUNK = 256  # regressors put through the forecast at once: bounds the memory, not the result

FARTHEST = 400  # readings, chosen: what lasts longer has not passed


class Fitted(NamedTuple):
    """One step or climb fitted: its size, the standard error per unit of spread, and the spread within."""

    size: float
    error: float
    spread: float


class Profile(NamedTuple):
    """Squares explained by a regressor at each place, and the weight of the regressor."""

    explained: Floats
    weight: Floats


class Whitening:
    """Forecasts within one stretch of n pieces that hang together.

    Parameters
    ----------
    dependence : Dependence
        Of one row.
    lots : Lots or None
        Of one row; None: no lots are at work.
    length : int
        Pieces of the stretch.
    """

    def __init__(self, dependence: Dependence, lots: Lots | None, length: int) -> None:
        self._dependence, self._lots, self.length = dependence, lots, length
        self._echo = Echo(dependence, length) if dependence.by_neighbours else None
        self._ones = self._independent(np.ones((1, length)))[0]
        self._weight = float((self._ones * self._ones).sum())
        self._last: tuple[Floats, dict[str, Profile]] | None = None

    def innovations(self, values: Floats) -> Floats:
        """Take from each reading its forecast and the best level, shape (n,)."""
        return np.asarray(self._about_level(self._independent(values[None, :]))[0])

    def profiles(self, values: Floats) -> dict[str, Profile]:
        """Weigh a step and a climb after each reading from the 1st, and each reading apart from the rest."""
        if self._last is not None and self._last[0] is values:
            return self._last[1]
        n = self.length
        own = self.innovations(values)
        parts: dict[str, list[tuple[Floats, Floats]]] = {"shift": [], "trend": [], "single": []}
        beyond = np.zeros((2, n))  # the step and the climb that begin where the chunk before began
        for begin in range((n - 1) // CHUNK * CHUNK, -1, -CHUNK):
            splits = np.arange(begin, min(begin + CHUNK, n))
            steps = self._independent(regressors(n, splits, LEVEL))
            # a climb is the sum of the steps from its foot on, a piece apart a step up and the next step down
            climbs = np.cumsum(steps[::-1], axis=0)[::-1] + beyond[1]
            alone = steps - np.concatenate([steps[1:], beyond[:1]])
            beyond = np.stack([steps[0], climbs[0]])
            first = 1 if begin == 0 else 0
            columns = {"shift": steps[first:], "trend": climbs[first:] / (n - splits[first:, None])}
            for name, rows in {**columns, "single": alone}.items():
                parts[name].insert(0, self._weighed(self._about_level(rows), own))
        found = {
            name: Profile(*(np.concatenate(figures) for figures in zip(*part, strict=True)))
            for name, part in parts.items()
        }
        found["trend"] = Profile(*(figures[: n - TREND_SIDE] for figures in found["trend"]))
        self._last = values, found
        return found

    def share(self, values: Floats, floor: float, kind: int) -> tuple[Floats, Floats]:
        """Squares explained over squares within, and the weight of the regressor, at each split from 1."""
        explained, weight = self.profiles(values)["shift" if kind == LEVEL else "trend"]
        own = self.innovations(values)
        whole = float((own * own).sum())
        within = whole - explained
        if floor > 0 and kind == LEVEL:
            within = within + shortage(split_squares(Sums.of(values[None, :])), np.array([floor]), 1)[0]
        elif floor > 0:
            within = np.maximum(within, floor * (self.length - 2))
        return ratio(explained, within, np.array([whole])), weight

    def passing(self, values: Floats, latest: int) -> tuple[float, int]:
        """Squares explained by the best excursion about reading `latest`, and where it begins (from 0).

        It begins before that reading and ends at or after it, within `FARTHEST` readings.
        """
        n = self.length
        own = self.innovations(values)
        begins = np.arange(max(0, latest - FARTHEST), min(latest, n))
        ends = np.arange(max(latest, 1), min(latest + FARTHEST, n) + 1)
        columns = [
            self._about_level(self._independent(regressors(n, splits, LEVEL))) for splits in (begins, ends)
        ]
        effects = [(rows * own).sum(axis=1) for rows in columns]
        weights = [(rows * rows).sum(axis=1) for rows in columns]
        apart = effects[0][:, None] - effects[1][None, :]
        weight = weights[0][:, None] + weights[1][None, :] - 2 * columns[0] @ columns[1].T
        some = weight > RELATIVE_GUARD * n
        explained = np.where(some, apart * apart / np.where(some, weight, 1.0), 0.0)
        begin, _ = np.unravel_index(int(explained.argmax()), explained.shape)
        return float(explained.max()), int(begins[begin])

    def left_by_steps(self, values: Floats, splits: Sequence[int]) -> float:
        """Sum of squares that steps after several readings leave unexplained."""
        own = self.innovations(values)
        columns = self._about_level(self._independent(regressors(self.length, np.array(splits), LEVEL)))
        size, *_ = np.linalg.lstsq(columns.T, own, rcond=None)
        rest = own - size @ columns
        return float((rest * rest).sum())

    def fitted(self, values: Floats, split: int, kind: int, floor: float) -> Fitted:
        """Fit a step or a climb after reading `split`."""
        own = self.innovations(values)
        column = self._about_level(self._independent(regressors(self.length, np.array([split]), kind)))[0]
        weight = float((column * column).sum())
        size = float((column * own).sum()) / weight
        rest = own - size * column
        spread = float(np.sqrt(max(float((rest * rest).sum()) / (self.length - 2), floor)))
        return Fitted(size, 1 / float(np.sqrt(weight)), spread)

    def _independent(self, rows: Floats) -> Floats:
        """Put each row through the forecast."""
        count = np.zeros(rows.shape[0], dtype=np.int64)
        if self._lots is not None:
            lots = Lots(self._lots.first[count], self._lots.place[count])
            rows = lots_innovations(rows, self._dependence.lots[count], lots)
        return rows if self._echo is None else self._echo.innovations(rows, count)

    @staticmethod
    def _weighed(rows: Floats, own: Floats) -> tuple[Floats, Floats]:
        """Squares that each regressor explains, and its weight; one that is no more than a level has none."""
        weight = (rows * rows).sum(axis=1)
        some = weight > RELATIVE_GUARD * own.size
        effect = (rows * own).sum(axis=1)
        return np.where(some, effect * effect / np.where(some, weight, 1.0), 0.0), weight

    def _about_level(self, rows: Floats) -> Floats:
        """Take the best level out of rows that went through the forecast."""
        share = (rows * self._ones).sum(axis=1, keepdims=True) / self._weight
        return np.asarray(rows - share * self._ones)


def regressors(length: int, splits: np.ndarray, kind: int) -> Floats:
    """Make steps of height 1, or climbs that reach 1 at the last reading, after each split; one a row."""
    beyond = np.arange(1, length + 1) - splits[:, None]
    if kind == LEVEL:
        return np.where(beyond > 0, 1.0, 0.0)
    return np.asarray(np.maximum(beyond, 0) / (length - splits[:, None]))


def hanging(noise: Noise | None, lots: Sequence[str | None] | None, length: int) -> Whitening | None:
    """Take how the pieces of a stretch hang together; None where they do not."""
    dependence = Dependence.of([NORMAL if noise is None else noise])
    if not (dependence.by_lots or dependence.by_neighbours):
        return None
    if not dependence.by_lots:
        return Whitening(dependence, None, length)
    places = LotPlaces(1, length)
    for column, number in enumerate(lot_numbers(lots, length)):
        places.place(column, ROW, np.array([number]))
    return Whitening(dependence, places.take(ROW, length), length)
