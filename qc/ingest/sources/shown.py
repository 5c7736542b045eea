"""A sheet whose layout was shown, unfolded by it: what is not pointed at is not read, nothing is guessed."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from qc.ingest.cards import (
    CardMapping,
    CardSheet,
    Column,
    HeadingsUnknown,
    Mappings,
    Parts,
    ReadAs,
    card_names,
    plan_units,
)
from qc.ingest.cells import heading, plain, read_decimal
from qc.ingest.errors import NothingFilledIn, SheetError
from qc.ingest.layouts import (
    LaidRow,
    LaidTable,
    SheetLayout,
    differing,
    figure_named,
    lay_out,
    nearest,
    not_taken,
)
from qc.ingest.reading import Grid, column_letters
from qc.ingest.unfolded import Rows, UnfoldedReading
from qc.plan import Card, Characteristic, Plan, figures_written
from qc.words import command_words

Unfold = Callable[[CardSheet, Plan], Rows]

FROM_LAYOUT = "kept beside the plan"
"""Where a remembered layout stands, as a refusal names it."""

HOW_TO_SHOW = "show-a-card-once"
"""The how-to page that says how a layout is shown."""

_HEAD = 12
"""A sheet names its card within so many lines; chosen."""


@dataclass(frozen=True, slots=True)
class ReadThrough:
    """The layout a sheet was read through, and the cells with figures that it does not take."""

    layout: SheetLayout
    left: tuple[str, ...] = ()


def layout_of(grid: Grid, mappings: Mappings) -> SheetLayout | None:
    """Return the layout that a sheet is of, None where none was shown for it.

    Raises
    ------
    SheetError
        A layout was handed in with the sheet, and a fixed cell of the sheet is not as it was; the cell is
        named.
    """
    for known in (mappings.given_layouts, mappings.layouts):
        fits = [one for one in known if not differing(one, grid)]
        if fits:
            return max(fits, key=lambda one: len(one.fixed))
    if mappings.given_layouts and not mappings.given:
        best = min(mappings.given_layouts, key=lambda one: len(differing(one, grid)))
        raise _changed(best, grid)
    return None


def refuse_changed(grid: Grid, mappings: Mappings, refusal: SheetError) -> SheetError:
    """Return the refusal of a sheet, as a change of a known layout where the sheet is like one."""
    like = nearest(mappings.layouts, grid)
    return _changed(like, grid) if like is not None else refusal


def with_way_on(grid: Grid, plan: Plan, refusal: SheetError) -> SheetError:
    """Return the refusal of a sheet with the way on that any card has: it can be shown once.

    Not of a sheet on which nothing is filled in, nor of a list of events, which no layout can say.
    """
    card = refusal.question.card if isinstance(refusal, HeadingsUnknown) else ""
    if isinstance(refusal, NothingFilledIn):
        if not any(read_decimal(text) is not None for row in grid.rows for text in row):
            return refusal
        # a figure stands somewhere: the headings were sought in the wrong line
        refusal = SheetError(grid.file, refusal.problem, refusal.hint, tab=refusal.tab, cell=refusal.cell)
    if _is_of_events(grid, plan, card):
        return refusal
    once = command_words("upload", grid.file, "--mapping", "FILE")
    return refusal.leading_on(f"Or show the card once, cell by cell: {once} (how-to {HOW_TO_SHOW}).")


def _is_of_events(grid: Grid, plan: Plan, card: str) -> bool:
    lists = [one for one in plan.cards if one.event]
    names = {plain(name) for one in lists for name in (one.id, one.title)}
    said = {plain(text) for row in grid.rows[:_HEAD] for text in row} | {plain(grid.tab)}
    return card in {one.id for one in lists} or bool(names & said)


def unfold_shown(
    grid: Grid, layout: SheetLayout, plan: Plan, sources: Callable[[str], Unfold]
) -> tuple[list[UnfoldedReading], ReadThrough]:
    """Unfold a sheet through its layout.

    Parameters
    ----------
    grid : Grid
        The sheet as read; its fixed cells are as they were.
    layout : SheetLayout
        What stands where.
    plan : Plan
        The measuring plan.
    sources : callable
        The adaptor of a card's source.

    Returns
    -------
    tuple of (list, ReadThrough)
        A reading for each figure that the layout points at, and with what it was read.

    Raises
    ------
    SheetError
        The plan has no such card or figure, a unit does not fit, or nothing stands where figures should.
    """
    readings: list[UnfoldedReading] = []
    for table in layout.tables:
        card = next((one for one in plan.cards if one.id == table.card), None)
        if card is None:
            hint = f"Name a card of the plan in the layout {layout.name}, {FROM_LAYOUT}."
            raise SheetError(grid.file, f"the plan has no card {table.card}", hint, tab=grid.tab)
        for sheet, labels in _sheets(grid, layout, table, card, plan):
            found, _ = sources(card.source)(sheet, plan)
            for one, label in zip(found, labels, strict=True):
                one["column"] = label
            readings += found
    if not readings:
        hint = f"Hand it in when it is filled in, or mend the layout {layout.name}."
        raise SheetError(grid.file, "no figure stands where its layout has them", hint, tab=grid.tab)
    return readings, ReadThrough(layout, not_taken(grid, layout))


def _changed(layout: SheetLayout, grid: Grid) -> SheetError:
    cell, wanted, typed = differing(layout, grid)[0]
    said = f"says {typed}" if typed else "is empty"
    problem = f"it is not as the layout {layout.name} was shown: the cell {said}, and then it said {wanted}"
    again = command_words("upload", grid.file, "--mapping", "FILE")
    hint = f"If the form has changed, show its layout anew: {again}"
    return SheetError(grid.file, problem, f"{hint}.", tab=grid.tab, cell=cell)


def _sheets(
    grid: Grid, layout: SheetLayout, table: LaidTable, card: Card, plan: Plan
) -> Iterator[tuple[CardSheet, list[str]]]:
    """Give a plain card for each figure and unit of a table, with the column that each cell stands in."""
    groups: dict[tuple[str, str], list[LaidRow]] = {}
    figures: dict[str, Characteristic] = {}
    for row in lay_out(grid, layout, table):
        figure = figure_named(row.what, card, plan)
        if figure is None:
            _, line, column = row.figure
            names = ", ".join(c.name for c in figures_written(plan, card))
            problem = f"{card.title} has no figure {row.what or 'without a name'}"
            cell = f"{column_letters(column)}{line}"
            raise SheetError(grid.file, problem, f"Its figures are: {names}.", tab=grid.tab, cell=cell)
        figures[figure.id] = figure
        groups.setdefault((figure.id, row.unit), []).append(row)
    fields = card_names(card, plan)
    for (name, unit), rows in groups.items():
        label = f"{figures[name].name} [{unit}]" if unit else figures[name].name
        read = heading(label, fields, plan_units(plan))
        read = replace(read, field=fields.get(plain(figures[name].name), read.field))
        if read.stray_unit:
            problem = f"the layout {layout.name} names an unknown unit {unit}"
            raise SheetError(grid.file, problem, f"Write {figures[name].unit}.", tab=grid.tab)
        yield _sheet(grid, layout, card, label, Column(0, label, read), rows)


def _sheet(
    grid: Grid, layout: SheetLayout, card: Card, label: str, figure: Column, rows: Sequence[LaidRow]
) -> tuple[CardSheet, list[str]]:
    """Return figures of one kind as a plain card: a figure a row, each cell with where it was typed."""
    fields = list(dict.fromkeys(field for row in rows for field in row.facts))
    columns = {figure.heading.field: figure}
    for number, field in enumerate(fields, start=1):
        columns[field] = Column(number, field, replace(heading(field), field=field))
    texts = [(label, *fields)]
    lines, origins = [0], [tuple((0, number, "") for number in range(len(fields) + 1))]
    for row in rows:
        cells = [row.figure, *(row.facts.get(field, ("", *row.figure[1:])) for field in fields)]
        texts.append(tuple(text for text, _, _ in cells))
        lines.append(row.figure[1])
        origins.append(tuple((line, column, _column_name(column)) for _, line, column in cells))
    plain_grid = replace(
        grid, rows=tuple(texts), lines=tuple(lines), widths=(), boxes=(), origins=tuple(origins)
    )
    parts = Parts(plain_grid, (), "", tuple(columns.values()), 0, tuple(range(1, len(texts))))
    read_as = ReadAs(card.id, (), CardMapping(card.id, dates=layout.dates))
    sheet = CardSheet(parts, card, {}, (), columns, read_as, decimal=layout.decimal)
    # several figures of one cell are told apart, since a row is known by its line and column
    return sheet, [column_letters(r.figure[2]) + (f" ({r.part})" if r.part else "") for r in rows]


def _column_name(column: int) -> str:
    return f"column {column_letters(column)}"
