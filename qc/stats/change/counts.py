"""Counts of defects and of pieces that failed: since when is the rate another one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from scipy import special

from qc.plain import JsonObject
from qc.stats.change.count_paths import chance_of_leaving, log_choose
from qc.stats.change.evidence import SIZE_CONFIDENCE, START_CONFIDENCE, likeliest
from qc.stats.change.input import rates_of
from qc.stats.change.result import Detection, DetectorSignal, Side, Stretch
from qc.stats.errors import StatisticsError
from qc.stats.numbers import GREATEST, LEAST, Floats, Integers, Values, as_floats

Counts = Sequence[int] | Integers | Values

# Lengths of the newest part that are compared with all before: every one at first, then about four to a
# doubling. A comparison left out costs less than it saves: the exact start is found afterwards.
WINDOWS = (1, 2, 3, 4, 5, 6, 8, 10, 12, 14, 17, 20, 24, 28, 34, 40, 48, 56, 68, 80, 96, 112, 136, 160, 192)
ALLOWED, ALLOWED_OF_FEW, FEW = 2.7, 4.5, 10
"""How rare the strongest evidence at one point must be, in rates asked, and the same below so many counts.

Chosen by simulation, table in docs/reference/detector.md: the same evidence comes up again at later points,
so signals are much rarer than points that show it, and few counts can show little at all.
"""

ENOUGH_TO_PLACE = 8  # points after a signal that place its start anew; fewer tell little (house rule)
STILL_THERE = 0.5  # share of the change that later points must show, or it has gone back (house rule)
LARGEST_TOTAL = 10_000_000  # chosen: more at one point is a slip of the pen


def detect_counts(
    counts: Counts,
    sizes: Counts | None = None,
    false_alarm_rate: float | Values = 0.001,
    *,
    pass_fail: bool = False,
    settled: int = 0,
) -> Detection:
    """Find where the rate of defects, or the share of failed pieces, changed.

    Parameters
    ----------
    counts : sequence of int, length n
        Defects found, or pieces failed, at each point.
    sizes : sequence of float or None, length n
        What the counts were found on: pieces, area or length looked at. None: the same everywhere, 1.
        With `pass_fail` whole numbers of pieces tested.
    false_alarm_rate : float or sequence of float, length n
        Share of points that may raise a false signal, 1e-6 to 0.02; one for all points or one for
        each.
    pass_fail : bool
        Each piece either fails or not (a count is at most its size); False: a piece may have many defects.
    settled : int
        So many points at the front are a known settled state: they raise nothing, the later ones are
        compared with them.

    Returns
    -------
    Detection
        Signals of kind `count`; sizes and means are rates: counts per unit of `sizes`.

    Raises
    ------
    StatisticsError
        A count or size that cannot be one, or different lengths.

    Notes
    -----
    The newest points are compared with all before since the last signal, for newest parts of several
    lengths. Given the total, the count of the newest part is binomial (hypergeometric for pass or fail)
    whatever the rate, so the probability is exact without an estimate of the rate. The smallest probability
    is judged by the exact chance that any of the comparisons is as rare (`qc.stats.change.count_paths`; for
    totals of many thousands by the sum of the largest attainable probabilities not above it). As the same
    evidence comes up again at the next points, 2.7 times the rate asked is allowed at each, 4.5 times below
    ten counts in all, where little can be attained. About half to three quarters of the rate asked is then
    used; no class simulated exceeds it (docs/reference/detector.md).

    References
    ----------
    .. [1] Przyborowski & Wilenski, "Homogeneity of results in testing samples from Poisson series",
    Biometrika 31
       (1940), 313-323: the conditional binomial test.
    .. [2] Tarone, "A modified Bonferroni method for discrete data", Biometrics 46 (1990), 515-522: only
       attainable probabilities count.

    Examples
    --------
    >>> found = detect_counts([1, 0, 2, 1, 0, 1, 1, 0, 1, 2, 0, 1, 1, 7, 8, 6])
    >>> [(s.kind, s.start, s.side) for s in found.signals]
    [('count', 14, 'above')]
    """
    number, size = check_counts(counts, sizes, pass_fail=pass_fail)
    rates = rates_of(false_alarm_rate, number.size)
    newest = rates[-1] if rates.size else rates_of(false_alarm_rate, 1)[0]
    state = CountState(number, size, pass_fail)
    scores: list[float | None] = []
    limits: list[float | None] = []
    for point, rate in enumerate(rates):
        state.add(float(rate), silent=point < settled)
        scores.append(state.score)
        limits.append(state.threshold)
    return replace(state.detection(float(newest)), scores=tuple(scores), thresholds=tuple(limits))


def counts_told_after(
    counts: Counts, sizes: Counts | None, settled: int, false_alarm_rate: float, *, pass_fail: bool = False
) -> int:
    """Return after how many points behind a settled front `detect_counts` first tells a change.

    Parameters
    ----------
    counts, sizes, settled, false_alarm_rate, pass_fail
        As for `detect_counts`, and so are the errors; one rate for all points.

    Returns
    -------
    int
        1 for a signal at the first point after the front, 0 where none is raised up to the end.

    Examples
    --------
    >>> counts_told_after([1, 0, 2, 1, 0, 1, 1, 0, 1, 2, 0, 1, 1, 7, 8, 6], None, 13, 0.001)
    1
    """
    number, size = check_counts(counts, sizes, pass_fail=pass_fail)
    rate = float(rates_of(false_alarm_rate, 1)[0])
    state = CountState(number, size, pass_fail)
    for point in range(number.size):
        state.add(rate, silent=point < settled)
        if state.signals:
            return point + 1 - settled
    return 0


class CountState:
    """How far a series of counts is judged; point after point, after a signal only what comes later.

    Parameters
    ----------
    number, size : ndarray, shape (n,)
        The whole series, as `check_counts` gives it.
    pass_fail : bool
        As for `detect_counts`.
    record : dict or None
        What `mark` gave: go on from there.
    """

    def __init__(
        self, number: Integers, size: Floats, pass_fail: bool, record: JsonObject | None = None
    ) -> None:
        self.number, self.size, self.pass_fail = number, size, pass_fail
        kept = record or {"n": 0, "begin": 0, "signals": []}
        self.n, self.begin = int(kept["n"]), int(kept["begin"])
        self.signals = [DetectorSignal.from_dict(signal) for signal in kept["signals"]]
        self.score: float | None = None
        self.threshold: float | None = None

    def add(self, false_alarm_rate: float, *, silent: bool = False) -> None:
        """Judge the next point; a `silent` one is of the settled state and raises nothing."""
        place = self.n
        self.n += 1
        self.score = self.threshold = None
        if silent or place == self.begin:
            return
        own = slice(self.begin, self.n)
        stretch = _Stretch(self.number[own], self.size[own], self.pass_fail)
        allowed = (ALLOWED if stretch.total >= FEW else ALLOWED_OF_FEW) * false_alarm_rate
        probability, side = stretch.judge(allowed)
        self.score, self.threshold = _score(probability), _score(allowed)
        if probability <= allowed:
            self.signals.append(stretch.signal(self.begin, side, self.score, self.threshold))
            self.begin = self.n

    def mark(self) -> JsonObject:
        """Plain values from which to go on."""
        return {"n": self.n, "begin": self.begin, "signals": [s.to_dict() for s in self.signals]}

    def detection(self, false_alarm_rate: float) -> Detection:
        """Everything found so far; the rate is that of the newest point."""
        signals = tuple(self._placed(which) for which in range(len(self.signals)))
        stretches = _stretches(self.number, self.size, signals)
        return Detection(self.number.size, "any", false_alarm_rate, signals, stretches)

    def _placed(self, which: int) -> DetectorSignal:
        """Place a change by all points up to the next one, where they bear it out.

        It is raised on as few points as can be, and those made since place it better; after a return to the
        old rate they would not.
        """
        signal = self.signals[which]
        begin = self.signals[which - 1].point if which else 0
        end = self.signals[which + 1].start - 1 if which + 1 < len(self.signals) else self.n
        if end < signal.point + ENOUGH_TO_PLACE:
            return signal
        before, later = slice(begin, signal.start - 1), slice(signal.point, end)
        rates = [float(self.number[part].sum() / self.size[part].sum()) for part in (before, later)]
        if (rates[1] - rates[0]) * signal.size < STILL_THERE * signal.size**2:
            return signal
        stretch = _Stretch(self.number[begin:end], self.size[begin:end], self.pass_fail)
        score, threshold = signal.score, signal.threshold
        placed = replace(stretch.signal(begin, signal.side, score, threshold), point=signal.point)
        return placed if placed.start <= signal.point else signal


def check_counts(counts: Counts, sizes: Counts | None, *, pass_fail: bool) -> tuple[Integers, Floats]:
    """Whole counts and positive sizes, or a refusal that names the first bad point."""
    number = as_floats(counts, "count")
    size = np.ones(number.shape) if sizes is None else as_floats(sizes, "size")
    if number.ndim != 1 or number.shape != size.shape:
        raise StatisticsError(f"{number.size} counts for {size.size} sizes: each count needs one size")
    for name, bad in (
        ("count", ~((number >= 0) & (number == np.floor(number)) & (number < LARGEST_TOTAL))),
        ("size", ~((size >= LEAST) & (size <= GREATEST) & ((size == np.floor(size)) | (not pass_fail)))),
        ("count", pass_fail & (number > size)),
    ):
        if bad.any():
            at = int(np.flatnonzero(bad)[0])
            need = "a size above 0" if name == "size" else "a whole number, 0 or more"
            need += ", no more than the pieces tested" if pass_fail and name == "count" else ""
            given = size[at] if name == "size" else number[at]
            raise StatisticsError(f"{name} at point {at + 1} is {given:g}: {need} is needed")
    return number.astype(np.int64), size


class _Tail(NamedTuple):
    """Probabilities of a count of at least, and at most, 0..total in one part."""

    least: Floats
    most: Floats


class _Stretch:
    """Counts and sizes judged together."""

    def __init__(self, number: Integers, size: Floats, pass_fail: bool) -> None:
        self.number, self.size, self.pass_fail = number, size, pass_fail
        self.total, self.whole = int(number.sum()), float(size.sum())

    def judge(self, rate: float) -> tuple[float, Side]:
        """Bound of the probability of evidence as strong as the strongest, and its side."""
        if self.total == 0 or (self.pass_fail and self.total == self.whole):
            return 1.0, "above"
        windows = np.array([w for w in WINDOWS if w < self.number.size])
        counted = np.cumsum(self.number[::-1])[windows - 1]
        share = np.cumsum(self.size[::-1])[windows - 1]
        above, below = self._probabilities(counted, share)
        smallest = float(min(above.min(), below.min()))
        side: Side = "above" if above.min() <= below.min() else "below"
        if smallest > rate:  # the bound is never below its largest part
            return min(1.0, smallest * 2 * windows.size), side
        tails = [self._tail(float(part)) for part in share]
        exact = chance_of_leaving(
            [tail.least for tail in tails],
            [tail.most for tail in tails],
            share.astype(np.float64),
            self.whole,
            self.total,
            smallest,
            pass_fail=self.pass_fail,
        )
        if exact is not None:
            return max(exact, smallest), side
        bound = sum(_attained(tail.least, smallest) + _attained(tail.most, smallest) for tail in tails)
        return min(1.0, float(bound)), side

    def signal(self, begin: int, side: Side, score: float, threshold: float) -> DetectorSignal:
        """Start, size and their doubt."""
        before, seen = np.cumsum(self.number)[:-1], np.cumsum(self.size)[:-1]
        after, later = self.total - before, self.whole - seen
        likelihood = self._log_likelihood(before, seen) + self._log_likelihood(after, later)
        rises = after * seen > before * later
        # the start is sought among changes to the side that signalled, else a dip before a rise could take it
        likelihood[rises != (side == "above")] = -np.inf
        split = int(likelihood.argmax())
        weight = self._log_marginal(before, seen) + self._log_marginal(after, later)
        held = likeliest(weight, START_CONFIDENCE)
        low, high = min(int(held[0]), split), max(int(held[-1]), split)
        rates = before[split] / seen[split], after[split] / later[split]
        first = _rate_interval(before[split], seen[split], self.pass_fail)
        second = _rate_interval(after[split], later[split], self.pass_fail)
        size = float(rates[1] - rates[0])
        # the square-and-add interval of a difference keeps each rate's own, uneven interval
        interval = (
            size - float(np.hypot(rates[1] - second[0], first[1] - rates[0])),
            size + float(np.hypot(second[1] - rates[1], rates[0] - first[0])),
        )
        pooled = self.total / self.whole
        variance = pooled * (1 - pooled) if self.pass_fail else pooled
        sigma = float(np.sqrt(variance / self.size.mean()))
        return DetectorSignal(
            "count",
            begin + self.number.size,
            begin + split + 2,
            (begin + low + 2, begin + high + 2),
            side,
            size,
            interval,
            size / sigma,
            score,
            threshold,
        )

    def _probabilities(self, counted: Integers, share: Floats) -> tuple[Floats, Floats]:
        """Probability of so many or more, and of so many or fewer, in each newest part."""
        if self.pass_fail:
            tails = [self._tail(float(part)) for part in share]
            above = np.array([tail.least[k] for tail, k in zip(tails, counted, strict=True)])
            return above, np.array([tail.most[k] for tail, k in zip(tails, counted, strict=True)])
        part = share / self.whole
        above = np.where(counted > 0, special.bdtrc(counted - 1.0, self.total, part), 1.0)
        return above, special.bdtr(counted.astype(np.float64), self.total, part)

    def _tail(self, share: float) -> _Tail:
        """All probabilities of the count of one part."""
        if self.pass_fail:
            return _hypergeometric(self.total, int(share), int(self.whole))
        return _binomial(self.total, share / self.whole)

    def _log_likelihood(self, number: Integers, size: Floats) -> Floats:
        """Largest log likelihood of a part with one rate."""
        value = special.xlogy(number, number / size) - number
        if self.pass_fail:
            value = special.xlogy(number, number / size) + special.xlogy(size - number, 1 - number / size)
        return np.asarray(value, dtype=np.float64)

    def _log_marginal(self, number: Integers, size: Floats) -> Floats:
        """Log probability of a part over all rates, by Jeffreys' prior."""
        if self.pass_fail:
            return np.asarray(special.betaln(number + 0.5, size - number + 0.5))
        return np.asarray(special.gammaln(number + 0.5) - (number + 0.5) * np.log(size))


@lru_cache(maxsize=4096)
def _binomial(total: int, share: float) -> _Tail:
    """Tails of the binomial distribution."""
    k = np.arange(total + 1.0)
    least = np.concatenate([[1.0], special.bdtrc(k[:-1], total, share)])
    return _Tail(least, special.bdtr(k, total, share))


@lru_cache(maxsize=4096)
def _hypergeometric(failed: int, drawn: int, whole: int) -> _Tail:
    """Tails of the number of failed pieces among `drawn` of `whole`."""
    k = np.arange(failed + 1.0)
    possible = (k <= drawn) & (failed - k <= whole - drawn)
    log_weight = np.full(k.shape, -np.inf)
    log_weight[possible] = log_choose(failed, k[possible]) + log_choose(whole - failed, drawn - k[possible])
    weight = np.exp(log_weight - log_choose(whole, drawn))
    least = np.minimum(np.cumsum(weight[::-1])[::-1], 1.0)
    return _Tail(least, np.minimum(np.cumsum(weight), 1.0))


def _attained(tail: Floats, probability: float) -> float:
    """Largest value of a monotone `tail` that is not above `probability`, 0 if there is none."""
    # equal but for rounding counts as attained, as in `count_paths.SAME`
    inside = tail[tail <= probability * (1 + 1e-12)]
    return float(inside.max()) if inside.size else 0.0


def _rate_interval(number: int, size: float, pass_fail: bool) -> tuple[float, float]:
    """Exact 95 % interval of one rate: Garwood for defects, Clopper and Pearson for failures."""
    tail = (1 - SIZE_CONFIDENCE) / 2
    if pass_fail:
        low = special.betaincinv(number, size - number + 1, tail) if number else 0.0
        high = special.betaincinv(number + 1, size - number, 1 - tail) if number < size else 1.0
        return float(low), float(high)
    low = special.gammaincinv(number, tail) / size if number else 0.0
    return float(low), float(special.gammaincinv(number + 1, 1 - tail) / size)


def _score(probability: float) -> float:
    """Turn a probability into its normal score."""
    # a probability that underflowed to 0 would have an infinite score
    return float(-special.ndtri(min(max(probability, 1e-300), 1.0))) if probability < 1 else 0.0


def _stretches(number: Integers, size: Floats, signals: Sequence[DetectorSignal]) -> tuple[Stretch, ...]:
    """Rates between the changes."""
    starts = [1, *(signal.start for signal in signals)]
    ends = [start - 1 for start in starts[1:]] + [number.size]
    out = []
    for first, last in zip(starts, ends, strict=True):
        if last < first:
            continue
        part = slice(first - 1, last)
        rates = number[part] / size[part]
        spread = float(rates.std(ddof=1)) if rates.size > 1 else None
        out.append(Stretch(first, last, rates.size, float(number[part].sum() / size[part].sum()), spread))
    return tuple(out)
