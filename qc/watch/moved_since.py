"""What became of a series since an earlier day: new, worse, better, gone, or the same."""

from __future__ import annotations

from typing import Literal

from qc.watch.heirs import heirs_of
from qc.watch.results import SeriesVerdict, SignalResult

Since = Literal["new", "worse", "better", "gone", "same"]

LIMITS_RANK = {"proven": 0, "": 1, "unproven": 1, "no": 2}


def change_since(before: SeriesVerdict | None, now: SeriesVerdict) -> Since:
    """Compare what is said of a series with what was said of it on an earlier day.

    Parameters
    ----------
    before : SeriesVerdict or None
        As it was known then, its points need not be there; None where nothing was said of it.
    now : SeriesVerdict
        As it is known now.

    Returns
    -------
    str
        ``new``: a finding that no finding of then tells of. ``gone``: the series had moved and has not any
        more. Of one that is as it was, ``worse`` and ``better``: it drifts on, or settled; the answer about
        its limits changed; or the size of its change left the interval that it was given then.
    """
    had, has = (None if one is None else _finding(one) for one in (before, now))
    if _fresh(before, now):
        return "new"
    if had is not None and has is None:
        return "gone"
    if has is not None and had is None:
        return "new"
    if before is None or now.behaviour == "learning" or before.behaviour == "learning":
        return "same"
    was, became = _ranks(before), _ranks(now)
    if was != became:
        return "worse" if became > was else "better"
    return _by_size(had, has)


def _finding(verdict: SeriesVerdict) -> SignalResult | None:
    """Return the change that a series is looked at for, None of one that is as it was."""
    return verdict.not_kept or verdict.telling or verdict.unanswered


def _fresh(before: SeriesVerdict | None, now: SeriesVerdict) -> bool:
    """Say whether a finding lasts now that none of then tells of; a single piece apart is one, too."""
    told = () if before is None else before.signals
    heirs = set(heirs_of(told, now.signals, {p.serial: p.ordinal for p in now.points}))
    lasting = (n for n, signal in enumerate(now.signals) if signal.ended is None)
    return any(n not in heirs for n in lasting)


def _ranks(verdict: SeriesVerdict) -> tuple[int, int]:
    """Rank a series, the worse the higher: moved before settled, then the answer about its limits."""
    moved = 2 if verdict.behaviour == "drifting" or verdict.not_kept else 1 if verdict.unanswered else 0
    return moved, LIMITS_RANK[verdict.capable]


def _by_size(had: SignalResult | None, has: SignalResult | None) -> Since:
    if had is None or has is None or has.size is None or had.size_low is None or had.size_high is None:
        return "same"
    if had.size_low <= has.size <= had.size_high:
        return "same"
    middle = had.size if had.size is not None else 0.0
    return "worse" if abs(has.size) > abs(middle) else "better"
