"""Every other card: a piece a row with a column for each figure, or a list of events."""

from __future__ import annotations

from typing import cast

from qc.ingest.cards import VALUE, CardSheet, RowReader, card_characteristics
from qc.ingest.sources.events import unfold_event
from qc.ingest.sources.needs import refusal, require_columns, require_given, require_unit
from qc.ingest.unfolded import PlaceColumns, ReadingColumns, Rows, UnfoldedEvent, UnfoldedReading
from qc.plan import PLACE, Characteristic, Plan


def unfold_bench(sheet: CardSheet, plan: Plan) -> Rows:
    """Unfold a bench card: a reading for each figure of a row, an event for each row of an event card.

    Parameters
    ----------
    sheet : CardSheet
        A sheet of source ``bench``.
    plan : Plan
        The measuring plan.

    Returns
    -------
    tuple of (rows, rows)
        Readings and events. A row without any figure gives one reading without a value, so that it is not
        lost.

    Raises
    ------
    SheetError
        No column with a figure of the card, a missing heading, or a unit that does not fit.
    """
    characteristics = card_characteristics(sheet.card, plan)
    figures = {VALUE + c.id: c for c in characteristics if VALUE + c.id in sheet.columns}
    if characteristics and not figures:
        require_columns(sheet, {VALUE + characteristics[0].id: characteristics[0].name})
    if not characteristics and not sheet.card.event:
        raise refusal(sheet, "the plan's card has neither figures nor an event", "Mend the card in the plan.")
    for field, characteristic in figures.items():
        require_unit(sheet, sheet.columns[field], characteristic)
    if figures:
        # rows that lack a place are held one by one: what is said of the others goes in
        require_given(sheet, {"serial": "Serial"})
    reader = RowReader(sheet, plan)
    readings: list[UnfoldedReading] = []
    events: list[UnfoldedEvent] = []
    for row in reader.rows():
        if figures:
            fields = row.reading_fields()
            typed = [field for field in figures if row.text(field)]
            for field in typed or list(figures)[:1]:
                own: ReadingColumns = {**fields, **_emptied(figures[field])}
                readings.append(row.figure(figures[field], field, own))
        if sheet.card.event:
            events.append(unfold_event(sheet, row, plan))
    return readings, events


def _emptied(figure: Characteristic) -> PlaceColumns:
    """Return what a figure says of the places that it does not have."""
    no_place = {
        name: "" if kind == "str" else None for name, kind in PLACE.items() if name not in figure.places
    }
    return cast(PlaceColumns, no_place)
