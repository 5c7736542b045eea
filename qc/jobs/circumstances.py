"""What was recorded around pieces and measured on them before: read once for all series judged together.

What a series is told depends on its own pieces alone, never on which others are judged along with it, so
that judging after an upload and judging everything from nothing say the same.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import polars as pl

from qc.jobs.workshop import Workshop
from qc.plan import Stage
from qc.watch import Factors, collect_factors, collect_figures

MOST = 10_000
"""Pieces that are read about at once; with more, each series reads of its own."""


@dataclass(frozen=True, slots=True)
class _Told:
    """Rows about some pieces and the parts in them: assemblies, circumstances, means, gauge checks."""

    parts: pl.DataFrame
    around: pl.DataFrame
    means: pl.DataFrame
    checks: pl.DataFrame


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

    def of(self, stage: Stage, serials: Sequence[str]) -> Callable[[], Factors]:
        """Return what gathers the circumstances of the pieces of a series, once it is asked to."""

        def gather() -> Factors:
            plan = self._workshop.plan
            told = self._told(serials)
            factors = collect_factors(told.around, pl.concat([told.parts, told.checks]), plan)
            index = [s.id for s in plan.stages].index(stage.id)
            figures = collect_figures(told.means, told.parts, plan, index)
            return Factors(factors.levels, factors.route, figures)

        return gather

    def _told(self, serials: Sequence[str]) -> _Told:
        """Return the rows about these pieces and their parts, as if nothing else had been read."""
        if len(self._all) > MOST:
            return self._read(sorted(set(serials)))
        if self._shared is None:
            self._shared = self._read(self._all)
        shared = self._shared
        parts = shared.parts.filter(_among("serial", serials))
        about = _among("serial", {*serials, *parts["subject"].drop_nulls()})
        around = shared.around.filter(about)
        return _Told(parts, around, shared.means.filter(about), shared.checks)

    def _read(self, serials: list[str]) -> _Told:
        store, until = self._workshop.store, self._workshop.today
        parts = store.events("part", serials=serials, until=until)
        both = sorted({*serials, *parts["subject"].drop_nulls()})
        around = store.around(both, until=until)
        checks = store.events("gauge-check", since=around["day"].min(), until=until)  # type: ignore[arg-type]
        return _Told(parts, around, store.means(both, until=until), checks)


def _among(column: str, names: Iterable[str]) -> pl.Expr:
    return pl.col(column).is_in(pl.Series(sorted(set(names)), dtype=pl.String).implode())
