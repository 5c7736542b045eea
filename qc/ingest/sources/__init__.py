"""One adaptor per source: a new source is one module here, one line below, one word in the plan's model."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from qc.ingest.cards import CardSheet
from qc.ingest.sources.bench import unfold_bench
from qc.ingest.sources.lacquer import unfold_lacquer
from qc.ingest.sources.slide import unfold_slide
from qc.ingest.sources.tuning import unfold_tuning
from qc.plan import Plan

Rows = list[dict[str, Any]]
Adaptor = Callable[[CardSheet, Plan], tuple[Rows, Rows]]

SOURCES: dict[str, Adaptor] = {
    "bench": unfold_bench,
    "lacquer": unfold_lacquer,
    "slide": unfold_slide,
    "tuning": unfold_tuning,
}
"""Source of a card -> its adaptor: a sheet in, rows of readings and of events out."""

__all__ = ["SOURCES", "Adaptor", "Rows"]
