"""What the cells of a sheet most likely are, for a person who shows its layout; an answer as a layout."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Literal

from qc.ingest.cards import CardHeadings, Cell, HeadReader, SheetWords
from qc.ingest.cells import is_worked_out_heading, known_field, plain, possible_days, read_decimal
from qc.ingest.layouts import LaidTable, Pieces, Pointed, SheetLayout, ShownFigure
from qc.ingest.reading import Grid, column_letters
from qc.ingest.sources.by_values import figures_by_values
from qc.ingest.sources.which_card import words_of_cards
from qc.plan import Card, Plan, figures_written

Are = Literal["rows", "columns"]

POINTED = ("serial", "model", "date", "person", "gauge", "tool", "batch", "note")
"""Facts that a column of the pieces, or a cell of the head, may hold."""

SPOKEN = {"day": "date"}
"""Our name of a fact -> what a layout calls it, where the two differ."""

MOST_PLACES = 40
"""Places of one figure in a list of choices; chosen: from more nobody chooses. Such a sheet takes a file."""

MOST_FIXED = 6
ABOVE = 3  # so many lines up a heading is looked for; chosen
SAMPLE = 8  # pieces that are looked at; chosen
MOST_LINES = 90
"""Columns (or rows) of the pieces that are offered; chosen: no bench's card has so many."""


@dataclass(frozen=True, slots=True)
class PointedLine:
    """One column of the pieces (or row, where pieces are columns): what stands there.

    Attributes
    ----------
    at : int
        The column, from 0; the line of the file where pieces are columns.
    name, heading : str
        As it is called, ``C`` or ``6``; what is written over or beside it.
    texts : tuple of str
        What stands there of the first pieces.
    meaning, unit : str
        A choice of `choices_of`, empty where it is left out; the unit of a figure where it is not the plan's.
    by_values : bool
        It is proposed by the values alone: no heading says so.
    """

    at: int
    name: str
    heading: str
    texts: tuple[str, ...]
    meaning: str = ""
    unit: str = ""
    by_values: bool = False


@dataclass(frozen=True, slots=True)
class Pointing:
    """What stands where on a sheet: how its pieces follow each other, each of their lines, facts of the head.

    Attributes
    ----------
    card : str
        Id of the card.
    are : {"rows", "columns"}
        What each piece is.
    first : int
        Line of the file of the first piece; its column from 0 where pieces are columns.
    lines : tuple of PointedLine
        What each line of the pieces holds.
    said : tuple of (str, str)
        Fact -> address of the cell of the head that says it.
    """

    card: str
    are: Are
    first: int
    lines: tuple[PointedLine, ...] = ()
    said: tuple[tuple[str, str], ...] = ()


def choices_of(card: Card, plan: Plan) -> dict[str, str]:
    """Return what may be pointed at on a card: the value of each choice and how it reads.

    A figure with places is a choice for each of them; one with more than `MOST_PLACES` is left out.
    """
    found = {fact: fact.capitalize() for fact in POINTED}
    for figure in figures_written(plan, card):
        kinds = list(figure.places)
        across = list(product(*(figure.places[kind] for kind in kinds)))
        if len(across) > MOST_PLACES:
            continue
        for values in across:
            places = "".join(f"|{kind}={value}" for kind, value in zip(kinds, values, strict=True))
            found[f"{figure.id}{places}"] = ", ".join([figure.name, *map(str, values)])
    return found


def propose_pointing(
    grid: Grid, plan: Plan, card: str = "", are: str = "", first: int | None = None
) -> Pointing:
    """Propose what stands where; what is given was chosen by a person.

    Parameters
    ----------
    grid : Grid
        The sheet as read.
    plan : Plan
        The measuring plan.
    card, are : str
        Id of the card and how pieces follow each other; empty where that is to be proposed.
    first : int, optional
        Line or column of the first piece.

    Returns
    -------
    Pointing
        Lines that tell nothing are left out.
    """
    words = SheetWords(plan)
    likely, begins = _pieces_of(grid, words)
    way: Are = "columns" if (are or likely) == "columns" else "rows"
    usual = begins if way == likely else (grid.lines[0] if way == "rows" else 1)
    begin = usual if first is None else first
    cards = [one for one in plan.cards if one.event is None and one.id == (card or one.id)]
    tried = [_lines(grid, plan, words, one, way, begin) for one in cards]
    told = words_of_cards(grid, plan, cards)
    titles = {plain(text) for row in grid.rows for text in row}
    likely_cards = [_likeliness(one, lines, told, titles) for one, lines in zip(cards, tried, strict=True)]
    best = likely_cards.index(max(likely_cards))
    taken = {one.meaning for one in tried[best]}
    heads = _of_head(grid, way, begin, tried[best])
    said = tuple((fact, cell) for fact, cell in _said(plan, heads).items() if fact not in taken)
    return Pointing(cards[best].id, way, begin, tuple(tried[best]), said)


def layout_of_pointing(grid: Grid, plan: Plan, name: str, pointing: Pointing) -> SheetLayout:
    """Return the layout that an answer says.

    Parameters
    ----------
    grid : Grid
        The sheet as read.
    plan : Plan
        The measuring plan.
    name : str
        What the layout is called.
    pointing : Pointing
        What a person said.

    Returns
    -------
    SheetLayout
        As it is written below ``layouts:``; its faults are found where that text is read.
    """
    names = {figure.id: figure.name for stage in plan.stages for figure in stage.characteristics}
    facts: list[tuple[str, Pointed]] = [(fact, _cell_of(cell)) for fact, cell in pointing.said if cell]
    figures = []
    for one in pointing.lines:
        line, column = (pointing.first, one.at) if pointing.are == "rows" else (one.at, pointing.first)
        if one.meaning in POINTED:
            facts.append((one.meaning, Pointed("cell", line=line, column=column)))
        elif one.meaning:
            figure, *places = one.meaning.split("|")
            spots = tuple(
                (kind, Pointed("word", value)) for kind, _, value in (p.partition("=") for p in places)
            )
            unit = Pointed("word", one.unit) if one.unit else None
            what = Pointed("word", names.get(figure, figure))
            figures.append(ShownFigure((line, column, line, column), what, unit, spots))
    table = LaidTable(
        pointing.card,
        Pieces(pointing.are, pointing.first),
        tuple(dict(facts).items()),
        tuple(figures),
        _no_pieces(grid, pointing),
    )
    bare = [text for one in pointing.lines if one.meaning == "serial" for text in one.texts]
    # a bench that leaves the letters out: each serial is completed by the plan's own
    prefix = plan.workshop.serial_prefix if bare and all(text.isdigit() for text in bare) else ""
    return SheetLayout(name, _fixed(grid, plan, pointing), (table,), serials=prefix)


def head_cells(grid: Grid, pointing: Pointing) -> dict[str, str]:
    """Return the cells that can say something of all pieces: address -> text."""
    found = _of_head(grid, pointing.are, pointing.first, pointing.lines)
    return {f"{column_letters(column)}{line}": text for line, column, text in found}


def _pieces_of(grid: Grid, words: SheetWords) -> tuple[Are, int]:
    """Return how pieces most likely follow each other, and where the first stands."""
    serials = [
        (row, column)
        for row, cells in enumerate(grid.rows)
        for column, text in enumerate(cells)
        if text.strip() and words.is_serial(text)
    ]
    if serials:
        across = Counter(row for row, _ in serials).most_common(1)[0]
        down = Counter(column for _, column in serials).most_common(1)[0]
        if across[1] > down[1]:
            return "columns", min(column for row, column in serials if row == across[0])
        return "rows", grid.lines[min(row for row, column in serials if column == down[0])]
    figures = [
        sum(read_decimal(text.strip()) is not None for text in row if text.strip()) for row in grid.rows
    ]
    row = next((n for n, count in enumerate(figures) if count >= 2), 0)
    return "rows", grid.lines[row] if grid.lines else 1


def _cells_of(grid: Grid, are: Are, at: int, begin: int) -> tuple[str, list[str]]:
    """Return what is written over (or beside) a line of the pieces, and the texts of the pieces."""
    if are == "rows":
        rows = [n for n, line in enumerate(grid.lines) if line >= begin]
        over = [
            grid.text(n, at).strip() for n, line in enumerate(grid.lines) if begin - ABOVE <= line < begin
        ]
        return next((text for text in reversed(over) if text), ""), [grid.text(n, at).strip() for n in rows]
    row = grid.lines.index(at)
    beside = [grid.text(row, column).strip() for column in range(begin)]
    across = [grid.text(row, column).strip() for column in range(begin, len(grid.rows[row]))]
    return next((text for text in beside if text), ""), across


def _lines(grid: Grid, plan: Plan, words: SheetWords, card: Card, are: Are, begin: int) -> list[PointedLine]:
    """Propose a meaning for each row or column that has cells, none twice, so that a person only mends it."""
    right = max((len(row) for row in grid.rows), default=0)
    spots = list(range(right)) if are == "rows" else list(grid.lines)
    allowed, headings = choices_of(card, plan), CardHeadings(card, plan)
    kinds = _kinds(plan, words)
    used: set[str] = set()
    found: list[PointedLine] = []
    for at in spots:
        if len(found) == MOST_LINES:
            break
        over, texts = _cells_of(grid, are, at, begin)
        filled = [text for text in texts if text][:SAMPLE]
        if not filled:
            continue
        meaning, unit = _meant(over, filled, kinds, headings, allowed)
        if meaning in used:
            meaning, unit = "", ""
        used |= {meaning} - {""}
        name = column_letters(at) if are == "rows" else str(at)
        found.append(PointedLine(at, name, over, tuple(filled), meaning, unit))
    return _by_values(found, card, plan)


def _by_values(lines: Sequence[PointedLine], card: Card, plan: Plan) -> list[PointedLine]:
    """Propose for lines that no heading tells what their values tell."""
    taken = {n: one.meaning for n, one in enumerate(lines) if one.meaning}
    choices = [one for one in choices_of(card, plan) if one not in POINTED]
    told = figures_by_values([one.texts for one in lines], taken, card, plan, choices)
    return [
        replace(one, meaning=told[n], by_values=True) if n in told else one for n, one in enumerate(lines)
    ]


def _likeliness(
    card: Card, lines: Sequence[PointedLine], words: Mapping[str, float], titles: Collection[str]
) -> tuple[bool, float, int]:
    """Return how well a sheet fits a card: by its title, by its headings and words, then by its values."""
    figures = [one for one in lines if one.meaning not in {"", *POINTED}]
    by_heading = sum(not one.by_values for one in figures)
    return plain(card.title) in titles, by_heading + words.get(card.id, 0.0), len(figures)


def _kinds(plan: Plan, words: SheetWords) -> Mapping[str, Callable[[str], bool]]:
    named = {
        "person": {one.code for one in plan.people},
        "gauge": {one.id for one in plan.gauges},
        "tool": {one.id for one in plan.tools},
    }
    models = {plain(name) for one in plan.models for name in (one.id, one.name)}
    days = {"date": lambda text: read_decimal(text) is None and bool(possible_days(text))}
    return {
        "serial": words.is_serial,
        **days,
        "model": lambda text: plain(text) in models,
        **{kind: own.__contains__ for kind, own in named.items()},
    }


def _meant(
    over: str,
    texts: Sequence[str],
    kinds: Mapping[str, Callable[[str], bool]],
    headings: CardHeadings,
    allowed: Mapping[str, str],
) -> tuple[str, str]:
    """Return the choice that a line most likely is, and its unit; empty where nobody can tell."""
    for kind, is_one in kinds.items():
        if 2 * sum(map(is_one, texts)) > len(texts):
            return kind, ""
    field = known_field(over)
    if field in POINTED and (field not in kinds or (field == "serial" and all(map(_has_digit, texts)))):
        return field, ""
    read = headings.read(over) if over and not is_worked_out_heading(over) else None
    if read is None or not read.figure or 2 * sum(read_decimal(t) is not None for t in texts) < len(texts):
        return "", ""
    figure = headings.figures.get(read.field)
    places = dict(read.places)
    if figure is None:
        return "", ""
    choice = figure.id + "".join(f"|{kind}={places.get(kind, '')}" for kind in figure.places)
    return (choice, read.unit if read.unit != figure.unit else "") if choice in allowed else ("", "")


def _has_digit(text: str) -> bool:
    return any(sign.isdigit() for sign in text)


def _outside(grid: Grid, are: Are, begin: int) -> list[tuple[int, int, str]]:
    return [
        (line, column, text.strip())
        for line, cells in zip(grid.lines, grid.rows, strict=True)
        for column, text in enumerate(cells)
        if text.strip() and (line if are == "rows" else column) < begin
    ]


def _of_head(grid: Grid, are: Are, begin: int, lines: Sequence[PointedLine]) -> list[tuple[int, int, str]]:
    """Return the cells outside the pieces; where pieces are columns, those of the lines above them too."""
    found = _outside(grid, are, begin)
    told = [one.at for one in lines if one.meaning]
    if are == "columns" and told:
        # a cell in the column of the first piece moves on with the pieces, one further right stays
        rows = zip(grid.lines, grid.rows, strict=True)
        found += [
            (line, column, text.strip())
            for line, cells in rows
            for column, text in enumerate(cells)
            if line < min(told) and column > begin and text.strip()
        ]
    return sorted(found)


def _said(plan: Plan, heads: Sequence[tuple[int, int, str]]) -> dict[str, str]:
    """Return the cells of the head that say a fact of all pieces, where the whole cell is the fact."""
    reader = HeadReader(plan)
    found: dict[str, str] = {}
    rows: dict[int, list[Cell]] = {}
    for line, column, text in heads:
        rows.setdefault(line, []).append(Cell(text, line, column))
    for cells in rows.values():
        for one in reader.read(cells):
            fact = SPOKEN.get(one.known, one.known)
            if fact in POINTED and one.text == one.cell.text:
                found.setdefault(fact, f"{column_letters(one.cell.column)}{one.cell.line}")
    return found


def _fixed(grid: Grid, plan: Plan, pointing: Pointing) -> tuple[tuple[tuple[int, int], str], ...]:
    """Return cells that are most likely the same on every such sheet: words outside the pieces."""
    kinds = _kinds(plan, SheetWords(plan))
    said = {cell for _, cell in pointing.said}
    found = [
        ((line, column), text)
        for line, column, text in _outside(grid, pointing.are, pointing.first)
        if f"{column_letters(column)}{line}" not in said
        and any(sign.isalpha() for sign in text)
        and not any(is_one(text) for is_one in kinds.values())
    ]
    # headings are surer than a title with something written behind it
    found.sort(key=lambda one: (any(sign.isdigit() for sign in one[1]), one[0]))
    return tuple(sorted(found[:MOST_FIXED]))


def _no_pieces(grid: Grid, pointing: Pointing) -> tuple[str, ...]:
    """Return the words by which rows (or columns) among the pieces are none: means, sums, remarks.

    A word without any digit where serials stand is none; a serial that was slipped keeps its digits.
    """
    serials = {one.at for one in pointing.lines if one.meaning == "serial"}
    found: list[str] = []
    for line, cells in zip(grid.lines, grid.rows, strict=True):
        for column, text in enumerate(map(str.strip, cells)):
            along, across = (line, column) if pointing.are == "rows" else (column, line)
            if not text or along < pointing.first:
                continue
            if is_worked_out_heading(text) or (across in serials and not _has_digit(text)):
                found.append(text)
    return tuple(dict.fromkeys(found))


def _cell_of(address: str) -> Pointed:
    letters = address.rstrip("0123456789")
    column = 0
    for sign in letters:
        column = 26 * column + ord(sign) - 64
    return Pointed("cell", line=int(address[len(letters) :]), column=column - 1)
