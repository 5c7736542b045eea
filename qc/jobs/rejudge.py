"""Judge everything from nothing; the verdicts come out as they were kept."""

from __future__ import annotations

from dataclasses import dataclass, replace

from qc.jobs.judging import NOTHING_STORED, STORED_AND_JUDGED, ending, judge_afresh, load_verdicts
from qc.jobs.pieces import outside_up_to_date
from qc.jobs.spread import hands_of
from qc.jobs.workshop import Workshop
from qc.plain import JsonObject
from qc.report.terminal import rejudged_text
from qc.stats import Tabled
from qc.watch import SeriesVerdict


@dataclass(frozen=True, slots=True)
class Rejudged(Tabled):
    """What judging anew changed."""

    series: int
    changed: tuple[str, ...]
    already: bool = False  # the newest entry had told just this, so nothing was recorded

    def to_dict(self) -> JsonObject:
        """Return plain values."""
        found = Tabled.to_dict(self)
        if not found.pop("already"):
            return found
        return {**found, "already": True}

    def to_text(self) -> str:
        """Say it in words."""
        return rejudged_text(self.series, self.changed, already=self.already)


def rejudge(workshop: Workshop, *, learn: bool = False, cluster: str | None = None) -> Rejudged:
    """Forget all verdicts and judge every series anew; what people said of signals stays.

    Parameters
    ----------
    workshop : Workshop
        An open workshop.
    learn : bool
        Learn anew how pieces scatter, for every period from what is known of it now; else what was fixed
        then stays.
    cluster : str, optional
        Address of a scheduler whose workers follow the series; the verdicts are the same.

    Returns
    -------
    Rejudged
        Names the series whose verdict differs from the kept one, for example after a change of the plan.
    """
    before = {str(v.key): v for v in load_verdicts(workshop)}
    head = workshop.store.head()
    with ending(NOTHING_STORED):
        with hands_of(cluster) as hands:
            elsewhere = None if cluster is None else hands
            after = {str(v.key): v for v in judge_afresh(workshop, learn=learn, hands=elsewhere)}
    with ending(STORED_AND_JUDGED):
        outside_up_to_date(workshop, afresh=True)
    changed = tuple(
        key
        for key, verdict in after.items()
        if key in before and _substance(before[key]) != _substance(verdict)
    )
    return Rejudged(len(after), changed, already=workshop.store.head() == head)


def _substance(verdict: SeriesVerdict) -> SeriesVerdict:
    """Leave out what moves on with the day alone: forecasts, and words that tell old days with their year."""
    signals = tuple(
        replace(s, sentence="", because="", suspects=tuple(replace(x, sentence="") for x in s.suspects))
        for s in verdict.signals
    )
    scatter = verdict.scatter and replace(verdict.scatter, sentence="")
    return replace(verdict, signals=signals, forecast=None, worst=0.0, scatter=scatter)
