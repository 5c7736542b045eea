"""What was recorded around pieces and measured on them before: read once for all series judged together.

What a series is told depends on its own pieces alone, never on which others are judged along with it, so
that judging after an upload and judging everything from nothing say the same.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import polars as pl

from qc.jobs.workshop import Workshop
from qc.plan import Stage
from qc.watch import FactorLevels, FactorTable, FigureTable, among

MOST = 10_000
"""Pieces that are read about at once; with more, each series reads of its own."""


@dataclass(frozen=True, slots=True)
class _Told:
    """Rows about some pieces and the parts in them: assemblies, gauge checks, circumstances and figures."""

    parts: pl.DataFrame
    checks: pl.DataFrame
    factors: FactorTable
    figures: FigureTable


class Circumstances:
    """Tells series what is known around their pieces; nothing is read before the first asks.

    Parameters
    ----------
    workshop : Workshop
        Rows of later days than its `today` are passed over.
    serials : iterable of str
        The pieces of all series that are judged together.
    """

    def __init__(self, workshop: Workshop, serials: Iterable[str]) -> None:
        self._workshop = workshop
        self._all = sorted(set(serials))
        self._shared: _Told | None = None

    def of(self, stage: Stage, serials: Sequence[str]) -> Callable[[], FactorLevels]:
        """Return what gathers the circumstances of the pieces of a series, once it is asked to."""

        def gather() -> FactorLevels:
            told = self._told(serials)
            parts = told.parts.filter(among("serial", serials))
            about = {*serials, *parts["subject"].drop_nulls()}
            factors = told.factors.factors(pl.concat([parts, told.checks]), about)
            index = [s.id for s in self._workshop.plan.stages].index(stage.id)
            return replace(factors, figures=told.figures.figures(parts, index, about))

        return gather

    def _told(self, serials: Sequence[str]) -> _Told:
        if len(self._all) > MOST:
            return self._read(sorted(set(serials)))
        if self._shared is None:
            self._shared = self._read(self._all)
        return self._shared

    def _read(self, serials: list[str]) -> _Told:
        store, plan, until = self._workshop.store, self._workshop.plan, self._workshop.today
        parts = store.events("part", serials=serials, until=until)
        both = sorted({*serials, *parts["subject"].drop_nulls()})
        around = store.around(both, until=until)
        checks = store.events("gauge-check", since=around["day"].min(), until=until)  # type: ignore[arg-type]
        means = store.means(both, until=until)
        return _Told(parts, checks, FactorTable(around, plan), FigureTable(means, plan))
