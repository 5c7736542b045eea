"""The present window of a series: its last 500 to 999 pieces, read without walking its past.

The window begins at a multiple of 500 pieces in order of the day they were first measured (at the first piece
of that day), so judging after every upload and judging everything from nothing see the same pieces. Where it
begins is kept. A reading of an earlier day that comes in late moves the count: that one series is then read
from its beginning once. A frozen settled state keeps the window open from its first piece on.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

import polars as pl

from qc.jobs.workshop import Workshop
from qc.plan import Characteristic, Stage
from qc.watch import Points, SeriesKey, Span, series_points, sources_of

STEP = 500
"""The window moves on by so many pieces; it holds at least as many and less than twice as many."""

STATE = "windows"

MANY_CARDS = 200_000
"""From so many cards on the database finds where a window begins, and the readings before it are never in
memory. Chosen: with fewer, one question is quicker than two."""


@dataclass(frozen=True, slots=True)
class Read:
    """The points of a window and how many pieces were made before it."""

    points: Points
    before: int


class Windows:
    """Reads the windows of series; remembers where they begin.

    Parameters
    ----------
    workshop : Workshop
        An open workshop; rows of later days than its `today` are passed over.
    afresh : bool
        Forget where windows began and count from nothing.
    """

    def __init__(self, workshop: Workshop, *, afresh: bool = False) -> None:
        self.workshop = workshop
        self._frames: dict[tuple[str, tuple[str, ...], date | None], pl.DataFrame] = {}
        self._alike: dict[tuple[str, date | None], set[tuple[str, ...]]] = {}
        kept = {} if afresh else workshop.store.state(STATE) or {}
        # a look back at an earlier day has windows of its own, which are not kept
        self._lasting = workshop.today.isoformat() >= kept.get("as_of", "")
        self._begins: dict[str, list[object]] = dict(kept.get("series", {})) if self._lasting else {}
        self._known = {**kept}
        reached = workshop.store.reached()
        self._mark = (reached.readings, reached.events, reached.entry)
        if self._begins:
            self._drop_late(kept["mark"])

    def read(self, stage: Stage, characteristic: Characteristic, family: str, baseline: Span | None) -> Read:
        """Return the points of the present window of a series."""
        key = str(SeriesKey(stage.id, characteristic.id, family))
        begin = self._begins.get(key)
        since = date.fromisoformat(str(begin[0])) if begin else None
        before = int(str(begin[1])) if begin else 0
        if begin is None and self._mark[0] > MANY_CARDS:
            since, before = self._begin_of(stage, characteristic, family, baseline, key)
        rows = self._own(stage, characteristic, family, since)
        days = rows.group_by("serial").agg(pl.col("day").min()).sort("day", "serial")
        skip = _first_of_window(before + days.height) - before
        if baseline is not None and baseline.first in (serials := days["serial"].to_list()):
            skip = min(skip, serials.index(baseline.first))
        if skip > 0:
            since = days["day"][skip]
            before += days.filter(pl.col("day") < since).height
            self._begins[key] = [since.isoformat(), before]
            kept = days.filter(pl.col("day") >= since)["serial"]
            rows = rows.filter(pl.col("serial").is_in(kept.implode()))
        plan = self.workshop.plan
        return Read(series_points(rows, plan, stage, characteristic, family), before)

    def ask_together(self, series: Iterable[tuple[Stage, Characteristic, str]]) -> None:
        """Have the readings of several series read with one question for those of a stage, once one is asked.

        A question costs about as much as some thousand readings. Where there are very many, each is read
        alone: one series that is read from its beginning must not bring the others along.
        """
        if self._mark[0] > MANY_CARDS:
            return
        for stage, characteristic, family in series:
            begin = self._begins.get(str(SeriesKey(stage.id, characteristic.id, family)))
            since = date.fromisoformat(str(begin[0])) if begin else None
            self._alike.setdefault((stage.id, since), set()).add(sources_of(characteristic))

    def keep(self) -> None:
        """Remember where the windows begin."""
        if self._lasting and (self._begins or self._known):
            state = {"as_of": self.workshop.today.isoformat(), "mark": self._mark, "series": self._begins}
            if {**state, "mark": list(self._mark)} != self._known:
                self.workshop.store.set_state(STATE, state)

    def _begin_of(
        self, stage: Stage, characteristic: Characteristic, family: str, baseline: Span | None, key: str
    ) -> tuple[date | None, int]:
        """Find where a window begins without its readings: the day, and how many pieces were made before."""
        models = self._models(characteristic, family)
        days = self.workshop.store.first_days(
            stage.id, sources_of(characteristic), models, until=self.workshop.today
        )
        skip = _first_of_window(days.height)
        if baseline is not None and baseline.first in (serials := days["serial"].to_list()):
            skip = min(skip, serials.index(baseline.first))
        if skip == 0:
            return None, 0
        since = days["day"][skip]
        before = days.filter(pl.col("day") < since).height
        self._begins[key] = [since.isoformat(), before]
        return since, before

    def _models(self, characteristic: Characteristic, family: str) -> list[str | None]:
        """Return the models of a series; None where a piece without one belongs to it too."""
        plan = self.workshop.plan
        own = [m.id for m in plan.models_of(characteristic)]
        named = [model for model in own if plan.family_of(characteristic, model) == family]
        return [*named, None] if family == "all" else [*named]

    def _own(
        self, stage: Stage, characteristic: Characteristic, family: str, since: date | None
    ) -> pl.DataFrame:
        """Return the rows of the pieces of a series that were first measured on `since` or later."""
        store = self.workshop.store
        sources = sources_of(characteristic)
        place = (stage.id, sources, since)
        if place not in self._frames:
            alike = {sources, *self._alike.get((stage.id, since), ())}
            every = sorted({one for own in alike for one in own})
            read = store.readings(
                stage=stage.id, characteristics=every, since=since, until=self.workshop.today
            )
            for own in alike:
                self._frames[stage.id, own, since] = read.filter(pl.col("characteristic").is_in(list(own)))
        rows = self._frames[place]
        models = self._models(characteristic, family)
        fits = pl.col("model").is_in([model for model in models if model is not None])
        fits = fits | pl.col("model").is_null() if None in models else fits
        serials = rows.filter(fits)["serial"].unique()
        rows = rows.filter(pl.col("serial").is_in(serials.implode()))
        if since is None or rows.is_empty():
            return rows
        early = store.serials_before(stage.id, sources, serials.drop_nulls().to_list(), since)
        return rows.filter(~pl.col("serial").is_in(sorted(early))) if early else rows

    def _drop_late(self, mark: Sequence[int]) -> None:
        """Forget the windows of series before which a reading came in, was replaced or was taken back."""
        entry = mark[2] if len(mark) > 2 else 0  # older programs kept no entry, and nothing was taken back
        if (mark[0], entry) == (self._mark[0], self._mark[2]):
            return
        if self._mark[0] - mark[0] > MANY_CARDS:  # a whole history came in: counted anew, without reading it
            self._begins = {}
            return
        news = self.workshop.store.news((mark[0], self._mark[1], entry)).readings
        first = news.group_by("stage", "characteristic").agg(pl.col("day").min())
        earliest = {(stage, name): day for stage, name, day in first.iter_rows()}
        for stage, characteristic, family in self.workshop.plan.charted():
            key = str(SeriesKey(stage.id, characteristic.id, family))
            if key not in self._begins:
                continue
            own = [earliest.get((stage.id, name)) for name in sources_of(characteristic)]
            if any(day is not None and day.isoformat() < str(self._begins[key][0]) for day in own):
                del self._begins[key]


def _first_of_window(pieces: int) -> int:
    """Return how many pieces lie before the window of a series of so many pieces."""
    # one whole step behind the newest multiple, so that a window never holds fewer than `STEP` once it has
    return max(pieces // STEP - 1, 0) * STEP
