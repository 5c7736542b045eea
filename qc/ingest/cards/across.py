"""A sheet with its headings in its first column: a column a piece becomes a row a piece."""

from __future__ import annotations

from collections.abc import Sequence

from qc.ingest.cards.heading_lines import (
    STARTS,
    HeadingWords,
    TableOfSheet,
    is_filled,
    joined,
    led,
    together,
    under,
    with_units,
)
from qc.ingest.cards.headings import NUMBER_WORDS, WHAT_WORDS
from qc.ingest.cards.headlines import Cell
from qc.ingest.cards.laid import SAID_FIGURE
from qc.ingest.cells import known_field, plain, read_verdict
from qc.plan import PLACE


def across_table(rows: list[list[Cell]], words: HeadingWords) -> TableOfSheet | None:
    """Turn a sheet with its headings in its first column: a column a piece becomes a row a piece.

    A second column of headings, of places or units, is read as a second line of headings is.
    """
    filled = [row for row in rows if is_filled(row)]
    if not filled:
        return None
    left = min(next(i for i, cell in enumerate(row) if cell.text.strip()) for row in filled)
    first = _first_across(filled, left, words)
    if first is None:
        return None
    below = [_in_cells(row, left, words) for row in filled[first:]]
    below = _in_blocks(below, left, words)
    while (merged := _merged_labels(below, left, words)) is not None:
        below = merged
    if not below:
        return None
    width = max(len(row) for row in below)
    columns = [
        [row[n] if n < len(row) else row[-1]._replace(text="", column=n) for row in below]
        for n in range(left, width)
    ]
    headings, body = columns[0], [column for column in columns[1:] if is_filled(column)]
    units = [n for n, row in enumerate(body) if _are_units(row, words)]
    if len(units) == 1 and len(body) > 1:
        behind = [cell._replace(column=n) for n, cell in enumerate(body.pop(units[0]))]
        headings = with_units(headings, [c for c in behind if known_field(c.text) != "unit"])
    headings = _named_pieces(headings, body, words)
    while len(body) > 1 and under(headings, body[0], words):
        both = joined(headings, body[0], words)
        if both is None:
            break
        headings, body = both, body[1:]
    headings = led(headings, body, words)
    known = [words.is_label(cell.text) for cell in headings if cell.text.strip()]
    if not words.are_headings(headings) and not (known and all(known)):
        return None
    return TableOfSheet(filled[:first], headings, body, across=True) if body else None


def _first_across(filled: list[list[Cell]], left: int, words: HeadingWords) -> int | None:
    """Return the first line of a table written across; None where no line begins one."""
    serials = [n for n, row in enumerate(filled) if _are_pieces(row, left, words)]
    starts = [n for n, row in enumerate(filled) if len(row) > left and known_field(row[left].text) in STARTS]
    starts = [n for n in starts if not _are_pairs(filled[n])]
    if serials:  # a line of one value above the pieces speaks for all of them
        wide = [n for n in starts if sum(bool(cell.text.strip()) for cell in filled[n]) > 2]
        return min([*serials, *wide])
    if starts:
        return min(starts)
    first, named, bare = None, False, False
    for number in range(len(filled) - 1, -1, -1):
        cells = [cell.text.strip() for cell in _in_cells(filled[number], left, words) if cell.text.strip()]
        figure = words.is_figure(cells[0])
        said = bool(words.places_said(cells[0]))
        if not cells[0].strip("-–—=*# ")[:1].isalpha():
            if len(cells) != 2 or not cells[0].isdigit():
                break
            bare = True  # a spot by its number, if a line above says of which area
        elif not (figure or said):
            break
        elif bare and len(cells) == 1 and said:
            first, named = number, True
            continue
        if len(cells) > 1 and not _is_reading(cells[1]):
            break
        if not bare:
            first = number
        named = named or figure
    return first if named else None


def _are_pairs(row: Sequence[Cell]) -> bool:
    """Tell whether a line is one of labels with their values, two at least: a head and no row of pieces."""
    texts = [cell.text for cell in row if cell.text.strip()]
    fields = [bool(known_field(text)) for text in texts]
    return len(texts) > 2 and len(texts) % 2 == 0 and all(fields[::2]) and not any(fields[1::2])


def _is_reading(text: str) -> bool:
    """Tell whether a cell may be what was read: a figure, with its sign or unit, or good or faulty."""
    return text.strip()[:1] in set("0123456789+-–.,") or read_verdict(text)[0] is not None


def names_pieces(row: Sequence[Cell], words: HeadingWords) -> bool:
    """Tell whether a line names pieces behind its first cell, which says what stands below it."""
    left = next((n for n, cell in enumerate(row) if cell.text.strip()), 0)
    return _are_pieces(row, left, words)


def _are_pieces(row: Sequence[Cell], left: int, words: HeadingWords) -> bool:
    """Tell whether a line names pieces, the first cell being empty or what stands below it."""
    texts = [cell.text for cell in row[left + 1 :] if cell.text.strip() and known_field(cell.text) != "unit"]
    own = row[left].text.strip() if len(row) > left else ""
    says = _says_pieces(own) or known_field(own) == "serial" or words.is_figure(own)
    says = says or (own.isalpha() and not known_field(own) and len(texts) > 1)  # Bell, Horn
    return bool(texts) and says and all(words.is_serial(text) for text in texts)


def _says_pieces(text: str) -> bool:
    """Tell whether the first cell of a line leaves open, or says by a number sign, that pieces follow it."""
    return not text or plain(text) in WHAT_WORDS | NUMBER_WORDS or known_field(text) in PLACE


def _named_pieces(
    headings: Sequence[Cell], body: Sequence[Sequence[Cell]], words: HeadingWords
) -> list[Cell]:
    """Write Serial before the line of pieces, where nothing else says which they are."""
    if any(known_field(cell.text) == "serial" for cell in headings):
        return list(headings)
    found = list(headings)
    serials = [n for n, cell in enumerate(headings) if _are_serials([row[n].text for row in body], words)]
    if len(serials) == 1 and words.is_figure(leading := headings[serials[0]].text.strip()):
        found = [
            cell._replace(text=together(leading, cell.text.strip(), words) or cell.text) for cell in headings
        ]
    for number, cell in enumerate(headings):
        under_it = [row[number].text for row in body if row[number].text.strip()]
        if under_it and all(words.is_serial(text) for text in under_it):
            found[number] = cell._replace(text="Serial")
    return found


def _are_serials(texts: Sequence[str], words: HeadingWords) -> bool:
    filled = [text for text in texts if text.strip()]
    return bool(filled) and all(map(words.is_serial, filled))


def _in_blocks(rows: list[list[Cell]], left: int, words: HeadingWords) -> list[list[Cell]]:
    """Put what a line by itself says, ``Valve F`` or ``Upper bore``, before the labels below it."""
    leading, found = "", []
    for row in rows:
        filled = [cell for cell in row if cell.text.strip()]
        text = filled[0].text.strip() if len(filled) == 1 else ""
        if text and (words.places_said(text) or words.is_figure(text)):
            leading = " ".join(words.places_said(text).values()) or text.strip("-–—=*#: ")
            continue
        own = row[left].text.strip() if len(row) > left else ""
        both = together(leading, own, words) if leading and own else ""
        found.append([*row[:left], row[left]._replace(text=both), *row[left + 1 :]] if both else row)
    return found


def _in_cells(row: list[Cell], left: int, words: HeadingWords) -> list[Cell]:
    """Return a line with what one cell says in words, ``Throw: 72.9 deg``, as a label and its figure."""
    filled = [cell for cell in row if cell.text.strip()]
    found = SAID_FIGURE.match(filled[0].text.strip()) if len(filled) == 1 else None
    if found is None or row[left] is not filled[0] or not words.is_figure(found["label"].strip()):
        return row
    text = f"{found['figure']} {found['unit']}".strip()
    line = filled[0].line
    blank = [Cell("", line, n) for n in range(left)]
    return [*blank, filled[0]._replace(text=found["label"].strip()), Cell(text, line, left)]


def _are_units(row: Sequence[Cell], words: HeadingWords) -> bool:
    texts = [cell.text for cell in row if cell.text.strip() and known_field(cell.text) != "unit"]
    return bool(texts) and all(words.is_unit(text) for text in texts)


def _merged_labels(rows: list[list[Cell]], left: int, words: HeadingWords) -> list[list[Cell]] | None:
    """Put a second column of labels behind the first: ``Bore; entry``, the figure once; None without one."""
    leading, count = "", 0
    heads = [row for row in rows if len(row) > left + 2 and known_field(row[left].text) in STARTS]
    # where the head of a piece leaves it empty, the second column holds labels, numbers too
    apart = bool(heads) and not any(row[left + 1].text.strip() for row in heads)
    found: list[list[Cell]] = []
    for row in rows:
        own = row[left].text.strip() if len(row) > left else ""
        second = row[left + 1].text.strip() if len(row) > left + 1 else ""
        leading = own or leading
        both = together(leading, second, words) if words.kind(second) == "place" else ""
        if both and not words.is_unit(second) and (apart or not _only_figures(row[left + 1 :])):
            count += 1
            found.append([*row[:left], row[left]._replace(text=both), *row[left + 2 :]])
        elif not second:
            found.append([*row[: left + 1], *row[left + 2 :]])
        else:
            found.append(row)
    return found if count else None


def _only_figures(cells: Sequence[Cell]) -> bool:
    """Tell whether nothing but numbers stands there, of which the first may be a reading and no place."""
    return all(cell.text.strip()[:1] in "0123456789+-.,–" for cell in cells if cell.text.strip())
