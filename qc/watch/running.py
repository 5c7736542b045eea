"""Pass or fail, and faults that are rare, as a running rate: points of 0 and 1 show nothing to the eye."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from qc.watch.results import Point, SeriesVerdict

RARE = 1.0
"""Below so many a piece a count is mostly 0, and is shown as a running rate (house rule). [count a piece]"""

WINDOWS = (20, 50)
"""Pieces that a rate is taken over: the fewest of these that hold two faults as a rule, else the most."""

IN_100 = "in 100"
"""The unit of a running share."""

BEYOND = 0.00135
"""Chance that the pieces of one window have more faults than the usual limit says: that of three standard
deviations on one side of a normal figure (common practice, no source)."""


def runs_as_rate(verdict: SeriesVerdict) -> bool:
    """Return whether a series is shown as a running rate."""
    if verdict.kind == "measured":
        return False
    own = _present(verdict)
    return bool(own) and (verdict.kind == "pass-fail" or sum(p.value for p in own) < RARE * len(own))


def as_running_rate(verdict: SeriesVerdict) -> SeriesVerdict:
    """Return a series with a running rate in the place of its figures; one of measured figures as it is.

    Parameters
    ----------
    verdict : SeriesVerdict
        Any series.

    Returns
    -------
    SeriesVerdict
        For drawing only. Each point holds the rate of the newest pieces up to it, those left out passed over
        (the first pieces share one rate), pass or fail in 100, counts a piece; so do the stretches. The usual
        limit is that of one window at the rate of the present state, by the binomial or Poisson law. A limit
        of the plan stays where it is a share; one for a single piece says nothing of a rate.
    """
    if not runs_as_rate(verdict):
        return verdict
    share = verdict.kind == "pass-fail"
    scale = 100.0 if share else 1.0
    present = _rate(_present(verdict), share)
    window = next((w for w in WINDOWS if w * present >= 2.0), WINDOWS[-1])
    points = verdict.points
    rates = [_rate(points[max(0, n - window + 1) :][:window], share) for n in range(len(points))]
    stretches = tuple(
        replace(s, mean=scale * _rate(points[s.first - 1 : s.last], share)) for s in verdict.stretches
    )
    return replace(
        verdict,
        name=f"{verdict.name}, of the newest {min(window, len(points))} pieces",
        unit=IN_100 if share else "a piece",
        kind="count",
        points=tuple(replace(p, value=scale * rate) for p, rate in zip(points, rates, strict=True)),
        stretches=stretches,
        lower=None,
        upper=scale * verdict.upper if share and verdict.upper is not None and verdict.upper < 1.0 else None,
        target=None,
        natural_lower=None,
        natural_upper=scale * most_usual(present, window, share=share) / window
        if len(points) >= window
        else None,
        sd_between=None,
    )


def most_usual(rate: float, pieces: int, *, share: bool) -> int:
    """Return how many faults so many pieces have at most, but for a chance of `BEYOND`.

    Parameters
    ----------
    rate : float
        Faults a piece.
    pieces : int
        Of one window.
    share : bool
        Whether a piece has at most one fault: binomial, else Poisson.

    Examples
    --------
    >>> most_usual(0.1, 20, share=True), most_usual(0.1, 20, share=False), most_usual(0.0, 20, share=True)
    (7, 7, 0)
    """
    from scipy import special

    most = 0
    while (
        special.bdtrc(most, pieces, min(rate, 1.0)) if share else special.pdtrc(most, pieces * rate)
    ) > BEYOND:
        most += 1
    return most


def _present(verdict: SeriesVerdict) -> list[Point]:
    """Return the pieces of the present state, all where none of it counts."""
    return _counted(verdict.present_points) or _counted(verdict.points)


def _counted(points: Sequence[Point]) -> list[Point]:
    return [p for p in points if not p.left_out]


def _rate(points: Sequence[Point], share: bool) -> float:
    """Return the faults a piece, or of pass or fail a unit tested."""
    own = _counted(points)
    units = sum((p.size or 1.0) if share else 1.0 for p in own)
    return sum(p.value for p in own) / units if units else 0.0
