"""A grid into rows of readings and events, by the adaptor of its card's source."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import polars as pl

from qc.ingest.cards import plan_names, recognise_card
from qc.ingest.frames import event_frame, reading_frame
from qc.ingest.grid import Grid
from qc.ingest.layout import part_sheet
from qc.ingest.repeats import number_repeats
from qc.ingest.sources import SOURCES
from qc.plan import EVENT, READING, Plan


@dataclass(frozen=True, slots=True)
class Unfolded:
    """The rows of one sheet, not yet judged.

    Attributes
    ----------
    file, tab, sheet : str
        File name, worksheet name (empty for csv), SHA-256 of the file.
    card : str
        Id of the card the sheet is.
    readings, events : DataFrame
        READING or EVENT columns, plus where each row came from (`qc.ingest.frames.ORIGIN`); `value` is null
        where the text could not be read.
    """

    file: str
    tab: str
    sheet: str
    card: str
    readings: pl.DataFrame
    events: pl.DataFrame

    @property
    def rows(self) -> int:
        """How many readings and events the sheet unfolded into."""
        return self.readings.height + self.events.height

    def to_dict(self) -> dict[str, Any]:
        """Return the rows as plain values, without the origin columns."""
        return {
            "file": self.file,
            "tab": self.tab,
            "sheet": self.sheet,
            "card": self.card,
            "readings": self.readings.select(list(READING)).to_dicts(),
            "events": self.events.select(list(EVENT)).to_dicts(),
        }


def unfold(grid: Grid, plan: Plan) -> Unfolded:
    """Unfold a sheet into readings and events.

    Parameters
    ----------
    grid : Grid
        The sheet as read.
    plan : Plan
        The measuring plan.

    Returns
    -------
    Unfolded
        Every figure of the sheet as one reading, every line of an event list as one event.

    Raises
    ------
    SheetError
        The card is not known, or its headings are missing, doubled, or leave open what is meant.
    """
    sheet = recognise_card(part_sheet(grid, plan_names(plan)), plan)
    readings, events = SOURCES[sheet.card.source](sheet, plan)
    number_repeats(readings)
    return Unfolded(
        grid.file, grid.tab, grid.sheet, sheet.card.id, reading_frame(readings), event_frame(events)
    )
