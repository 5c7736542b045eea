"""A grid into rows of readings and events, by the adaptor of its card's source."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import polars as pl

from qc.ingest.cards import CardSheet, Mappings, ReadAs, SheetQuestion, ask_dates, read_cards
from qc.ingest.cells import plain
from qc.ingest.errors import SheetError
from qc.ingest.frames import event_frame, reading_frame
from qc.ingest.reading import Grid
from qc.ingest.sources.bench import unfold_bench
from qc.ingest.sources.lacquer import unfold_lacquer
from qc.ingest.sources.repeats import number_repeats
from qc.ingest.sources.shown import ReadThrough, layout_of, refuse_changed, unfold_shown
from qc.ingest.sources.slide import unfold_slide
from qc.ingest.sources.tuning import unfold_tuning
from qc.ingest.unfolded import Rows, UnfoldedEvent, UnfoldedReading
from qc.plain import JsonObject
from qc.plan import EVENT, READING, Plan

Adaptor = Callable[[CardSheet, Plan], Rows]

SOURCES: dict[str, Adaptor] = {
    "bench": unfold_bench,
    "lacquer": unfold_lacquer,
    "slide": unfold_slide,
    "tuning": unfold_tuning,
}
"""Source of a card -> its adaptor: a sheet in, rows of readings and of events out."""

NOT_MEASURED = "not measured"
"""What the head of a printed card says of places left blank: no row of it is missing a figure then."""


@dataclass(frozen=True, slots=True)
class Unfolded:
    """The rows of one sheet, not yet judged.

    Attributes
    ----------
    file, tab, sheet : str
        File name, worksheet name (empty for csv), SHA-256 of the file.
    card : str
        Id of the card the sheet is, of the first where it holds several; each reading has its own.
    readings, events : DataFrame
        READING or EVENT columns, plus where each row came from (`qc.ingest.frames.ORIGIN`); `value` is null
        where the text could not be read.
    read_as : tuple of ReadAs
        How each of its tables was read: its heading line, the mapping, what was kept beside.
    passed_over : tuple of str
        Tabs of the same workbook that hold words only and were not read.
    question : SheetQuestion or None
        What a mapping has to answer where cells under unknown headings are held.
    through : ReadThrough or None
        The layout it was read through, where one was shown.
    """

    file: str
    tab: str
    sheet: str
    card: str
    readings: pl.DataFrame
    events: pl.DataFrame
    read_as: tuple[ReadAs, ...] = ()
    passed_over: tuple[str, ...] = ()
    question: SheetQuestion | None = None
    through: ReadThrough | None = None

    @property
    def rows(self) -> int:
        """How many readings and events the sheet unfolded into."""
        return self.readings.height + self.events.height

    def to_dict(self) -> JsonObject:
        """Return the rows as plain values, without the origin columns."""
        return {
            "file": self.file,
            "tab": self.tab,
            "sheet": self.sheet,
            "card": self.card,
            "readings": self.readings.select(list(READING)).to_dicts(),
            "events": self.events.select(list(EVENT)).to_dicts(),
        }


def unfold(grid: Grid, plan: Plan, mappings: Mappings | None = None) -> Unfolded:
    """Unfold a sheet into readings and events.

    Parameters
    ----------
    grid : Grid
        The sheet as read.
    plan : Plan
        The measuring plan.
    mappings : Mappings, optional
        What headings mean on benches that were asked before, or as it is handed in with the sheet.

    Returns
    -------
    Unfolded
        Every figure of the sheet as one reading, every line of an event list as one event.

    Raises
    ------
    SheetError
        The card is not known, or its headings are missing, doubled, or leave open what is meant.
    """
    readings: list[UnfoldedReading] = []
    events: list[UnfoldedEvent] = []
    known = mappings if mappings is not None else Mappings()
    shown = layout_of(grid, known)
    if shown is not None:
        readings, through = unfold_shown(grid, shown, plan, SOURCES.__getitem__)
        number_repeats(readings, plan)
        rows = reading_frame(readings), event_frame(events)
        card = shown.tables[0].card
        return Unfolded(
            grid.file, grid.tab, grid.sheet, card, *rows, passed_over=grid.passed_over, through=through
        )
    try:
        sheets = read_cards(grid, plan, mappings)
    except SheetError as error:
        raise refuse_changed(grid, known, error) from None
    for sheet in sheets:
        found, happened = SOURCES[sheet.card.source](sheet, plan)
        readings += _filled_in(found, sheet)
        events += happened
    number_repeats(readings, plan)
    read_as = tuple(sheet.read_as for sheet in sheets if sheet.read_as is not None)
    rows = reading_frame(readings), event_frame(events)
    question = next((sheet.question for sheet in sheets if sheet.question is not None), None)
    return Unfolded(
        grid.file, grid.tab, grid.sheet, sheets[0].card.id, *rows, read_as, grid.passed_over, question
    )


def _filled_in(found: list[UnfoldedReading], sheet: CardSheet) -> list[UnfoldedReading]:
    """Leave out the rows of a printed card that nobody filled in; one stays of a card wholly blank."""
    said = sheet.head.get("left_blank")
    if said is None or plain(said.text) != NOT_MEASURED:
        return found
    return [one for one in found if one["text"] or one["bad"]] or found[:1]


def date_question(part: Unfolded, plan: Plan) -> SheetQuestion | None:
    """Return what a mapping has to answer: unknown headings whose cells are held, or how dates go; else None.

    Parameters
    ----------
    part : Unfolded
        A sheet as it was read.
    plan : Plan
        The measuring plan.

    Returns
    -------
    SheetQuestion or None
        For the heading line of its first table, with a date of it read both ways.
    """
    if part.question is not None:
        return part.question
    open_days = [
        text
        for rows in (part.readings, part.events)
        for text in rows.filter(pl.col("day").is_null())["day_text"].unique(maintain_order=True)
    ]
    dates = ask_dates(text for text in open_days if text)
    lines = [read for read in part.read_as if read.mapping is None or not read.mapping.dates]
    if dates is None or not lines:
        return None
    first = lines[0]
    title = next((card.title for card in plan.cards if card.id == first.card), first.card)
    own = (first.card, title)
    return SheetQuestion(part.file, part.tab, *own, first.headings, dates=dates, cards=(own,))
