"""Results as plain values, as a frame to go on computing with, and as a plain table in a notebook."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import Field, fields
from html import escape
from typing import TYPE_CHECKING, Any, ClassVar

if TYPE_CHECKING:
    import polars as pl

SHOWN_ROWS = 60  # a notebook shows no more; the frame holds them all


class Plain:
    """A result (a dataclass) that is had as plain values, by the names and in the order of its fields.

    Examples
    --------
    >>> from qc.stats import AnovaRow
    >>> list(AnovaRow("part", 2, 8.0, 4.0).to_dict())
    ['source', 'df', 'ss', 'ms', 'f', 'p_value']
    """

    __slots__ = ()
    __dataclass_fields__: ClassVar[dict[str, Field[Any]]]

    def to_dict(self) -> dict[str, Any]:
        """Return plain values as strict JSON has them: results within as dicts, tuples as lists."""
        return {field.name: _plain(getattr(self, field.name)) for field in fields(self)}


class Tabled(Plain):
    """A plain result that is also had as a frame and shown as a table.

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

    def to_frame(self) -> pl.DataFrame:
        """Return a frame, a row for each item of the result; figures within figures have joined names."""
        plain = self.to_dict()
        return frame_of(plain[self.ROWS] if self.ROWS else [plain])

    def _repr_html_(self) -> str:
        """Return what a notebook shows: the finding in a sentence, where there is one, and the table."""
        say = getattr(self, "to_text", None)
        first = "" if say is None else f"<p>{escape(say().partition(chr(10))[0])}</p>"
        frame = self.to_frame()
        if not self.ROWS and frame.height == 1 and frame.width > 1:
            return first + _table(("figure", "value"), list(zip(frame.columns, frame.row(0), strict=True)))
        more = frame.height - SHOWN_ROWS
        left = "" if more <= 0 else f"<p>and {more} more rows: to_frame() holds all</p>"
        return first + _table(frame.columns, frame.head(SHOWN_ROWS).rows()) + left


def frame_of(rows: Iterable[Mapping[str, Any]]) -> pl.DataFrame:
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


def _plain(value: Any) -> Any:
    """Bring one value of a result into what strict JSON has."""
    if isinstance(value, Plain):
        return value.to_dict()
    if isinstance(value, Mapping):
        return {name: _plain(part) for name, part in value.items()}
    return [_plain(part) for part in value] if isinstance(value, list | tuple) else value


def _flat(row: Mapping[str, Any], before: str = "") -> dict[str, Any]:
    """Bring mappings within a row into the row."""
    flat: dict[str, Any] = {}
    for name, value in row.items():
        if isinstance(value, Mapping):
            flat.update(_flat(value, f"{before}{name}_"))
        else:
            flat[before + str(name)] = value
    return flat


def _table(names: Sequence[str], rows: Sequence[Sequence[Any]]) -> str:
    """Write a table without any style of its own."""
    head = "".join(f"<th>{escape(name)}</th>" for name in names)
    body = "".join(
        "<tr>" + "".join(f"<td>{escape(_written(value))}</td>" for value in row) + "</tr>" for row in rows
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def _written(value: Any) -> str:
    """Write one value as a person reads it: six digits, nothing where it is missing."""
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.6g}"
    if isinstance(value, list | tuple):
        return ", ".join(_written(part) for part in value)
    return str(value)
