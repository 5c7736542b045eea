"""A blank card as a page to print: one side of A4, room to write, a serial box, a code to scan."""

from __future__ import annotations

import json
from dataclasses import asdict
from datetime import date
from importlib import resources
from pathlib import Path

from qc.report.cards.laid import LEFT_BLANK, BlankCard
from qc.report.cards.mark import scan_mark

TEMPLATE = "card.typ"
WIDE_FROM = 8  # chosen: columns from which a list needs the long side of the page


def card_pdf(card: BlankCard, as_of: date) -> bytes:
    """Typeset a blank card.

    Parameters
    ----------
    card : BlankCard
        What stands on it.
    as_of : date
        The day it carries as its making.

    Returns
    -------
    bytes
        A pdf with its fonts embedded, one side of A4; the same card gives the same bytes on every machine.
    """
    import matplotlib
    import typst

    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    data = {
        **asdict(card),
        "head": [asdict(box) for box in card.head if box.label not in {"Card", LEFT_BLANK[0]}],
        "as_of": as_of.isoformat(),
        "told": _told(card),
        "landscape": len(card.headings) >= WIDE_FROM and card.lines,
    }
    return typst.compile(
        resources.files("qc.report.cards").joinpath(TEMPLATE).read_bytes(),
        font_paths=typst.Fonts(include_system_fonts=False, font_paths=[folder]),
        format="pdf",
        sys_inputs={
            "data": json.dumps(data, ensure_ascii=False),
            "mark": scan_mark(card.id).decode("utf-8"),
        },
        timestamp=(as_of.toordinal() - 719_163) * 86_400,  # days since 1970 as seconds
    )


def _told(card: BlankCard) -> str:
    """Say what the page does not show by itself."""
    if card.lines:
        return "One row for each entry."
    shaded = any(cell is None for row in card.rows for cell in row)
    return "What is left blank was not measured." + " What is shaded is not asked." * shaded
