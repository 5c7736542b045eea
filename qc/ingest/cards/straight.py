"""Lays a sheet out as the plainest card: a head of labels, one row of headings, a figure under its own name.

Benches write the same figures in many shapes: a column a station, a column a piece, a row a figure, several
tables below each other, a head in one line. Every shape is brought into the plainest here, each figure
keeping the cell it was typed in, so that one reader reads them all. A shape that may be read in two ways is
refused.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from qc.ingest.cards.asking import SheetAsker
from qc.ingest.cards.grouping import group_line
from qc.ingest.cards.headings import CardHeadings
from qc.ingest.cards.headlines import Cell, HeadLine, HeadReader
from qc.ingest.cards.laid import BELOW, LayoutError, said_figure
from qc.ingest.cards.layout import HEAD_ROWS, HeadValue, Parts, part_sheet
from qc.ingest.cards.mapping import BESIDE, Mappings, ReadAs
from qc.ingest.cards.recognition import (
    FIGURES_OF,
    VALUE,
    CardSheet,
    card_characteristics,
    plan_names,
    recognise_card,
)
from qc.ingest.cards.sheet_words import SheetWords
from qc.ingest.cards.straightener import Straightener
from qc.ingest.cards.tables import heading_rows, split_tables
from qc.ingest.cells import heading, known_field, packed_figures, plain
from qc.ingest.errors import SheetError
from qc.ingest.reading import Grid
from qc.ingest.shapes import fill_rows, needs_filling
from qc.plan import PLACE, Plan


def read_cards(grid: Grid, plan: Plan, mappings: Mappings | None = None) -> tuple[CardSheet, ...]:
    """Find the card or cards on a sheet, however it is laid out.

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
    tuple of CardSheet
        One for each table; a sheet that is plain already comes back as it stands.

    Raises
    ------
    SheetError
        The card is not known, a heading fits nothing or two things, or figures stand where none can be read;
        as `HeadingsUnknown` where a mapping would answer it.
    """
    own = mappings.on(grid) if mappings is not None else Mappings()
    fault, sheet = None, None
    try:
        if own.labels():
            raise SheetError(grid.file, "a mapping renames headings", "")  # read by the words of the bench
        parts = part_sheet(grid, plan_names(plan))
        sheet = recognise_card(parts, plan)
        if not _asks_more(parts, grid) and not _holds_more(sheet, plan) and not _lacks_places(sheet, plan):
            words = None if _one_heading_row(parts) else SheetWords(plan)
            if words is None or len(heading_rows(grid, words)) < 2:
                return (_plain(sheet, own),)
    except SheetError as error:
        fault = error if not own.labels() else None
    if (split := _with_split_figures(grid, plan, own)) is not None:
        return (split,)
    words = SheetWords(plan, own.labels())
    tables = split_tables(grid, words)
    straightener = Straightener(grid, plan, own, words)
    asker = SheetAsker(grid, plan, own, straightener.heads)
    try:
        found = straightener.cards(tables)
    except SheetError as error:
        if sheet is not None and len(tables) < 2 and not grid.boxes:
            return (_plain(sheet, own),)
        told = fault if fault is not None and not isinstance(error, LayoutError) else error
        raise asker.asked(told, tables) from None
    if not found:
        nothing = SheetError(grid.file, "no row of headings was found", "Write one over the figures.")
        raise asker.asked(fault or nothing, tables)
    return asker.with_question(found, tables)


def _with_split_figures(grid: Grid, plan: Plan, own: Mappings) -> CardSheet | None:
    """Read a comma-separated sheet whose headings a mapping renames and whose commas split figures.

    Such figures are joined where each row is read, which needs every column under its meaning; None where no
    row is longer than its headings, or the card is not plain with its headings renamed.
    """
    if not own.labels() or grid.separator != ",":
        return None
    for row, cells in enumerate(grid.rows[:HEAD_ROWS]):
        line = tuple(text.strip() for text in cells if text.strip())
        mapping = own.of(line) if len(line) > 1 else None
        if mapping is None or not any(mapping.meant(text) for text in line):
            continue
        if all(grid.width(below) <= grid.width(row) for below in range(row + 1, len(grid.rows))):
            return None
        meant = ["Note" if (m := mapping.meant(text)) == BESIDE else m or text for text in cells]
        rows = (*grid.rows[:row], tuple(meant), *grid.rows[row + 1 :])
        try:
            sheet = recognise_card(part_sheet(replace(grid, rows=rows), plan_names(plan)), plan)
        except SheetError:
            return None
        if sheet.card.id != mapping.card or sheet.parts.header_row != row:
            return None
        typed = {field: replace(c, label=cells[c.index].strip()) for field, c in sheet.columns.items()}
        return replace(sheet, columns=typed, read_as=ReadAs(mapping.card, line, mapping))
    return None


def _plain(sheet: CardSheet, mappings: Mappings) -> CardSheet:
    """Return a sheet that is plain already, with the mapping of its heading line, which says how dates go."""
    line = tuple(column.label for column in sheet.parts.columns)
    return replace(_filled(sheet), read_as=ReadAs(sheet.card.id, line, mappings.of(line, sheet.card.id)))


def _is_unit_line(texts: Sequence[str]) -> bool:
    """Tell whether a line holds nothing but units in brackets."""
    filled = [text.strip() for text in texts if text.strip()]
    return bool(filled) and all(text[0] in "[(" and text[-1] in "])" for text in filled)


def _asks_more(parts: Parts, grid: Grid) -> bool:
    """Tell whether the head holds more than labels with a value each, cells are one, or units have a line."""
    if _is_unit_line(next(iter(grid.rows[parts.header_row + 1 :]), ())):
        return True
    if grid.boxes and any(box[2] >= parts.header_row for box in grid.boxes):
        return True
    titles = 0
    for row in range(parts.header_row):
        cells = [text for text in grid.rows[row] if text.strip()]
        if len(cells) > 2:
            return True
        if len(cells) == 1 and not known_field(cells[0].partition(":")[0]):
            titles += 1
            if titles > 1 or any(sign.isdigit() for sign in cells[0]):
                return True
        elif len(cells) == 2 and not known_field(cells[0]):
            if plain(cells[0]) == plain(parts.title) or any(map(_bears_label, cells)):
                return True
    return False


def _bears_label(text: str) -> bool:
    """Tell whether a cell begins with a label of ours and holds more: ``date 15.4.2026``, ``by JO``."""
    words = text.split()
    return any(known_field(" ".join(words[:cut])) for cut in range(1, min(len(words), 4)))


def _holds_more(sheet: CardSheet, plan: Plan) -> bool:
    """Tell whether a line speaks for rows below it or gives a figure, or a cell holds several figures."""
    parts = sheet.parts
    grid = parts.grid
    lone = [row for row in parts.body if sum(bool(text.strip()) for text in grid.rows[row]) == 1]
    said = [HeadLine(value.label, value.text, "", Cell("", 0, 0)) for value in sheet.extra]
    if lone or said:
        words, heads = CardHeadings(sheet.card, plan), HeadReader(plan)
        cells = [[Cell(text, 0, column) for column, text in enumerate(grid.rows[row])] for row in lone]
        said += [HeadLine("", cell.text, "", cell) for row in cells for cell in row if cell.text.strip()]
        if any(group_line(row, heads, words) for row in cells) or any(
            said_figure(line, words) for line in said
        ):
            return True
    known = {*sheet.columns, *sheet.head}
    figures = {VALUE + c.id: c for c in card_characteristics(sheet.card, plan)}
    for field, column in sheet.columns.items():
        if field in figures and set(figures[field].places) - known:
            texts = (grid.text(row, column.index) for row in parts.body)
            if any(packed_figures(text) for text in texts):
                return True
    return False


def _lacks_places(sheet: CardSheet, plan: Plan) -> bool:
    """Tell whether a column lacks a figure, or a figure places that no head and no column says.

    A line of its own may then stand for them.
    """
    known = {*sheet.columns, *sheet.head}
    if own := FIGURES_OF.get(sheet.card.source):
        return not own & set(sheet.columns)
    figures = {VALUE + c.id: c for c in card_characteristics(sheet.card, plan)}
    return any(set(figures[field].places) - known for field in sheet.columns if field in figures)


def _one_heading_row(parts: Parts) -> bool:
    """Tell, quickly, that no row of the table and no line of the head can be another row of headings."""
    grid = parts.grid
    for row, texts in enumerate(grid.rows):
        if row > parts.header_row and texts and texts[0][:1].isdigit():
            continue  # headings begin with a word
        words = sum(1 for text in texts if text[:1].isalpha())
        if (
            row != parts.header_row
            and words > 1
            and sum(bool(known_field(text)) for text in texts[:8] if text) > 1
        ):
            return False
        if row < parts.header_row and words > 2:
            return False
    return True


def _filled(sheet: CardSheet) -> CardSheet:
    """Fill blocks and ditto marks of a plain card; the sheet itself where it has none."""
    parts = sheet.parts
    fields = {name: column.index for name, column in sheet.columns.items()}
    texts = [parts.grid.rows[row] for row in parts.body]
    if not needs_filling(fields, texts):
        return sheet
    figures = {i for name, i in fields.items() if name not in PLACE and name not in _IDENTITY}
    rows, dropped = fill_rows(fields, texts, figures, {n for n, v in sheet.head.items() if v.text})
    whole = list(parts.grid.rows)
    for row, cells in zip(parts.body, rows, strict=True):
        whole[row] = tuple(cells[: max(len(parts.grid.rows[row]), _last(cells))])
    body = tuple(row for number, row in enumerate(parts.body) if number not in dropped)
    grid = replace(parts.grid, rows=tuple(whole))
    said = tuple(_below(text, parts) for text in dropped.values() if text)
    return replace(sheet, parts=replace(parts, grid=grid, body=body), extra=(*sheet.extra, *said))


def _last(cells: Sequence[str]) -> int:
    return max((number for number, text in enumerate(cells, start=1) if text.strip()), default=0)


_IDENTITY = frozenset("serial day time person model gauge batch tool note repeat".split())


def _below(text: str, parts: Parts) -> HeadValue:
    label, colon, value = text.partition(":")
    if not colon:
        label, value = BELOW, text
    return HeadValue(label, heading(""), value.strip(), parts.header_row, 0)
