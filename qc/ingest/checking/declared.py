"""What a rule over a column can say; `rules` declares the plan's once, and both ways of running read them.

`directly` runs them on a card, `expect` as a suite of great_expectations on a large sheet. What one of them
can say the other can: a kind of rule is added here, there and there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from qc.ingest.frames import INDEX
from qc.ingest.reasons import Reason

KINDS = ("given", "empty", "among", "between", "at-most")
SIZED = {"between", "at-most"}
"""Kinds that ask how large a figure is."""


@dataclass(frozen=True, slots=True)
class ColumnRule:
    """One rule over a column; all of them but "given" pass over an empty cell.

    Attributes
    ----------
    kind : {"given", "empty", "among", "between", "at-most"}
        The column is filled; is empty; holds a value of `values`; lies within `low` and `high`; is no
        greater than the column `other`.
    column : str
        Column of the prepared frame.
    reason : Reason
        What a failing row is held for.
    about : str
        Our name of the cell the sentence speaks of.

    Raises
    ------
    ValueError
        What is declared can be run by nobody.
    """

    kind: str
    column: str
    reason: Reason
    about: str
    values: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None
    other: str = ""

    def __post_init__(self) -> None:
        """Refuse a rule that would fail only once a sheet meets it, or in one way of running alone."""
        if self.kind not in KINDS:
            raise ValueError(f"{self.kind!r} is no kind of rule; there are {', '.join(KINDS)}")
        if self.kind == "at-most" and not self.other:
            raise ValueError(f"{self.column} is to be at most another column, and none is named")
        if self.kind == "between":
            ends = [end for end in (self.low, self.high) if end is not None]
            if not ends or not ends[0] <= ends[-1]:
                raise ValueError(f"{self.column} cannot lie between {self.low} and {self.high}")


@dataclass(frozen=True, slots=True)
class Failure:
    """A row that failed a rule."""

    index: int
    rule: ColumnRule


class RuleNotRun(RuntimeError):
    """A rule that cannot be asked of its column; a rule that did not run has passed nobody."""

    def __init__(self, rule: ColumnRule, fault: str) -> None:
        super().__init__(f"rule {rule} could not be run: {fault}")


def comparable(frame: pl.DataFrame, rules: Sequence[ColumnRule]) -> pl.DataFrame:
    """Return the columns that rules speak of, as text, whole numbers or figures.

    A figure that is no number (NaN) counts as an empty cell, as everywhere behind the door.

    Raises
    ------
    RuleNotRun
        A rule asks how large a text is.
    """
    sized = {name: rule for rule in rules if rule.kind in SIZED for name in (rule.column, rule.other)}
    columns = {INDEX: frame[INDEX]}
    for name in (name for rule in rules for name in (rule.column, rule.other) if name):
        column, kind = frame[name], frame.schema[name]
        if kind == pl.String and name in sized and column.null_count() < column.len():
            raise RuleNotRun(sized[name], f"{name} holds text")
        whole = kind == pl.Int64 and not column.has_nulls()
        as_it_is = whole or (kind == pl.String and name not in sized)
        columns[name] = column if as_it_is else column.cast(pl.Float64).fill_nan(None)
    return pl.DataFrame(columns)
