"""Rework, yields and what goes with the final results, as the board asks for them."""

from __future__ import annotations

from datetime import date

from qc.jobs.losses import ReworkReport, UpstreamReport, rework, screened_of
from qc.jobs.workshop import Workshop
from qc.watch import SCREENED_BY, ReworkCause, ScreenedResult, SeriesVerdict, StageYield, summed

__all__ = [
    "SCREENED_BY",
    "ReworkCause",
    "ReworkReport",
    "ScreenedResult",
    "StageYield",
    "UpstreamReport",
    "rework_view",
    "summed",
    "upstream_view",
]


def rework_view(workshop: Workshop, first: date | None, last: date | None) -> ReworkReport:
    """Return rework and yields of a stretch of days; from the first card on and until today without."""
    return rework(workshop, first=first, last=last)


def upstream_view(workshop: Workshop, verdicts: tuple[SeriesVerdict, ...]) -> UpstreamReport:
    """Return what goes with the final results, by verdicts that are at hand."""
    return UpstreamReport(workshop.today, screened_of(workshop, verdicts))
