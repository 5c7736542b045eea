"""A blank card as a workbook to type into: the same boxes and rows, in the same order, as on its page."""

from __future__ import annotations

import io
from datetime import date, datetime

from qc.report.cards.laid import BlankCard


def card_workbook(card: BlankCard, as_of: date) -> bytes:
    """Write a blank card as an xlsx workbook that the reader of sheets takes as it stands.

    Parameters
    ----------
    card : BlankCard
        What stands on it.
    as_of : date
        The day it carries as its making.

    Returns
    -------
    bytes
        One tab: the boxes of the head, a blank row, the headings, a row for each place or line. Cells to be
        filled in are texts, so that a figure keeps the zeros it is typed with and no date is made of one.
    """
    import xlsxwriter

    out = io.BytesIO()
    book = xlsxwriter.Workbook(
        out, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    )
    book.set_properties({"title": card.title, "created": datetime(as_of.year, as_of.month, as_of.day)})
    label = book.add_format({"font_color": "#5C6A70"})
    heading = book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"})
    room = book.add_format({"num_format": "@", "border": 1, "border_color": "#D9D4C7"})
    closed = book.add_format({"bg_color": "#D9D4C7"})
    tab = book.add_worksheet("Card")
    tab.hide_gridlines(2)
    for row, box in enumerate(card.head):
        tab.write_string(row, 0, box.label, label)
        if box.value:
            tab.write_string(row, 1, box.value, room)
        else:
            tab.write_blank(row, 1, None, room)
    top = len(card.head) + 1
    for column, text in enumerate(card.headings):
        tab.write_string(top, column, text, heading)
        tab.set_column(column, column, max(12, len(text) + 1))
    for row, cells in enumerate(card.rows, start=top + 1):
        for column, cell in enumerate(cells):
            if cell:
                tab.write_string(row, column, cell, label)
            else:
                tab.write_blank(row, column, None, closed if cell is None else room)
    last = top + len(card.rows)
    tab.ignore_errors({"number_stored_as_text": f"A1:{_letters(len(card.headings))}{last + 1}"})
    tab.freeze_panes(top + 1, card.places)
    tab.set_paper(9)
    tab.fit_to_pages(1, 1)
    book.close()
    return out.getvalue()


def _letters(column: int) -> str:
    """Return the letters of a column counted from 1.

    Examples
    --------
    >>> _letters(1), _letters(26), _letters(28)
    ('A', 'Z', 'AB')
    """
    found = ""
    while column:
        column, rest = divmod(column - 1, 26)
        found = chr(ord("A") + rest) + found
    return found
