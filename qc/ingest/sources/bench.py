"""Every other card: a piece a row with a column for each figure, or a list of events."""

from __future__ import annotations

from typing import Any

from qc.ingest.cards import VALUE, CardSheet, RowReader, card_characteristics
from qc.ingest.sources.events import unfold_event
from qc.ingest.sources.needs import refusal, require_columns, require_given, require_unit
from qc.plan import PLACE, Plan


def unfold_bench(sheet: CardSheet, plan: Plan) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
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
        places = dict.fromkeys(p for c in figures.values() for p in c.places)
        require_given(sheet, {"serial": "Serial", **{p: p.capitalize() for p in places}})
    reader = RowReader(sheet, plan)
    readings, events = [], []
    for row in reader.rows():
        if figures:
            fields = row.reading_fields()
            typed = [field for field in figures if row.text(field)]
            for field in typed or list(figures)[:1]:
                own = {
                    **fields,
                    **{name: _empty(name) for name in PLACE if name not in figures[field].places},
                }
                readings.append(row.figure(figures[field], field, own))
        if sheet.card.event:
            events.append(unfold_event(sheet, row, plan))
    return readings, events


def _empty(place: str) -> str | None:
    return "" if PLACE[place] == "str" else None
