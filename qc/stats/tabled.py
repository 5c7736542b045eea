"""Results as tables: a frame to go on computing with, and a plain table where a notebook shows a result."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import Field, fields
from html import escape
from typing import TYPE_CHECKING, Any, ClassVar

from qc.plain import JsonObject

if TYPE_CHECKING:
    import polars as pl

FIGURES = ("figure", "value")  # heads of a single row turned on its side
SHOWN_ROWS = 60  # a notebook shows no more; the frame holds them all


class Tabled:
    """A result, a dataclass, that is also had as plain values, as text, as a frame and as a notebook's table.

    Attributes
    ----------
    ROWS : str
        Which list of `to_dict()` gives the rows; empty where the whole result is one row.

    Examples
    --------
    >>> from qc.stats import factors
    >>> number, divisor = factors(5).to_frame().select("n", "d2").row(0)
    >>> number, round(divisor, 6)
    (5, 2.325929)
    """

    __slots__ = ()
    ROWS: ClassVar[str] = ""
    __dataclass_fields__: ClassVar[dict[str, Field[Any]]]

    def to_dict(self) -> JsonObject:
        """Return plain values: every figure by its name."""
        return {field.name: plain(getattr(self, field.name)) for field in fields(self)}

    def to_text(self) -> str:
        """Return the figures as a person reads them, a name and its value a line."""
        frame, turned = self.to_frame(), not self.ROWS
        if frame.height == 0:  # no rows is an answer too: say what else is known
            frame, turned = frame_of([self.to_dict()]), True
        names, rows = _shown(frame, turned=turned)
        widths = [max(map(len, column)) for column in zip(names, *rows, strict=True)]
        lines = [names, *rows] if names != FIGURES else rows
        return "\n".join(
            "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
            for line in lines
        )

    def to_frame(self) -> pl.DataFrame:
        """Return a frame, a row for each item of the result; figures within figures have joined names."""
        found = self.to_dict()
        return frame_of(found[self.ROWS] if self.ROWS else [found])

    def _repr_html_(self) -> str:
        """Return what a notebook shows: the finding in a sentence, where there is one, and the table."""
        said = type(self).to_text is not Tabled.to_text
        first = f"<p>{escape(self.to_text().partition(chr(10))[0])}</p>" if said else ""
        frame = self.to_frame()
        names, rows = _shown(frame.head(SHOWN_ROWS), turned=not self.ROWS)
        more = frame.height - SHOWN_ROWS
        left = "" if more <= 0 else f"<p>and {more} more rows: to_frame() holds all</p>"
        return first + _table(names, rows) + left


def plain(value: Any) -> Any:
    """Return a value as JSON has it: lists, mappings, strings and finite numbers; None for any other number.

    Examples
    --------
    >>> plain((1, math.inf, {"low": (0.5, math.nan)}))
    [1, None, {'low': [0.5, None]}]
    """
    if hasattr(value, "to_dict"):
        return value.to_dict()
    if hasattr(value, "tolist"):  # an array, or a number out of one
        value = value.tolist()
    if isinstance(value, Mapping):
        return {name: plain(part) for name, part in value.items()}
    if isinstance(value, list | tuple):
        return [plain(part) for part in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def frame_of(rows: Iterable[Mapping[str, object]]) -> pl.DataFrame:
    """Return a frame of plain rows.

    Parameters
    ----------
    rows : iterable of mapping
        Plain values by name; a mapping within one becomes columns with joined names.

    Returns
    -------
    DataFrame
        A name that a row lacks is missing there.

    Examples
    --------
    >>> frame_of([{"shift": 0.0, "quantiles": {"0.5": 257}}, {"shift": 1.0}]).rows()
    [(0.0, 257), (1.0, None)]
    """
    import polars as pl

    flat = [_flat(row) for row in rows]
    names = dict.fromkeys(name for row in flat for name in row)
    # not strict: 257 in one row and 257.5 in the next make one column of floats, not an error
    return pl.DataFrame([pl.Series(name, [row.get(name) for row in flat], strict=False) for name in names])


def _flat(row: Mapping[str, object], before: str = "") -> dict[str, object]:
    """Bring mappings within a row into the row."""
    flat: dict[str, object] = {}
    for name, value in row.items():
        if isinstance(value, Mapping):
            flat.update(_flat(value, f"{before}{name}_"))
        else:
            flat[before + str(name)] = value
    return flat


def _shown(frame: pl.DataFrame, *, turned: bool) -> tuple[Sequence[str], list[Sequence[str]]]:
    """Write names and rows as a person reads them; a single row may be turned on its side."""
    rows: list[Sequence[str]] = [[_written(value) for value in row] for row in frame.iter_rows()]
    if turned and len(rows) == 1 and frame.width > 1:
        return FIGURES, list(zip(frame.columns, rows[0], strict=True))
    return frame.columns, rows


def _table(names: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Write a table without any style of its own."""
    head = "".join(f"<th>{escape(name)}</th>" for name in names)
    body = "".join("<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>" for row in rows)
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def _written(value: object) -> str:
    """Write one value as a person reads it: six digits, nothing where it is missing."""
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.6g}"
    if isinstance(value, list | tuple):
        return ", ".join(_written(part) for part in value)
    return str(value)
