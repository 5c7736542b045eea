"""An answer set to the width of a terminal: sentences wrap under their beginning, tables keep words whole.

Every answer is made without a width, so that it pastes into a message and reads the same in a file. Only
where a person looks at a terminal is it set here, by what it looks like: lines one below another with a
common gap are a table, a line that begins with a stroke, a number or a box is an item, all else a sentence.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Sequence

NARROWEST = 40
"""No terminal is taken to be narrower (chosen): below that, every word would stand alone."""

LAST_FROM = 0.6
"""Share of the width from which on what stands last in a row goes below it (chosen), else it is too thin."""

SHORT = 40
"""A line without a gap that is no longer (chosen) may be a row of which only the first cell is filled."""

WIDEST = 400
"""No row of an answer is looked at further (chosen); its last cell may go on."""

MOST_PARTS = 3
"""A table that is too wide is told in up to so many below each other (chosen), else row by row."""

DEEP = 4
"""Blanks before what goes on below a row."""

_GAP = re.compile(r" {2,}")
_ITEM = re.compile(r" *(?:[-–] |\d+\. |\[[ x]\] )?")
_WHOLE = re.compile(
    r"`[^`]*`|[−+-]?\d[\d.,]* (?:to [−+-]?[\d.,]+ )?(?:µm|um|mm|cents?|cm³/min|g|N|h|min|%|°C|sigma)(?!\w)"
    r"|\d{1,2} (?:Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)(?: \d{4})?(?!\w)"
)
_KEPT = "\x00"
"""Stands for a blank that must not break; no answer holds it."""


def fitted(text: str, width: int) -> str:
    """Set an answer to the width of a terminal.

    Parameters
    ----------
    text : str
        As `to_text` gives it.
    width : int
        Columns of the terminal.

    Returns
    -------
    str
        No line is wider, unless a single word is. What fits already is as it was.

    Examples
    --------
    >>> print(fitted("- Slide clearance: keep. It has moved: measure every piece.", 40))
    - Slide clearance: keep. It has moved:
      measure every piece.
    """
    wide = max(width, NARROWEST)
    lines = text.split("\n")
    if max(map(len, lines)) <= wide:
        return text
    out: list[str] = []
    at = 0
    while at < len(lines):
        rows = _table_at(lines, at)
        if len(rows) > 1 or _gaps(lines[at]):
            out += rows if max(map(len, rows)) <= wide else _table(rows, wide)
            at += len(rows)
        else:
            out += _sentence(lines[at], wide)
            at += 1
    return "\n".join(out)


def _table_at(lines: Sequence[str], at: int) -> list[str]:
    """Return the rows from here on that share columns; a line that shares none stands alone."""
    rows = [lines[at]]
    if not _may_be_row(lines[at]):
        return rows
    empty, starts = _blanks(lines[at]), set(_gaps(lines[at]))
    for line in lines[at + 1 :]:
        under_heading = len(rows) == 1 and _indent(rows[0]) > _indent(line)
        if not _may_be_row(line) or not (under_heading or _indent(line) == _indent(rows[-1])):
            break
        still, begun = empty & _blanks(line), starts | set(_gaps(line))
        if not _columns(still, begun):
            break
        rows, empty, starts = [*rows, line], still, begun
    return rows


def _may_be_row(line: str) -> bool:
    return bool(_gaps(line)) or (0 < len(line) <= SHORT and not _item(line).strip())


def _indent(line: str) -> int:
    return len(line) - len(line.lstrip())


def _gaps(line: str) -> list[int]:
    """Return where a cell begins after a gap within the line."""
    return [found.end() for found in _GAP.finditer(line, _indent(line)) if found.end() < len(line)]


def _blanks(line: str) -> frozenset[int]:
    """Return the places, up to the widest there may be, at which a row has no sign."""
    return frozenset(n for n in range(WIDEST) if n >= len(line) or line[n] == " ")


def _columns(empty: frozenset[int], starts: Iterable[int]) -> list[int]:
    """Return where columns begin: two places that are blank in every row, then a cell in one of them."""
    found: set[int] = set()
    for place in starts:
        begins = place
        while begins > 1 and not (begins - 1 in empty and begins - 2 in empty):
            begins -= 1  # a column of figures begins where its longest cell does, or its heading
        if begins > 1:
            found.add(begins)
    return sorted(found)


def _table(rows: Sequence[str], width: int) -> list[str]:
    """Set rows whose columns do not fit: the last wraps in place or below, or the table is told in two."""
    empty = frozenset.intersection(*map(_blanks, rows))
    columns = _columns(empty, {place for row in rows for place in _gaps(row)})
    if not columns:
        return [line for row in rows for line in _sentence(row, width)]
    starts = [0, *columns]
    ends = [max(len(row[:bound].rstrip()) for row in rows) for bound in [*columns, WIDEST]]
    if columns[-1] <= LAST_FROM * width and ends[-2] <= width:
        return [line for row in rows for line in _sentence(row, width, columns[-1])]
    lead = DEEP + min(map(_indent, rows))
    firsts = _parts(starts, ends, width, lead)
    again = _parts(starts, ends, width, columns[0])
    if len(rows) > 1 and firsts[1] < len(columns) and len(again) <= MOST_PARTS:
        bounds = itertools.pairwise([*again, len(starts)])
        parts = [_part(rows, starts, first, until) for first, until in bounds]
        if all(len(line) <= width for part in parts for line in part):
            return [line for part in parts for line in ["", *part]][1:]
    return [line for row in rows for line in _below(row, starts, firsts, lead, width)]


def _parts(starts: Sequence[int], ends: Sequence[int], width: int, lead: int) -> list[int]:
    """Return the columns with which a new line begins, `lead` blanks in, so that what stands on one fits."""
    firsts = [0]
    for column in range(1, len(starts)):
        shift = starts[firsts[-1]] - lead if firsts[-1] else 0
        if ends[column] - shift > width:
            firsts.append(column)
    return firsts


def _part(rows: Sequence[str], starts: Sequence[int], first: int, until: int) -> list[str]:
    """Return some columns of a table, each row with its first cell again."""
    end = starts[until] if until < len(starts) else WIDEST
    name = starts[1] if first else 0
    return [(row[:name].ljust(name) + row[starts[first] : end]).rstrip() for row in rows]


def _below(row: str, starts: Sequence[int], firsts: Sequence[int], lead: int, width: int) -> list[str]:
    """Set what does not fit beside the first cells of a row below them; many cells stand close there."""
    first = starts[firsts[1]]
    below = row[first:].rstrip()
    if len(firsts) == 2:
        lines = [" " * lead + below]
    else:
        lines = [" " * lead]
        for cell in _GAP.split(below.strip()):
            if lines[-1].strip() and len(lines[-1]) + len(cell) + 2 > width:
                lines.append(" " * lead)
            lines[-1] += ("  " if lines[-1].strip() else "") + cell
    whole = [row[:first].rstrip(), *(line for line in lines if line.strip())]
    return [piece for line in whole for piece in _sentence(line, width)]


def _item(line: str) -> str:
    """Return what a line of a list begins with, blanks before it included."""
    found = _ITEM.match(line)
    return found.group() if found else ""


def _sentence(line: str, width: int, hang: int = 0) -> list[str]:
    """Wrap a line under its own beginning, or from a column on."""
    if len(line) <= width:
        return [line]
    if not hang and _indent(line) > width // 2:
        line = " " * DEEP + line.lstrip()  # a cell far out, and nothing before it
        if len(line) <= width:
            return [line]
    keep = hang or len(_item(line))
    under = " " * (keep or 2)
    words = _WHOLE.sub(lambda found: found.group().replace(" ", _KEPT), line[keep:]).split(" ")
    out, now, fresh = [], line[:keep], True
    for word in words:
        longer = now + word if fresh else f"{now} {word}"
        if len(longer) > width and not fresh:
            out.append(now)
            longer = under + word
        now, fresh = longer, False
    return [one.rstrip().replace(_KEPT, " ") for one in [*out, now]]
