"""Do neighbouring pieces hang together? Said for a whole stage, since twenty points cannot show it.

Where pieces share a set-up, an anneal or a mood, neighbours are alike: the detector learns it and
waits for more pieces, so that no more false signals are raised. The lag-1 correlation is pooled over
the series of a stage, each about the level of its own stretches; only where it is clear is anything said.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from qc.stats import Floats, StatisticsError, pooled_autocorrelation
from qc.watch.results import SeriesVerdict

LEAST_POINTS = 8
"""A stretch with fewer points takes no part: its own level would swallow the correlation (house rule)."""

SURE = 3.0
"""Standard errors from which on it is said: it is looked for every day, in every stage (house rule)."""


def dependence_note(verdicts: Sequence[SeriesVerdict]) -> str:
    """Say whether neighbouring pieces of a stage are alike, and what that does to the signals.

    Parameters
    ----------
    verdicts : sequence of SeriesVerdict
        The series of one stage. Figures that wear and counts take no part.

    Returns
    -------
    str
        A sentence, empty where nothing is clear.
    """
    of_series = [own for own in map(_stretches, verdicts) if own]
    try:
        # each stretch about its own mean: its pull on the coefficient is then allowed for
        pooled = pooled_autocorrelation([part for own in of_series for part in own])
    except StatisticsError:
        return ""
    if abs(pooled.lag_1) * math.sqrt(pooled.n) < SURE:
        return ""
    stage = verdicts[0].stage_name
    lag_1 = f"{pooled.lag_1:.2f}".replace("-", "−")
    over = f"lag-1 correlation {lag_1}, {pooled.n} pieces of {len(of_series)} series"
    if pooled.lag_1 < 0:
        return f"{stage}: high and low pieces take turns ({over}); two people or tools by turns do that."
    return f"{stage}: neighbouring pieces are alike ({over}); so small changes are told later than elsewhere."


def _stretches(verdict: SeriesVerdict) -> list[Floats]:
    """Return the points of each stretch that is long enough, single odd pieces left out."""
    if verdict.kind != "measured" or verdict.follows_line:
        return []
    apart = {s.start for s in verdict.signals if s.kind == "single"}
    found = [
        np.array(
            [
                p.value
                for p in verdict.points[stretch.first - 1 : stretch.last]
                if p.ordinal not in apart and not p.left_out
            ],
            dtype=np.float64,
        )
        for stretch in verdict.stretches
    ]
    return [values for values in found if values.size >= LEAST_POINTS]
