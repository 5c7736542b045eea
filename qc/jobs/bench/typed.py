"""What was typed at the bench, laid out as the card it fills: a sheet like any other, kept byte for byte."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from qc.ingest import Grid
from qc.jobs.bench.asked import BenchCard
from qc.jobs.errors import JobError
from qc.store import sheet_hash

SEPARATOR: Final = ";"  # a decimal comma that was typed then needs no quotation marks
LEFT_OUT: Final = "Left out by choice"
"""Label of the head under which it stands what was not measured, in words; it becomes a remark."""

TYPED_AS: Final = "Typed at the bench"
"""Label of the head under which the id stands that the tablet gave it, so that no two sheets are alike."""

ENTRY: Final = re.compile(r"[0-9a-f]{32}")
MOST_NAMED: Final = 8  # chosen: so many places are named one by one; more are counted
MOST_TEXT: Final = 300  # characters of a box; chosen: a remark, not a report
MOST_FIGURE: Final = 40  # characters of a figure

CardRows = tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class TypedCard:
    """What a tablet sends.

    Attributes
    ----------
    entry : str
        Id that the tablet gave it: 32 hexadecimal digits.
    card : str
        Id of the card.
    boxes : mapping of str to str
        Label of a box -> what was typed.
    figures : mapping of int to str
        Number of a field -> what was typed, where anything was.
    left_out : tuple of int
        Fields that were left out by choice.
    sure : frozenset of (int, str)
        Doubts that were answered with "it is really so": number of the field, name of the reason. Field -1
        stands for every field.
    """

    entry: str
    card: str
    boxes: Mapping[str, str]
    figures: Mapping[int, str]
    left_out: tuple[int, ...] = ()
    sure: frozenset[tuple[int, str]] = field(default_factory=frozenset)


def card_rows(card: BenchCard, typed: TypedCard) -> CardRows:
    """Lay what was typed out as the card: boxes of the head, a blank row, headings, rows.

    Parameters
    ----------
    card : BenchCard
        As it was asked.
    typed : TypedCard
        What was typed.

    Returns
    -------
    tuple of tuple of str
        Every cell as typed, on one line each.
    """
    cells = {
        (one.row, one.column): one_line(typed.figures.get(one.number, ""), MOST_FIGURE) for one in card.fields
    }
    blank = card.blank
    if blank.lines:
        boxes = _boxes(typed)
        lines = [tuple(boxes.get(name, "") for name in blank.headings)]
    else:
        lines = [tuple(cell or "" for cell in line) for line in blank.rows]
    body = [
        tuple(cells.get((row, column)) or cell for column, cell in enumerate(line))
        for row, line in enumerate(lines)
    ]
    return (*_head(card, typed), (), blank.headings, *body)


def _head(card: BenchCard, typed: TypedCard) -> list[tuple[str, str]]:
    boxes = _boxes(typed)
    head = [(box.label, boxes.get(box.label, "") or box.value) for box in card.blank.head]
    left_out = "" if card.event else left_out_words(card, typed.left_out)
    return [*head, *([(LEFT_OUT, left_out)] if left_out else []), (TYPED_AS, typed.entry)]


def _boxes(typed: TypedCard) -> dict[str, str]:
    return {label: one_line(text, MOST_TEXT) for label, text in typed.boxes.items()}


def row_of(card: BenchCard, line: int, typed: TypedCard) -> int:
    """Return the row of the blank card that stands on a line of the sheet (from 1)."""
    return line - len(_head(card, typed)) - 3


def card_bytes(rows: CardRows) -> bytes:
    """Return the rows of a card as a csv file."""
    out = io.StringIO()
    csv.writer(out, delimiter=SEPARATOR, lineterminator="\n").writerows(rows)
    return out.getvalue().encode("utf-8")


def read_back(data: bytes) -> dict[str, str]:
    """Return what stands under each label of the head, or heading of the one row, of such a file."""
    rows = list(csv.reader(io.StringIO(data.decode("utf-8")), delimiter=SEPARATOR))
    parted = rows.index([])
    head = {row[0]: row[1] for row in rows[:parted]}
    return {**dict(zip(*rows[parted + 1 : parted + 3], strict=False)), **head}


def card_grid(rows: CardRows, file: str) -> Grid:
    """Return the same file as the reader of sheets would give it, without a process that reads it."""
    trimmed = []
    for row in rows:
        cells = list(row)
        while cells and not cells[-1]:
            cells.pop()
        trimmed.append(tuple(cells))
    widths = tuple(len(row) for row in rows)
    lines = tuple(range(1, len(rows) + 1))
    return Grid(file, "", "csv", sheet_hash(card_bytes(rows)), tuple(trimmed), lines, SEPARATOR, widths)


def file_name(card: BenchCard, typed: TypedCard) -> str:
    """Name the sheet by what a person would look for: card, piece, day."""
    day = next((typed.boxes.get(name, "") for name in ("Date", "Shipped", "Returned")), "")
    parts = (card.title, typed.boxes.get("Serial", ""), day)
    name = one_line(" ".join(part for part in parts if part.strip()), 120)
    return "".join(c if c.isalnum() or c in " ._-" else "-" for c in name) + ", bench.csv"


def left_out_words(card: BenchCard, numbers: Sequence[int]) -> str:
    """Say what was left out by choice; many places of one figure are counted.

    Parameters
    ----------
    card : BenchCard
        As it was asked.
    numbers : sequence of int
        Fields that were left out.
    """
    by_figure: dict[str, list[str]] = {}
    for one in card.fields:
        if one.number in numbers:
            by_figure.setdefault(one.figure, []).append(one.place)
    said = []
    for figure, places in by_figure.items():
        named = [place for place in places if place]
        if len(named) > MOST_NAMED:
            said.append(f"{figure} at {len(named)} places")
        else:
            said.append(f"{figure} ({'; '.join(named)})" if named else figure)
    return ", ".join(said).replace(";", " /")


def faults_of(card: BenchCard, typed: TypedCard) -> list[str]:
    """Return what is missing before anything can be kept, a sentence each."""
    found = [
        f"{box.label} is empty. Type it above, then hand the card in."
        for box in card.boxes
        if box.needed and box.label != "Model" and not typed.boxes.get(box.label, "").strip()
    ]
    if card.fields and not any(text.strip() for text in typed.figures.values()):
        found.append("There is no figure on this card yet. Type at least one, or leave it for another day.")
    return found


def read_typed(sent: object) -> TypedCard:
    """Read what a tablet sent.

    Parameters
    ----------
    sent : object
        Plain values: ``entry``, ``card``, ``boxes``, ``figures``, ``left_out``, ``sure``.

    Raises
    ------
    JobError
        It is no such thing; a page that is older than the board may send it.
    """
    try:
        assert isinstance(sent, Mapping) and ENTRY.fullmatch(str(sent["entry"]))
        boxes = {str(label): str(text) for label, text in dict(sent["boxes"]).items()}
        figures = {int(number): str(text) for number, text in dict(sent["figures"]).items()}
        left_out = tuple(sorted(int(number) for number in sent["left_out"]))
        sure = frozenset((int(number), str(reason)) for number, reason in sent["sure"])
        return TypedCard(str(sent["entry"]), str(sent["card"]), boxes, figures, left_out, sure)
    except (AssertionError, KeyError, TypeError, ValueError, AttributeError, OverflowError) as error:
        raise JobError(
            "What this page sent cannot be read. Load it again; what was typed is kept on this tablet."
        ) from error


def one_line(text: str, most: int) -> str:
    r"""Return a text on one line, without what cannot be shown, at most so long.

    Examples
    --------
    >>> one_line(" 13,\t9\n", 40)
    '13, 9'
    """
    return "".join(c for c in " ".join(text.split()) if c.isprintable())[:most]
