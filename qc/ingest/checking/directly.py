"""The plan's rules run straight on the columns: the cards of a day, judged before a validator is even loaded.

Loading great_expectations takes seconds, which a sheet of some thousand rows repays and a card of 24 figures
never does. Both ways read one declaration and hold the same rows: `tests/ingest/checking` compares them.
"""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from qc.ingest.checking.declared import ColumnRule, Failure, comparable
from qc.ingest.checking.expect import validate
from qc.ingest.frames import INDEX, PART

FEW_ROWS = 200
"""A sheet with fewer rows is judged directly; chosen: a card has 24, the sheet of a year thousands."""


def failures(frame: pl.DataFrame, rules: Sequence[ColumnRule], name: str) -> list[Failure]:
    """Run rules over the rows of one kind of card: small sheets directly, large ones by the validator.

    Parameters
    ----------
    frame : DataFrame
        Prepared rows with the columns `INDEX`, in its order, and `PART`.
    rules : sequence of ColumnRule
        What is asked of them.
    name : str
        Name of the suite: the kind of card.

    Returns
    -------
    list of Failure
        Every failing row of every rule, in order of the rules and of the rows.
    """
    few = frame.select(pl.len().over(PART) < FEW_ROWS).to_series()
    if few.all():
        return judge(frame, rules)
    found = judge(frame.filter(few), rules) + validate(frame.filter(~few), rules, name)
    place = {rule: position for position, rule in enumerate(rules)}
    return sorted(found, key=lambda failure: (place[failure.rule], failure.index))


def judge(frame: pl.DataFrame, rules: Sequence[ColumnRule]) -> list[Failure]:
    """Run rules over a frame with the column `INDEX`; returns what `validate` does, without the validator.

    Raises
    ------
    RuleNotRun
        A rule asks for figures and the column holds text.
    """
    if frame.is_empty() or not rules:
        return []
    rows = comparable(frame, rules)
    asked = {f"rule {position}": _fails(rule, rows) for position, rule in enumerate(rules)}
    said = rows.select(INDEX, **asked)
    return [
        Failure(int(index), rule)
        for key, rule in zip(asked, rules, strict=True)
        if said[key].any()
        for index in said[INDEX].filter(said[key])
    ]


def _fails(rule: ColumnRule, rows: pl.DataFrame) -> pl.Expr:
    """Return which rows fail a rule; a comparison with an empty cell fails nobody."""
    cell = pl.col(rule.column)
    if rule.kind == "given":
        return cell.is_null()
    if rule.kind == "empty":
        return cell.is_not_null()
    if rule.kind == "among":
        text = rows.schema[rule.column] == pl.String
        return cell.is_not_null() & ~cell.is_in(list(rule.values)) if text else cell.is_not_null()
    if rule.kind == "between":
        outside = [] if rule.low is None else [cell < rule.low]
        outside += [] if rule.high is None else [cell > rule.high]
        return pl.any_horizontal(outside).fill_null(False)
    return (cell > pl.col(rule.other)).fill_null(False)
