"""Reads a sheet by what stands around each figure, where no known layout fits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from qc.ingest.cards import (
    CardHeadings,
    CardSheet,
    Cell,
    HeadReader,
    LayoutError,
    PlacedFigure,
    PlainCard,
    ReadAs,
    SheetWords,
    address,
    card_headings,
    cells_of,
    part_sheet,
    plan_names,
    recognise_card,
)
from qc.ingest.cells import FACTORS, convert, plain, read_decimal
from qc.ingest.errors import SheetError
from qc.ingest.freely.cells import CellReader
from qc.ingest.freely.shortened import Lexicon
from qc.ingest.freely.solving import Solved, Solver
from qc.ingest.freely.standing import FoundFigures, Stood, Surroundings
from qc.ingest.reading import Grid
from qc.plan import Card, Plan
from qc.words import listed

MOST_CELLS = 4_000
"""A larger sheet comes from a program and not from a hand; chosen."""

_MAY_LACK = frozenset({"direction", "position", "valve"})
"""Kinds of place that a bench leaves out where there is one only, or the first."""

LIKELY = 0.8
"""So large a share of the figures of a name must lie where the plan says they can; chosen."""


def read_freely(grid: Grid, plan: Plan) -> CardSheet | None:
    """Read a sheet by what stands over, beside and above each of its figures.

    Parameters
    ----------
    grid : Grid
        The sheet as read.
    plan : Plan
        The measuring plan.

    Returns
    -------
    CardSheet or None
        The plainest card with every figure of which all words around it say one thing only; of the others
        each is a row with its question. None where most are open, or where two cards would be possible.
    """
    if sum(map(len, grid.rows)) > MOST_CELLS:
        return None
    words, heads = SheetWords(plan), HeadReader(plan)
    rows = _boxed(grid, cells_of(grid))
    named = _named(rows, grid, plan)
    cards = [card for card in plan.cards if card.id == named] if named else list(plan.cards)
    found: list[tuple[int, CardSheet]] = []
    for card in cards:
        own = card_headings(card, plan)
        if not own.figures or card.event:
            continue
        reader, lexicon = CellReader(plan, words, heads), Lexicon(own)
        best: tuple[tuple[int, int], list[Solved], list[Stood], FoundFigures] | None = None
        for parts in _ways_to_part(rows):
            read, solved, left = _solved(parts, reader, lexicon, own)
            key = (len(left) + _unnamed(solved), sum(one.cost for one in solved))
            if solved and (best is None or key < best[0]):
                best = (key, solved, left, read)
        if best is None:
            continue
        (_, cost), solved, left, read = best
        if _unnamed(solved) or len(left) > len(solved) or not _likely(solved, own):
            continue
        if not named and (left or not _whole(solved, own)):
            continue
        found.append((cost, _laid(grid, plan, card, own, solved, left, read)))
    found.sort(key=lambda one: one[0])
    if not found or (len(found) > 1 and found[0][0] == found[1][0]):
        return None
    return found[0][1]


def _named(rows: Sequence[Sequence[Cell]], grid: Grid, plan: Plan) -> str:
    """Return the id of the card that a cell of the sheet or its tab names, empty where none does."""
    names = {plain(name): card.id for card in plan.cards for name in (card.title, card.id)}
    for row in rows[:12]:
        for cell in row:
            text = plain(cell.text)
            if text in names:
                return names[text]
            begun = [name for name in names if text.startswith(f"{name} ")]
            if begun:
                return names[max(begun, key=len)]
    firsts = {name.split(" ")[0]: card.id for name, card in ((plain(c.title), c) for c in plan.cards)}
    if len(firsts) == len(plan.cards) and rows:
        first_words = {firsts[word] for cell in rows[0] if (word := plain(cell.text).split(" ")[0]) in firsts}
        if len(first_words) == 1:
            return next(iter(first_words))
    return names.get(plain(grid.tab), "")


def _boxed(grid: Grid, rows: list[list[Cell]]) -> list[list[Cell]]:
    """Write what is drawn as one cell over several lines into each of them."""
    for top, left, bottom, right in grid.boxes:
        if top >= len(rows) or left >= len(rows[top]) or left != right:
            continue
        text = rows[top][left].text
        for row in range(top + 1, min(bottom + 1, len(rows))):
            if left < len(rows[row]) and not rows[row][left].text.strip():
                rows[row][left] = rows[row][left]._replace(text=text)
    return rows


def _ways_to_part(rows: Sequence[Sequence[Cell]]) -> list[list[list[list[Cell]]]]:
    """Return the sheet whole, and parted where blocks stand side by side."""
    ways = [[[list(row) for row in rows]]]
    width = max((len(row) for row in rows), default=0)
    starts = _repeated(rows, width)
    if len(starts) > 1:
        edges = [*starts, width]
        first = next(n for n, row in enumerate(rows) if any(c.text.strip() for c in row[starts[1] :]))
        shared = [list(row) for row in rows[:first]]
        ways.append(
            [
                [*shared, *([cell for cell in row if a <= cell.column < b] for row in rows[first:])]
                for a, b in zip(edges, edges[1:], strict=False)
            ]
        )
    return ways


def _repeated(rows: Sequence[Sequence[Cell]], width: int) -> list[int]:
    """Return the columns at which the same words begin anew in a line: the blocks of a sheet side by side."""
    found: set[tuple[int, ...]] = set()
    for row in rows:
        texts = [plain(cell.text) for cell in row] + [""] * (width - len(row))
        filled = [n for n, text in enumerate(texts) if text and text[:1].isalpha()]
        if not filled:
            continue
        again = tuple(n for n in filled if texts[n] == texts[filled[0]])
        steps = {b - a for a, b in zip(again, again[1:], strict=False)}
        if len(again) > 1 and len(steps) == 1 and filled[0] <= 1:
            found.add(again)
    if not found:
        return []
    starts = max(found, key=lambda one: (sum(one == other for other in found), -len(one)))
    return [0, *starts[1:]]


def _solved(
    parts: Sequence[Sequence[Sequence[Cell]]], reader: CellReader, lexicon: Lexicon, words: CardHeadings
) -> tuple[FoundFigures, list[Solved], list[Stood]]:
    whole = FoundFigures()
    solved: list[Solved] = []
    left: list[Stood] = []
    for rows in parts:
        read = Surroundings(rows, reader, lexicon).read()
        whole.head += [line for line in read.head if line not in whole.head]
        own, open_ones = Solver(lexicon).solve(read.figures)
        for one in own:
            figure = words.figures[one.figure]
            text = one.text
            seen = one.stood.seen
            verdict = figure.kind == "pass-fail"
            if not seen.figure and not (verdict and seen.mark) and not any(map(str.isdigit, text)):
                one.stood.notes.append(text)  # a remark or a tick under a figure
            else:
                solved.append(one)
        marks = any(figure.kind == "pass-fail" for figure in words.figures.values())
        left += [one for one in open_ones if one.seen.figure or (one.seen.mark and marks)]
    return whole, solved, left


def _unnamed(solved: Sequence[Solved]) -> int:
    """Count the figures of no piece."""
    return sum("serial" not in one.stood.says for one in solved)


def _whole(solved: Sequence[Solved], words: CardHeadings) -> bool:
    """Tell whether every figure says all its places; a card that is not named is known by nothing else."""
    return all(
        set(words.places[one.figure]) - _MAY_LACK <= {kind for kind, _ in one.places} for one in solved
    )


def _likely(solved: Sequence[Solved], words: CardHeadings) -> bool:
    """Tell whether the figures of each name lie where the plan says that they can."""
    for field, figure in words.figures.items():
        if figure.sensible is None:
            continue
        low, high = figure.sensible
        values = []
        for one in solved:
            value = read_decimal(one.text) if one.figure == field else None
            if value is not None:
                if one.unit and one.unit != figure.unit and (one.unit, figure.unit) in FACTORS:
                    value = convert(value, one.unit, figure.unit)
                values.append(low <= value <= high)
        if values and sum(values) < LIKELY * len(values):
            return False
    return True


def _laid(
    grid: Grid, plan: Plan, card: Card, words: CardHeadings, solved: Sequence[Solved], left: Sequence[Stood],
    read: FoundFigures,
) -> CardSheet:  # fmt: skip
    """Write the figures as the plainest card, each from the cell it was typed in."""
    laid = PlainCard(grid, card, words, list(read.head))
    for one in solved:
        stood = one.stood
        own = words.figures[one.figure].unit
        unit = "" if one.unit == own else one.unit
        cell = stood.seen.cell._replace(text=one.text)
        label = stood.heading or words.figures[one.figure].name
        figure = PlacedFigure(one.figure, unit, one.basis, one.places, cell, label)
        laid.rows.append((_identity(stood), [figure]))
    known = listed([c.name for c in words.figures.values()])
    for stood in left:
        label = stood.heading or " ".join(one.text for one in stood.labels)
        problem = f"nothing says which figure of {card.title} {stood.seen.cell.text.strip()} is"
        hint = f"Write its name and its place beside it; the figures of this card are: {known}."
        where = address(grid, stood.seen.cell, label)
        error = LayoutError(grid.file, problem, hint, tab=grid.tab, cell=where)
        laid.left_open.append((_identity(stood), stood.seen.cell, label, error))
    laid.ask_open(alone=False)
    sheet = recognise_card(part_sheet(laid.grid(), plan_names(plan)), plan)
    line = tuple(dict.fromkeys(one.stood.heading for one in solved if one.stood.heading))
    guessed = dict.fromkeys(
        (one.stood.heading, _said(one, words)) for one in solved if one.cost > 1 and one.stood.heading
    )
    return replace(sheet, read_as=ReadAs(card.id, line, told=tuple(guessed)))


def _said(one: Solved, words: CardHeadings) -> str:
    return " ".join([words.figures[one.figure].name, *(value for _, value in one.places)])


def _identity(stood: Stood) -> dict[str, Cell]:
    found = {name: cell for name, cell in stood.says.items() if name in _COLUMNS}
    if stood.notes:
        text = "; ".join(dict.fromkeys(stood.notes))
        found["note"] = stood.seen.cell._replace(text=text)
    return found


_COLUMNS = frozenset("serial model day person gauge tool batch".split())


def try_freely(grid: Grid, plan: Plan) -> CardSheet | None:
    """Read a sheet freely; None where that leaves it refused too."""
    try:
        return read_freely(grid, plan)
    except SheetError:
        return None
