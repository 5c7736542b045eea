"""Agreement of people who sort pieces by eye: kappa, and what is missed or sent back for nothing."""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from qc.stats.errors import StatisticsError
from qc.stats.numbers import Floats, Interval, check_between
from qc.stats.tabled import Tabled


@dataclass(frozen=True, slots=True)
class Kappa(Tabled):
    """Agreement beyond chance.

    Attributes
    ----------
    kappa : float
        1 for full agreement, 0 for what chance alone would give.
    standard_error : float or None
        For the interval; None where no formula holds (kappa 1).
    interval : (float, float) or None
        Two-sided interval.
    agreement : float
        Share of judgements that agree, 0..1.
    by_chance : float
        Share that would agree by chance, 0..1.
    n : int
        Pieces.
    """

    kappa: float
    standard_error: float | None
    interval: Interval | None
    agreement: float
    by_chance: float
    n: int


@dataclass(frozen=True, slots=True)
class Proportion(Tabled):
    """A counted share with its exact interval.

    Attributes
    ----------
    count, n : int
        Counted, out of.
    share : float
        Their ratio, 0..1.
    interval : (float, float)
        Exact two-sided interval.
    """

    count: int
    n: int
    share: float
    interval: Interval


def cohen_kappa(first: Sequence[Hashable], second: Sequence[Hashable], *, confidence: float = 0.95) -> Kappa:
    """Agreement of two people, or of a person and the true verdict.

    Parameters
    ----------
    first, second : sequence, length n >= 2
        Verdict on each piece.
    confidence : float, 0..1
        Confidence of the interval.

    Returns
    -------
    Kappa
        With the large-sample standard error.

    Raises
    ------
    StatisticsError
        Lengths that differ, fewer than two pieces, or a single verdict throughout.

    References
    ----------
    .. [1] Cohen, "A coefficient of agreement for nominal scales", 1960; Fleiss, Cohen and Everitt, "Large
       sample standard errors of kappa and weighted kappa", Psychological Bulletin 72, 1969.

    Examples
    --------
    >>> found = cohen_kappa(["ok"] * 45 + ["bad"] * 15 + ["ok"] * 25 + ["bad"] * 15,
    ...                     ["ok"] * 45 + ["ok"] * 15 + ["bad"] * 25 + ["bad"] * 15)
    >>> round(found.kappa, 4)
    0.1304
    """
    if len(first) != len(second):
        raise StatisticsError(f"kappa: {len(first)} and {len(second)} verdicts; both must judge every piece")
    if len(first) < 2:
        raise StatisticsError(f"kappa: {len(first)} pieces given, at least 2 are needed")
    check_between(confidence, "kappa: confidence")
    words = list(dict.fromkeys([*first, *second]))
    place = {word: i for i, word in enumerate(words)}
    table = np.zeros((len(words), len(words)))
    for one, other in zip(first, second, strict=True):
        table[place[one], place[other]] += 1.0
    n = len(first)
    p = table / n
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    agreed, chance = float(np.trace(p)), float(rows @ columns)
    if chance >= 1.0 - 1e-12:
        raise StatisticsError("kappa: there is one verdict only; pieces of both kinds are needed")
    kappa = (agreed - chance) / (1.0 - chance)
    error = _cohen_error(p, rows, columns, kappa, chance, n)
    return _with_interval(kappa, error, agreed, chance, n, confidence)


def fleiss_kappa(verdicts: Sequence[Sequence[Hashable]], *, confidence: float = 0.95) -> Kappa:
    """Agreement of several people, or of one person with themselves over repeats.

    Parameters
    ----------
    verdicts : sequence of sequences, shape (pieces, judgements), each >= 2
        Verdicts on each piece.
    confidence : float, 0..1
        Confidence of the interval.

    Returns
    -------
    Kappa
        Standard error by leaving out one piece at a time.

    Raises
    ------
    StatisticsError
        Fewer than two pieces or judgements, rows of different length, or a single verdict throughout.

    References
    ----------
    .. [1] Fleiss, "Measuring nominal scale agreement among many raters", Psychological Bulletin 76, 1971.

    Examples
    --------
    >>> round(fleiss_kappa([["ok", "ok", "ok"], ["ok", "bad", "ok"], ["bad", "bad", "bad"]]).kappa, 3)
    0.55
    """
    lengths = {len(row) for row in verdicts}
    if len(verdicts) < 2 or len(lengths) != 1 or min(lengths) < 2:
        raise StatisticsError(
            f"kappa: {len(verdicts)} pieces with {sorted(lengths)} judgements; two pieces or more, each with "
            "the same two judgements or more, are needed"
        )
    check_between(confidence, "kappa: confidence")
    words = list(dict.fromkeys(word for row in verdicts for word in row))
    counts = np.array([[row.count(word) for word in words] for row in map(list, verdicts)], dtype=np.float64)
    found = _fleiss(counts)
    if found is None:
        raise StatisticsError("kappa: there is one verdict only; pieces of both kinds are needed")
    kappa, agreed, chance = found
    n = len(verdicts)
    # by leaving out each piece in turn: the published standard error is that of no
    # agreement at all
    without = [_fleiss(np.delete(counts, i, axis=0)) for i in range(n)] if n > 2 else []
    error = None
    if without and all(part is not None for part in without) and kappa < 1.0:
        left_out = np.array([part[0] for part in without if part is not None])
        error = math.sqrt((n - 1.0) / n * float(np.sum((left_out - left_out.mean()) ** 2)))
    return _with_interval(kappa, error, agreed, chance, n, confidence)


def proportion(count: int, n: int, *, confidence: float = 0.95) -> Proportion:
    """Give a counted share with its exact interval, that of Clopper and Pearson.

    Parameters
    ----------
    count, n : int, 0 <= count <= n, n >= 1
        Counted, out of.
    confidence : float, 0..1
        Confidence of the interval.

    Raises
    ------
    StatisticsError
        Counts out of range or a confidence outside 0..1.

    References
    ----------
    .. [1] Clopper and Pearson, Biometrika 26, 1934.

    Examples
    --------
    >>> found = proportion(2, 20)
    >>> [round(x, 4) for x in found.interval]
    [0.0123, 0.317]
    """
    check_between(confidence, "kappa: confidence")
    if not 0 <= count <= n or not 1 <= n <= 10**12:
        raise StatisticsError(
            f"share: {count} of {n}; a count between 0 and n, and a finite n of at least 1, are needed"
        )
    half = (1.0 - confidence) / 2.0
    low = 0.0 if count == 0 else float(special.betaincinv(count, n - count + 1, half))
    high = 1.0 if count == n else float(special.betaincinv(count + 1, n - count, 1.0 - half))
    return Proportion(count, n, count / n, (low, high))


def misses_and_false_rejects(
    verdicts: Sequence[Hashable], truth: Sequence[Hashable], *, bad: Hashable, confidence: float = 0.95
) -> tuple[Proportion | None, Proportion | None]:
    """Count bad pieces passed and good pieces sent back, each share with its interval as by `proportion`.

    Parameters
    ----------
    verdicts, truth : sequence, length n
        A person's verdict and the true one.
    bad : hashable
        The word for a bad piece.
    confidence : float, 0..1
        Confidence of each interval.

    Returns
    -------
    (Proportion or None, Proportion or None)
        Misses among the bad, false rejects among the good; None where there are no such pieces.

    Raises
    ------
    StatisticsError
        Lengths that differ, or a confidence outside 0..1.

    Examples
    --------
    >>> missed, rejected = misses_and_false_rejects("gbgg", "bbgg", bad="b")
    >>> missed.share, rejected.share
    (0.5, 0.0)
    """
    if len(verdicts) != len(truth):
        raise StatisticsError(
            f"misses: {len(verdicts)} verdicts and {len(truth)} true ones; one each is needed"
        )
    pairs = list(zip(verdicts, truth, strict=True))
    bads = [said for said, true in pairs if true == bad]
    goods = [said for said, true in pairs if true != bad]
    missed = proportion(sum(s != bad for s in bads), len(bads), confidence=confidence) if bads else None
    rejected = proportion(sum(s == bad for s in goods), len(goods), confidence=confidence) if goods else None
    return missed, rejected


def _cohen_error(
    p: Floats, rows: Floats, columns: Floats, kappa: float, chance: float, n: int
) -> float | None:
    """Large-sample standard error; None at full agreement, where it would be a false 0."""
    if kappa >= 1.0:
        return None
    diagonal = np.diag(p)
    first = float(np.sum(diagonal * (1.0 - (rows + columns) * (1.0 - kappa)) ** 2))
    cross = (columns[:, None] + rows[None, :]) ** 2
    second = (1.0 - kappa) ** 2 * float(np.sum((p - np.diag(diagonal)) * cross))
    third = (kappa - chance * (1.0 - kappa)) ** 2
    return math.sqrt(max(first + second - third, 0.0) / n) / (1.0 - chance)


def _fleiss(counts: Floats) -> tuple[float, float, float] | None:
    """Kappa, agreement and chance agreement; None when there is one verdict only."""
    judgements = counts.sum(axis=1)[0]
    agreed = float(np.mean((np.sum(counts**2, axis=1) - judgements) / (judgements * (judgements - 1.0))))
    shares = counts.sum(axis=0) / counts.sum()
    chance = float(shares @ shares)
    if chance >= 1.0 - 1e-12:
        return None
    return (agreed - chance) / (1.0 - chance), agreed, chance


def _with_interval(
    kappa: float, error: float | None, agreed: float, chance: float, n: int, confidence: float
) -> Kappa:
    """Kappa with a normal interval, cut at 1."""
    interval = None
    if error is not None:
        reach = float(special.ndtri((1.0 + confidence) / 2.0)) * error
        interval = (kappa - reach, min(kappa + reach, 1.0))
    return Kappa(kappa, error, interval, agreed, chance, n)
