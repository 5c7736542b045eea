"""Do neighbouring pieces hang together? Said for a whole stage, since twenty points cannot show it.

Where pieces share a set-up, an anneal or a mood, neighbours are alike: the detector learns it and
waits for more pieces, so that no more false signals are raised. The lag-1 correlation is pooled over
the series of a stage, each about the level of its own stretches; only where it is clear is anything said.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from qc.stats import Floats, StatisticsError, pooled_autocorrelation
from qc.watch.results import SeriesVerdict

LEAST_POINTS = 8
"""A series with fewer points takes no part: its own level would swallow the correlation (house rule)."""


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
    parts = [part for part in map(_about_its_level, verdicts) if part.size >= LEAST_POINTS]
    try:
        pooled = pooled_autocorrelation(parts)
    except StatisticsError:
        return ""
    if not pooled.clear:
        return ""
    stage = verdicts[0].stage_name
    lag_1 = f"{pooled.lag_1:.2f}".replace("-", "−")
    over = f"lag-1 correlation {lag_1}, {pooled.n} pieces of {len(parts)} series"
    if pooled.lag_1 < 0:
        return f"{stage}: high and low pieces take turns ({over}); two people or tools by turns do that."
    return f"{stage}: neighbouring pieces are alike ({over}); so small changes are told later than elsewhere."


def _about_its_level(verdict: SeriesVerdict) -> Floats:
    """Return what is left of the points about the level of their stretch, single odd pieces left out."""
    if verdict.kind != "measured" or verdict.follows_line:
        return np.zeros(0)
    apart = {s.start for s in verdict.signals if s.kind == "single"}
    rest = [
        p.value - stretch.mean
        for stretch in verdict.stretches
        if stretch.n > 2
        for p in verdict.points[stretch.first - 1 : stretch.last]
        if p.ordinal not in apart and not p.left_out
    ]
    return np.array(rest, dtype=np.float64)
