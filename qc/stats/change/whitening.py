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

from typing import NamedTuple

import numpy as np

from qc.stats.change.dependent import Dependence, Echo, Lots, lots_innovations
from qc.stats.change.scan import LEVEL, TREND_SIDE, Sums, ratio, shortage, split_squares
from qc.stats.numbers import Floats

CHUNK = 256  # regressors put through the forecast at once: bounds the memory, not the result


class Fitted(NamedTuple):
    """One step or climb fitted: its size, the standard error per unit of spread, and the spread within."""

    size: float
    error: float
    spread: float


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

    def innovations(self, values: Floats) -> Floats:
        """Take from each reading its forecast and the best level, shape (n,)."""
        return np.asarray(self._about_level(self._independent(values[None, :]))[0])

    def profile(self, values: Floats, floor: float, kind: int) -> tuple[Floats, Floats]:
        """Squares explained over squares within, and the weight of the regressor, at each split from 1."""
        n = self.length
        own = self.innovations(values)
        whole = float((own * own).sum())
        splits = np.arange(1, n if kind == LEVEL else n - TREND_SIDE + 1)
        explained, weight = np.empty(splits.size), np.empty(splits.size)
        for begin in range(0, splits.size, CHUNK):
            part = slice(begin, begin + CHUNK)
            columns = self._about_level(self._independent(regressors(n, splits[part], kind)))
            weight[part] = (columns * columns).sum(axis=1)
            explained[part] = (columns * own).sum(axis=1) ** 2 / weight[part]
        within = whole - explained
        if floor > 0 and kind == LEVEL:
            within = within + shortage(split_squares(Sums.of(values[None, :])), np.array([floor]), 1)[0]
        elif floor > 0:
            within = np.maximum(within, floor * (n - 2))
        return ratio(explained, within, np.array([whole])), weight

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
