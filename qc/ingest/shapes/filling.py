"""Rows of a table as the bench meant them: what is written once for a block, ditto marks, lines below it."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence

from qc.ingest.cells import UNITS, is_ditto, is_worked_out, plain
from qc.plan import PLACE

WHAT = "what"
"""Field of a column that names the figure of its row."""

WHERE = "where"
"""Field of a column that names the place of its row, of several kinds at once."""

WITH_SERIAL = ("day", "person", "model", "gauge", "batch", "tool")
"""What a continuing row takes from the first row of its block."""

ONCE = ("day", "person", "gauge", "batch")
"""What a bench writes once for several pieces below each other."""

Rows = list[list[str]]


def needs_filling(fields: Mapping[str, int], rows: Sequence[Sequence[str]]) -> bool:
    """Tell, quickly, whether a table may have blocks, ditto marks or lines below it."""
    columns = [fields[name] for name in ("serial", "day", "person", *PLACE) if name in fields]
    naming = {0, *(fields[name] for name in ("serial", *PLACE) if name in fields)}
    last = rows[-1] if rows else ()
    filled = [text for text in last if text.strip()]
    if len(filled) == 1 and len(fields) > 2:
        return True
    for row in rows:
        for column in columns:
            text = row[column] if column < len(row) else ""
            if not text.strip() or (len(text) < 6 and is_ditto(text)):
                return True
        for column in naming:
            text = row[column] if column < len(row) else ""
            if text and not text[-1].isdigit() and (is_worked_out(text) or plain(text) in _LIMITS):
                return True
        if sum(1 for text in row if text.strip()) == 1 and len(fields) > 2:
            return True
    return False


def fill_rows(
    fields: Mapping[str, int], rows: Sequence[Sequence[str]], figures: Collection[int], given: Collection[str]
) -> tuple[Rows, dict[int, str]]:
    """Return the rows with what stands above filled in, and the rows that are none with what they say.

    Parameters
    ----------
    fields : mapping
        Our names -> columns from 0.
    rows : sequence of sequence of str
        Cells below the headings.
    figures : collection of int
        Columns of figures, into which nothing is ever filled.
    given : collection of str
        Names that the head says: an empty cell takes its value, never the one above.

    Returns
    -------
    tuple of (list of rows, dict)
        As many rows as came in; index of a row that holds no reading -> its text, empty for a line that was
        worked out.
    """
    # a column whose last cells are empty may reach further than any row
    width = max((*(len(row) for row in rows), *(column + 1 for column in fields.values())), default=0)
    filled = [[*row, *[""] * (width - len(row))] for row in rows]
    dropped = _no_readings(fields, filled, figures)
    body = [index for index in range(len(filled)) if index not in dropped]
    _repeat_above(filled, body, figures)
    own = {name: column for name, column in fields.items() if name not in given}
    once = [own[name] for name in ONCE if name in own and _written_once(filled, body, own[name])]
    _fill_places(fields, filled, body)
    _fill_blocks(fields, filled, body, given)
    for column in once:
        _copy_down(filled, body, column)
    return filled, dropped


def _no_readings(fields: Mapping[str, int], rows: Rows, figures: Collection[int]) -> dict[int, str]:
    """Find the rows that hold no reading: worked out from others, or words among the rows or below them."""
    found: dict[int, str] = {}
    below = True
    for index in range(len(rows) - 1, -1, -1):
        cells = [text.strip() for text in rows[index] if text.strip()]
        if not cells:
            continue
        if len(cells) == 1 and len(fields) > 2 and (_is_said(cells[0]) if below else _is_remark(cells[0])):
            found[index] = cells[0]
        elif _names_no_piece(fields, rows[index], figures):
            found[index] = ""
        else:
            below = False
    return found


def _names_no_piece(fields: Mapping[str, int], row: Sequence[str], figures: Collection[int]) -> bool:
    """Tell whether a row names a mean, a sum or a limit where others name their piece or their place."""
    serial = row[fields["serial"]].strip() if "serial" in fields else None
    if serial and (is_worked_out(serial) or plain(serial) in _LIMITS):
        return True
    if any(
        is_worked_out(row[fields[name]]) for name in PLACE if name in fields and row[fields[name]].strip()
    ):
        return True
    if serial:
        return False
    named = [text for column, text in enumerate(row) if text.strip() and column not in figures]
    whole = bool(named) and is_worked_out(named[0])
    return whole or (serial == "" and any(map(is_worked_out, named)))


_LIMITS = frozenset("lower upper untere obere lsl usl uw ow".split())
"""What may stand where a serial should, over figures that are wanted; elsewhere these are places."""

_FIGURE = re.compile(r"[+-]?\d[\d.,]*\s*(\S{0,8})|[+-]?[.,]\d+\s*(\S{0,8})")


def _is_said(text: str) -> bool:
    """Tell whether a lone cell below a table says something, so that it is no figure."""
    found = _FIGURE.fullmatch(text)
    if found is None:
        return True
    behind = plain(found[1] or found[2] or "")
    return bool(behind) and behind not in UNITS and text[:1].isdigit() and behind.isalpha()


def _is_remark(text: str) -> bool:
    """Tell whether a lone cell among the rows is a remark: words, and nothing that could be a serial."""
    return len(text.split()) > 1 and not any(sign.isdigit() for sign in text)


def _repeat_above(rows: Rows, body: Sequence[int], figures: Collection[int]) -> None:
    for before, index in zip(body, body[1:], strict=False):
        for column, text in enumerate(rows[index]):
            if text and column not in figures and is_ditto(text):
                rows[index][column] = rows[before][column]


def _fill_places(fields: Mapping[str, int], rows: Rows, body: Sequence[int]) -> None:
    """Fill a place written once down while another place goes on beside it."""
    places = [fields[name] for name in (*PLACE, WHAT, WHERE) if name in fields]
    for column in places:
        others = [other for other in places if other != column]
        if not others or not _written_once(rows, body, column):
            continue
        for before, index in zip(body, body[1:], strict=False):
            here = [rows[index][other].strip() for other in others]
            moved = here != [rows[before][other].strip() for other in others]
            if not rows[index][column].strip() and any(here) and moved:
                rows[index][column] = rows[before][column]


def _fill_blocks(fields: Mapping[str, int], rows: Rows, body: Sequence[int], given: Collection[str]) -> None:
    """Fill the serial down a block whose places go on; a place met twice ends what can be told."""
    serial = fields.get("serial")
    places = [fields[name] for name in PLACE if name in fields]
    if serial is None or "serial" in given or not places:
        return
    if not _written_once(rows, body, serial) and not _left_blank_whole(fields, rows, body, given):
        return
    first, seen = -1, set[tuple[str, ...]]()
    for index in body:
        place = tuple(rows[index][column].strip().casefold() for column in places)
        if rows[index][serial].strip():
            first, seen = index, {place}
        elif first >= 0 and place not in seen and all(place[:1]):
            seen.add(place)
            rows[index][serial] = rows[first][serial]
            for name in WITH_SERIAL:
                column = fields.get(name) if name not in given else None
                if column is not None and not rows[index][column].strip():
                    rows[index][column] = rows[first][column]
        else:
            first = -1


def _left_blank_whole(
    fields: Mapping[str, int], rows: Rows, body: Sequence[int], given: Collection[str]
) -> bool:
    """Tell whether exactly the rows without a serial also lack the other facts of their block.

    Pieces of one place stand directly below each other there; a serial forgotten in a list leaves its day.
    """
    serial = fields["serial"]
    said = [fields[name] for name in ("day", "model") if name in fields and name not in given]
    if not body or len(said) < 2 or not rows[body[0]][serial].strip():
        return False
    return all(
        bool(rows[index][serial].strip()) == bool(rows[index][column].strip())
        for index in body
        for column in said
    )


def _written_once(rows: Rows, body: Sequence[int], column: int) -> bool:
    """Tell whether a column is filled once for each block: never twice running, never the same again."""
    texts = [rows[index][column].strip() for index in body]
    filled = [text for text in texts if text]
    if not filled or len(filled) == len(texts) or not texts[0]:
        return False
    running = any(a and b for a, b in zip(texts, texts[1:], strict=False))
    again = any(a == b for a, b in zip(filled, filled[1:], strict=False))
    return not running and not again


def _copy_down(rows: Rows, body: Sequence[int], column: int) -> None:
    for before, index in zip(body, body[1:], strict=False):
        if not rows[index][column].strip():
            rows[index][column] = rows[before][column]
