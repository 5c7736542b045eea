"""Finds the tables of a sheet: each row of headings with the lines above and the rows below it."""

from __future__ import annotations

from collections.abc import Sequence

from qc.ingest.cards.across import across_table, names_pieces
from qc.ingest.cards.heading_lines import (
    STARTS,
    TableOfSheet,
    corner_kinds,
    is_band,
    is_filled,
    joined,
    said_of_rows,
    turned,
    under,
    widened,
    with_units,
)
from qc.ingest.cards.headings import WHAT_WORDS
from qc.ingest.cards.headlines import Cell
from qc.ingest.cards.sheet_words import SheetWords, is_figure_text
from qc.ingest.cells import known_field, plain
from qc.ingest.reading import Grid


def cells_of(grid: Grid) -> list[list[Cell]]:
    """Return the cells of a grid with the line and column each stands in."""
    return [
        [Cell(text, grid.lines[row], column) for column, text in enumerate(texts)]
        for row, texts in enumerate(grid.rows)
    ]


def heading_rows(grid: Grid, words: SheetWords) -> list[int]:
    """Return the rows of headings of a sheet, from 0; of two below each other the first is a head line."""
    rows = cells_of(grid)
    found = [
        n
        for n, cells in enumerate(rows)
        if words.are_headings(cells) or _over_places(rows, n, words) or _over_map(rows, n, words)
    ]
    found = [n for n in found if n not in found[1:] or not _goes_on(rows, n, words)]
    found = [n for n in found if not _is_row_of_list(rows, n, found, words)]
    maps = [n for n in found if _is_one_column(rows[n], words)]
    if maps and len(maps) < len(found):  # Leg; upper over rows of a table is no head of another one
        corners = {plain(rows[n][0].text) for n in found if n not in maps}
        found = [n for n in found if n not in maps or plain(rows[n][0].text) in corners]
    found = found or [n for n in range(len(rows) - 1) if _over_map(rows, n, words, bare=True)][:1]
    found = found or [index for index in range(len(rows) - 1) if _over_rows(rows, index, words)][:1]
    found = found or [index for index in range(len(rows) - 1) if _over_figures(rows, index)][:1]
    if not found:
        return []
    between = [
        any(is_filled(rows[row]) for row in range(a + 1, b)) for a, b in zip(found, found[1:], strict=False)
    ]
    return [index for index, rows_follow in zip(found, [*between, True], strict=True) if rows_follow]


def _is_row_of_list(rows: list[list[Cell]], index: int, starts: Sequence[int], words: SheetWords) -> bool:
    """Tell whether a line names its figure where headings above it have a column of figures by name."""
    over = (cell for n in reversed(starts) if n < index for cell in rows[n])
    what = next((cell.column for cell in over if plain(cell.text) in WHAT_WORDS), None)
    return what is not None and what < len(rows[index]) and words.is_figure(rows[index][what].text)


def _over_rows(rows: list[list[Cell]], index: int, words: SheetWords) -> bool:
    """Tell whether a line of places stands over rows that each begin with a figure or a place beside them."""
    filled = [(cell.column, cell.text) for cell in rows[index] if cell.text.strip()]
    below = next((row for row in rows[index + 1 :] if is_filled(row)), [])
    first = next(((cell.column, cell.text) for cell in below if cell.text.strip()), None)
    if len(filled) < 2 or first is None or first[0] >= filled[0][0]:
        return False
    places = all(words.kind(text) == "place" and not is_figure_text(text) for _, text in filled)
    return places and (words.is_figure(first[1]) or words.kind(first[1]) == "place")


def _over_map(rows: list[list[Cell]], index: int, words: SheetWords, *, bare: bool = False) -> bool:
    """Tell whether a line is the head of a map: what its corner says, or nothing, and places beside it."""
    corner, *rest = [cell.text.strip() for cell in rows[index]] or [""]
    beside = [text for text in rest if text]
    below = next((row for row in rows[index + 1 :] if is_filled(row)), [])
    first, *figures = [cell.text.strip() for cell in below] or [""]
    figures = [text for text in figures if text]
    if not first or not figures or len(figures) > len(beside) or not all(map(is_figure_text, figures)):
        return False
    if bare:
        return not corner and len(beside) > 1 and words.are_places(beside)
    named = bool(words.place_named(corner) or corner_kinds(corner, words))
    figure = words.is_figure(corner) and len(beside) > 1 and not words.is_figure(first)
    # Upper; mouth; crook: a place in the corner is one of all rows, which name their figures
    placed = len(beside) > 1 and words.is_figure(first) and bool(words.places_said(corner))
    return (named or figure or placed) and not corner[:1].isdigit() and words.are_places(beside)


def _speaks_for_next(rows: list[list[Cell]], before: int, following: int, words: SheetWords) -> bool:
    """Tell whether a line before a row of headings speaks for the table below it: ``F valve``, ``with F``."""
    texts = [cell.text.strip() for cell in rows[before] if cell.text.strip()]
    above = next((cell.text for cell in rows[before - 1] if cell.text.strip()), "")
    said = said_of_rows(rows[before], words)
    if said:  # a row of the table above that was left empty begins with the same kind of place
        return not set(said) & set(words.places_said(above))
    alone = len(texts) == 1 and texts[0][:1].isalpha() and not words.is_figure(texts[0])
    return alone and before + 1 == following


def _goes_on(rows: list[list[Cell]], index: int, words: SheetWords) -> bool:
    """Tell whether a figure with small numbers stands directly below another figure with its numbers."""
    above = [cell.text.strip() for cell in rows[index - 1] if cell.text.strip()]
    below = above and words.is_figure(above[0]) and len(above) > 1 and all(map(is_figure_text, above[1:]))
    return bool(below) and _only_numbers(rows[index], words)


def _is_one_column(row: Sequence[Cell], words: SheetWords) -> bool:
    """Tell whether a line is a kind of place and one place, which may speak for rows or stand over them."""
    filled = [cell.text.strip() for cell in row if cell.text.strip()]
    return len(filled) == 2 and bool(words.place_named(filled[0])) and words.are_places(filled[1:])


def _over_places(rows: list[list[Cell]], index: int, words: SheetWords) -> bool:
    """Tell whether a line of places alone stands over rows of one place and figures: a table by its corner.

    ``Stocking; mouth; middle; crook`` over ``upper; 13.901; 13.902; 13.898``.
    """
    texts = [cell.text.strip() for cell in rows[index] if cell.text.strip()]
    if len(texts) < 2 or not all(text[:1].isalpha() for text in texts) or index + 1 == len(rows):
        return False
    below = [cell.text.strip() for cell in rows[index + 1] if cell.text.strip()]
    if len(below) < 2 or below[0][:1].isdigit() or not all(map(is_figure_text, below[1:])):
        return False
    return all(map(words.names_places, [*texts, below[0]]))


def _over_figures(rows: list[list[Cell]], index: int) -> bool:
    """Tell whether a line begins with two headings any card may have, and holds names of figures behind them.

    Nobody knows these names, so they must be asked for: the line under them has a figure below each.
    """
    filled = [cell for cell in rows[index] if cell.text.strip()]
    known = [bool(known_field(cell.text)) for cell in filled]
    others = [cell for cell, is_known in zip(filled, known, strict=True) if not is_known]
    below = {cell.column: cell.text.strip() for cell in rows[index + 1]}
    if not all(known[:2]) or sum(known) < 2 or not others:
        return False
    named = all(any(sign.isalpha() for sign in cell.text) for cell in others)
    return named and all(is_figure_text(below.get(cell.column, "")) for cell in others)


LISTED = ("What", "Place", "Value")
FEWEST_LISTED = 3
"""So many lines of a figure, its place and what was read make a list by themselves; chosen."""


def _list_without_headings(rows: list[list[Cell]], words: SheetWords) -> TableOfSheet | None:
    """Read lines of a figure, its place and what was read, below a head and with no headings over them."""
    filled = [n for n, row in enumerate(rows) if is_filled(row)]
    first = next((n for n in filled if _is_listed(rows[n], words)), None)
    if first is None:
        return None
    body = [rows[n] for n in filled if n >= first]
    placed = sum(bool(row[1].text.strip()) for row in body if len(row) > 1)
    if len(body) < FEWEST_LISTED or not placed or not all(_is_listed(row, words) for row in body):
        return None
    if any(words.are_headings(rows[n]) for n in filled if n < first):
        return None
    headings = [Cell(text, body[0][0].line, n) for n, text in enumerate(LISTED)]
    return TableOfSheet([rows[n] for n in filled if n < first], headings, body)


def _is_listed(row: Sequence[Cell], words: SheetWords) -> bool:
    """Tell whether a line is a figure by its name, a place or nothing, and one thing that was read."""
    texts = [cell.text.strip() for cell in row]
    if len(texts) < 3 or any(texts[3:]) or not texts[0] or not is_figure_text(texts[2]):
        return False
    return words.is_figure(texts[0]) and (not texts[1] or words.names_places(texts[1]))


def split_tables(grid: Grid, words: SheetWords) -> list[TableOfSheet]:
    """Part a sheet into its tables, in order; pieces written across become rows.

    Returns
    -------
    list of TableOfSheet
        Empty where no row and no column of headings is found.
    """
    rows = cells_of(grid)
    if (listed := _list_without_headings(rows, words)) is not None:
        return [listed]
    starts = heading_rows(grid, words)
    if not starts:
        across = across_table(rows, words)
        return [across] if across else []
    turns = (_only_numbers(rows[n], words) and not _is_map(rows, n, words) for n in starts)
    if all(turn or names_pieces(rows[n], words) for turn, n in zip(turns, starts, strict=True)):
        across = across_table(rows, words)  # a figure with small numbers beside it, not places
        if across is not None:
            return [across]
    ends = {(top, left): right for top, left, _, right in grid.boxes}
    tables = []
    head_from = 0
    for number, start in enumerate(starts):
        last = number + 1 == len(starts)
        end = len(rows) if last else _body_end(rows, start, starts[number + 1], words)
        body = [row for row in rows[start + 1 : end] if is_filled(row)]
        if not body and not last:
            continue  # a line over the next one
        above = [index for index in range(head_from, start) if is_filled(rows[index])]
        headings, used = _with_lines_above(rows, above, start, ends, words)
        headings, body = _with_lines_below(headings, start, ends, body, words)
        headings = widened(turned(headings, body, words), body, words)
        tables.append(TableOfSheet([rows[index] for index in above[: len(above) - used]], headings, body))
        head_from = end
    return tables


def _with_lines_above(
    rows: list[list[Cell]], above: list[int], start: int, ends: dict[tuple[int, int], int], words: SheetWords
) -> tuple[list[Cell], int]:
    """Return the headings with what stands over them, and how many lines that takes."""
    headings, used = list(rows[start]), 0
    for index in reversed(above):
        band = rows[index]
        if _is_band(band, headings, words):
            headings = _banded(band, headings)
        elif is_band(band, words) or words.are_headings(band):
            both = joined(band, headings, words, _ends(index, ends))
            if both is None:
                break
            headings = both
        else:
            break
        used += 1
    return headings, used


def _with_lines_below(
    headings: list[Cell],
    start: int,
    ends: dict[tuple[int, int], int],
    body: list[list[Cell]],
    words: SheetWords,
) -> tuple[list[Cell], list[list[Cell]]]:
    """Return the headings with the units and places in the lines under them, and the rows that are left."""
    upper = _ends(start, ends)
    while len(body) > 1:
        if all(words.is_unit(cell.text) for cell in body[0] if cell.text.strip()):
            headings = with_units(headings, body[0])
        elif under(headings, body[0], words):
            both = joined(headings, body[0], words, upper)
            if both is None:
                break
            headings = both
        else:
            break
        body, upper = body[1:], ()
    return headings, body


def _ends(row: int, ends: dict[tuple[int, int], int]) -> tuple[tuple[int, int], ...]:
    return tuple((left, right) for (top, left), right in ends.items() if top == row)


def _only_numbers(row: Sequence[Cell], words: SheetWords) -> bool:
    texts = [cell.text.strip() for cell in row if cell.text.strip()]
    return words.is_figure(texts[0]) and all(
        is_figure_text(text) or words.is_unit(text) for text in texts[1:]
    )


def _is_map(rows: list[list[Cell]], start: int, words: SheetWords) -> bool:
    """Tell whether numbers beside a figure are places: rows of one place and as many figures stand below."""
    row = next((row for row in rows[start + 1 :] if is_filled(row)), [])
    texts = [cell.text.strip() for cell in row if cell.text.strip()]
    over = sum(bool(cell.text.strip()) for cell in rows[start])
    placed = bool(texts) and words.names_places(texts[0]) and not words.is_figure(texts[0])
    return placed and len(texts) == over and all(map(is_figure_text, texts[1:]))


def _body_end(rows: list[list[Cell]], start: int, following: int, words: SheetWords) -> int:
    """Return where the head of the next table begins."""
    for index in range(start + 1, following):
        first = next((cell.text for cell in rows[index] if cell.text.strip()), "")
        label = first.partition(":")[0]
        if known_field(label) in STARTS or plain(first) in words.titles:
            return index
    before = following - 1
    while before > start and not is_filled(rows[before]):
        before -= 1
    if before > start + 1 and _speaks_for_next(rows, before, following, words):
        return before
    band = before > start and is_band(rows[before], words)
    if band and (
        _is_band(rows[before], rows[following], words) or joined(rows[before], rows[following], words)
    ):
        return before
    return following


def _is_band(band: Sequence[Cell], headings: Sequence[Cell], words: SheetWords) -> bool:
    """Tell whether a line above the headings names places, each for the columns from there on."""
    filled = [cell for cell in band if cell.text.strip()]
    names = [plain(cell.text) for cell in headings if cell.text.strip()]
    doubled = len(set(names)) < len(names)
    return doubled and bool(filled) and all(words.kind(cell.text) == "place" for cell in filled)


def _banded(band: Sequence[Cell], headings: Sequence[Cell]) -> list[Cell]:
    said, found = "", []
    for column, cell in enumerate(headings):
        if column < len(band) and band[column].text.strip():
            said = band[column].text.strip()
        text = f"{cell.text.strip()} {said}".strip() if said and cell.text.strip() else cell.text
        found.append(cell._replace(text=text))
    return found
