"""A bench's own card in place of a remedy's table, read by the reader of cards in whatever layout."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace

from qc.ingest import SheetError
from qc.ingest.cards import (
    AskedRow,
    AskedTable,
    CardQuestion,
    figure_name,
    first_line,
    is_one_table,
    read_asked,
)
from qc.ingest.cells import heading, known_field
from qc.ingest.reading import Grid, source_grids
from qc.jobs.remedies.errors import RemedyError, RemedyUsageError
from qc.jobs.remedies.sheet import RemedySheet, SheetRow, SheetSource, sheet_named
from qc.plan import Characteristic, Plan
from qc.words import listed

OD_WORDS = ("od", "outside diameter", "outer diameter", "diameter", "ø", "außendurchmesser")
ID_WORDS = ("id", "bore", "inside diameter", "inner diameter", "diameter", "ø", "innendurchmesser", "bohrung")
"""What benches write over the diameter of a loose tube; common practice, no source."""

LEG_WORDS = {"l": "left", "links": "left", "r": "right", "rechts": "right", "oben": "upper", "unten": "lower"}
"""Two cards of one slide may name its legs in two ways."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a remedy takes from a card.

    Attributes
    ----------
    question : CardQuestion
        In the words of the reader of cards.
    columns : mapping of str to str
        Name of a cell as the card's reader gives it -> column of the remedy's table.
    own : tuple of str
        Columns of the remedy's own plain table.
    needed : tuple of tuple of str
        Sets of columns one of which makes a plain table complete.
    defaults : mapping of str to str
        What an empty cell says.
    """

    question: CardQuestion
    columns: Mapping[str, str]
    own: tuple[str, ...]
    needed: tuple[tuple[str, ...], ...]
    defaults: Mapping[str, str] = field(default_factory=dict)


NOTES = Wanted(
    CardQuestion(
        "tuning",
        {"cents": "cent", "hz": "Hz"},
        words={
            **dict.fromkeys(("deviation", "dev", "abweichung", "abw"), "Cents"),
            **dict.fromkeys(("lage", "slide"), "Position"),
            **dict.fromkeys(("sitting", "sitzung"), "Cause"),
            "air": "Room C",
            "harm": "Partial",
            "part": "Partial",
        },
    ),
    {"person": "tester", "cause": "sitting"},
    (
        *("partial", "position", "valve", "cents", "hz", "note", "repeat", "tester", "sitting", "air_c"),
        *("method", "main_out_mm", "wrap_out_mm"),
    ),
    (("partial", "position", "cents"), ("partial", "position", "hz")),
    {"position": "1"},
)
"""A note set."""

RACK = {
    "od_mm": Wanted(
        CardQuestion(
            "slide",
            {"inner_od": "mm"},
            words=dict.fromkeys(OD_WORDS, "Inner OD"),
            open_place="station",
            beside=("outer_bore",),
        ),
        {"inner_od": "od_mm", "serial": "tube"},
        ("tube", "leg", "station", "direction", "surface", "od_mm"),
        (("tube", "station", "od_mm"),),
    ),
    "id_mm": Wanted(
        CardQuestion(
            "slide",
            {"outer_bore": "mm"},
            words=dict.fromkeys(ID_WORDS, "Outer bore"),
            open_place="station",
            beside=("inner_od",),
        ),
        {"outer_bore": "id_mm", "serial": "tube"},
        ("tube", "leg", "station", "direction", "surface", "id_mm"),
        (("tube", "station", "id_mm"),),
    ),
}
"""The tubes of one side of a rack, by the column of their diameter."""

COAT = Wanted(
    CardQuestion(
        "lacquer",
        {"thickness": "um", "r1": "um", "r2": "um", "r3": "um", "base": "um"},
        words={
            **dict.fromkeys(("um", "µm", "dicke", "schichtdicke", "film"), "Thickness"),
            "base um": "Base",
        },
        open_place="area",
    ),
    {"thickness": "um", "base": "base_um"},
    ("area", "spot", "um", "base_um", "serial"),
    (("area", "spot", "um"),),
)
"""The spots of a lacquer card."""


def wear_wanted(value: str, against: str, tool: str | None, plan: Plan | None = None) -> Wanted:
    """Return what a drawing card has to hold, in the words of the command and of the plan."""
    named = [name for name in (against, tool) if name]
    columns = {known_field(name): name for name in named if known_field(name)}
    one = figure_of_plan(plan, value) if plan is not None else None
    unit = one.unit if one is not None else ""
    words = {} if one is None else {figure_name(one.name): figure_name(value), one.id: figure_name(value)}
    return Wanted(
        CardQuestion("bench", {value: unit}, labels=tuple(named), words=words),
        columns,
        (value, *named),
        ((value, *named),),
    )


def figure_of_plan(plan: Plan, name: str) -> Characteristic | None:
    """Return the plan's characteristic that a command means by its id or its name, case left aside."""
    every = [c for stage in plan.stages for c in stage.characteristics]
    exact = [c for c in every if name.casefold() in (c.id.casefold(), c.name.casefold())]
    near = [c for c in every if same_figure(name, c.id) or same_figure(name, c.name)]
    return next(iter(exact or near), None)


def asked_sheet(
    source: SheetSource, wanted: Wanted, *, name: str = "table", plan: Plan | None = None
) -> RemedySheet:
    """Read what a remedy asks for from its plain table or from a card.

    Parameters
    ----------
    source : path, polars DataFrame, pandas DataFrame or RemedySheet
        The plain table of the remedy, or a card as a bench writes it; a sheet is given back as it is.
    wanted : Wanted
        What is asked for.
    name : str
        What a frame is called in messages.
    plan : Plan, optional
        The workshop's plan, whose words the card may use.

    Raises
    ------
    RemedyUsageError
        No such file, or one of a kind that is not read.
    RemedyError
        It is neither; with the headings that are allowed.
    """
    if isinstance(source, RemedySheet):
        return source
    sheet, fault = None, None
    try:
        sheet = sheet_named(name, source)
    except RemedyUsageError:
        raise
    except RemedyError as error:
        fault = error
    if sheet is not None and _is_plain(sheet, wanted):
        return sheet
    try:
        grids = source_grids(source, name)
    except SheetError as error:
        if sheet is not None:
            return sheet
        raise fault or RemedyError(_sentence(error)) from error
    try:
        return _laid_out(read_asked(grids, wanted.question, plan), grids, wanted)
    except SheetError as error:
        # a table as the remedy has it keeps the remedy's own words for what is wrong with it
        if sheet is not None and (_complete(sheet.columns, wanted) or is_one_table(grids)):
            return sheet
        if fault is not None and (
            not grids or _complete([text.casefold() for text in first_line(grids)], wanted)
        ):
            raise fault from None
        raise RemedyError(_sentence(error)) from error


def pieces_of(sheet: RemedySheet, column: str) -> list[str]:
    """Return the pieces a sheet names, in order."""
    return list(dict.fromkeys(text for row in sheet.rows if (text := sheet.text(row, column))))


def _laid_out(table: AskedTable, grids: list[Grid], wanted: Wanted) -> RemedySheet:
    rows = [row for asked in table.rows for row in _rows(asked, wanted)]
    if "sitting" in wanted.own and len({row.cells.get("day", "") for row in rows}) > 1:
        # notes blown on different days are different sittings; one day says no more than a table without it
        rows = [replace(row, cells={"sitting": row.cells.get("day", ""), **row.cells}) for row in rows]
    columns = tuple(dict.fromkeys(name for row in rows for name in row.cells))
    taken = []
    head = [f"{name.replace('_', ' ')} {text} ({cell})" for name, (text, cell) in table.said.items()]
    if head:
        taken.append(f"From the head of {table.file}: {', '.join(head)}")
    if table.unread:
        taken.append(f"Columns of {table.file} that were not read: {listed(list(table.unread))}")
    if table.empty:
        taken.append(f"{table.empty} row{'s' * (table.empty > 1)} of {table.file} without a figure left out")
    workbook = bool(grids) and grids[0].kind == "xlsx"
    return RemedySheet(table.file, columns, tuple(rows), workbook, tuple(taken), carded=True)


def _rows(asked: AskedRow, wanted: Wanted) -> list[SheetRow]:
    """Give one row, or one for each reading of a spot that was read several times."""
    cells: dict[str, str] = {}
    at: dict[str, str] = {}
    several: list[str] = []
    for name, text in asked.cells.items():
        if name in {"r1", "r2", "r3"} and "um" in wanted.own:
            several.append(name)
            continue
        column = wanted.columns.get(name, name)
        cells[column], at[column] = (
            LEG_WORDS.get(text.casefold(), text) if name == "leg" else text,
            asked.at[name],
        )
    for name, text in wanted.defaults.items():
        cells.setdefault(name, text)
    row = SheetRow(asked.line, cells, at)
    if not several or "um" in cells:
        return [row]
    return [
        replace(row, cells={**cells, "um": asked.cells[name]}, at={**at, "um": asked.at[name]})
        for name in several
    ]


def _is_plain(sheet: RemedySheet, wanted: Wanted) -> bool:
    """Tell whether a sheet is the remedy's own table, with no column that a card's reader knows better."""
    read = {"person": "tester", "day": "sitting"}
    better = [
        name
        for name in sheet.columns
        if name and name not in wanted.own and read.get(known_field(name), "-") in wanted.own
    ]
    return _complete(sheet.columns, wanted) and not better


def _complete(columns: Collection[str], wanted: Wanted) -> bool:
    return any(set(needed) <= set(columns) for needed in wanted.needed)


def _sentence(error: SheetError) -> str:
    place = ", ".join(part for part in (error.file, error.tab and f"tab {error.tab}", error.cell) if part)
    return f"{place}: {error.problem}. {error.hint}"


def same_figure(asked: str, name: str) -> bool:
    """Tell whether the command and a plan mean the same figure, unit and case left aside."""
    return figure_name(asked) == figure_name(name) or heading(asked).name == heading(name).name
