import os
import subprocess
import sys
from datetime import date

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.ingest.checking.declared import KINDS, ColumnRule, RuleNotRun
from qc.ingest.checking.directly import FEW_ROWS, failures, judge
from qc.ingest.checking.expect import _kinds, _pandas, _rows, _run, validate
from qc.ingest.frames import INDEX, PART
from qc.ingest.reasons import Reason


def failing(values, rule, **more):
    """Return which rows fail a rule; both ways of running it must say the same."""
    frame = pl.DataFrame({INDEX: list(range(10, 10 + len(values))), "c": values, **more})
    found = validate(frame, [rule], "t")
    assert judge(frame, [rule]) == found
    return [failure.index for failure in found]


def test_given_and_empty():
    assert failing(["a", None, "b", None], ColumnRule("given", "c", Reason.MISSING_VALUE, "text")) == [11, 13]
    assert failing(["a", None, "b", None], ColumnRule("empty", "c", Reason.NOT_A_NUMBER, "text")) == [10, 12]
    assert failing([None, 1.5], ColumnRule("given", "c", Reason.MISSING_VALUE, "text")) == [10]


def test_among_passes_over_missing():
    rule = ColumnRule("among", "c", Reason.UNKNOWN_PERSON, "person", ("AB", "CD"))
    assert failing(["AB", "XX", None, "CD", "ab"], rule) == [11, 14]


def test_between_and_its_open_ends():
    assert failing([1.0, -1.0, None], ColumnRule("between", "c", Reason.NEGATIVE_COUNT, "text", low=0.0)) == [
        11
    ]
    assert failing([1, 5, 9], ColumnRule("between", "c", Reason.OUT_OF_RANGE, "text", low=1.0, high=5.0)) == [
        12
    ]


def test_at_most_another_column():
    rule = ColumnRule("at-most", "c", Reason.OUTSIDE_SENSIBLE, "text", other="top")
    assert failing([1.0, 2.0, 3.0, None], rule, top=[2.0, 2.0, 2.0, 2.0]) == [12]
    assert failing([9.0, 9.0], rule, top=[None, 2.0]) == [11]


def test_every_rule_of_a_suite_is_reported_in_order():
    frame = pl.DataFrame({INDEX: [0, 1], "a": [None, "x"], "b": [5.0, -5.0]})
    rules = [
        ColumnRule("given", "a", Reason.MISSING_SERIAL, "serial"),
        ColumnRule("between", "b", Reason.OUT_OF_RANGE, "text", low=0.0),
    ]
    found = [(failure.index, failure.rule.reason) for failure in validate(frame, rules, "t")]
    assert found == [(0, Reason.MISSING_SERIAL), (1, Reason.OUT_OF_RANGE)]


def test_the_same_rule_twice_is_told_apart():
    frame = pl.DataFrame({INDEX: [0], "a": ["x"]})
    rules = [
        ColumnRule("among", "a", Reason.UNKNOWN_TOOL, "tool", ("y",)),
        ColumnRule("among", "a", Reason.UNKNOWN_GAUGE, "gauge", ("y",)),
    ]
    assert [failure.rule.reason for failure in validate(frame, rules, "t")] == [
        Reason.UNKNOWN_TOOL,
        Reason.UNKNOWN_GAUGE,
    ]


def test_nothing_to_judge():
    frame = pl.DataFrame({INDEX: [], "a": []}, schema={INDEX: pl.Int64, "a": pl.String})
    assert validate(frame, [ColumnRule("given", "a", Reason.MISSING_VALUE, "text")], "t") == []
    assert validate(pl.DataFrame({INDEX: [1]}), [], "t") == []


def test_a_rule_that_cannot_be_run_is_no_silent_pass():
    frame = pl.DataFrame({INDEX: [0], "a": ["x"]})
    rule = ColumnRule("between", "a", Reason.OUT_OF_RANGE, "text", low=0.0)
    for run in (judge, lambda *asked: validate(*asked, "t")):
        with pytest.raises(RuleNotRun, match="could not be run: a holds text"):
            run(frame, [rule])
    batch = _rows().get_batch(batch_parameters={"dataframe": _pandas(frame)})
    with pytest.raises(RuleNotRun, match="could not be run"):  # what the validator itself stumbles over
        _run(batch, "t", {"0": rule}, "BOOLEAN_ONLY")


@pytest.mark.parametrize(
    ("kind", "more", "said"),
    [
        ("beside", {}, "'beside' is no kind of rule; there are given, "),
        ("at-most", {}, "and none is named"),
        ("between", {}, "cannot lie between None and None"),
        ("between", {"low": 2.0, "high": 1.0}, "cannot lie between 2.0 and 1.0"),
        ("between", {"low": float("nan")}, "cannot lie between nan and None"),
    ],
)
def test_a_rule_that_nobody_could_run_is_refused_when_it_is_declared(kind, more, said):
    with pytest.raises(ValueError, match=said):
        ColumnRule(kind, "c", Reason.OUT_OF_RANGE, "text", **more)


def test_each_kind_of_rule_can_be_run_either_way():
    assert set(_kinds()) == set(KINDS)
    frame = pl.DataFrame({INDEX: [0, 1], "c": [1.0, None], "d": [1.0, 1.0]})
    for kind in KINDS:
        rule = ColumnRule(kind, "c", Reason.NOT_WHOLE, "text", low=0.0, other="d")
        assert judge(frame, [rule]) == validate(frame, [rule], "t")


COLUMNS = {
    "word": (pl.String, st.sampled_from(["", "a", "A", "nan", "a ", "\u00e4"])),
    "code": (pl.String, st.sampled_from(["a", "b"])),
    "figure": (pl.Float64, st.sampled_from([0.0, -0.0, 1.0, 1.5, -1e300, 5e-324]) | st.floats()),
    "whole": (pl.Int64, st.integers(-2, 2) | st.sampled_from([2**53, 2**53 + 1, -(2**63), 2**63 - 1])),
    "short": (pl.Int8, st.integers(-2, 2)),
    "single": (pl.Float32, st.floats(width=32)),
    "yes": (pl.Boolean, st.booleans()),
    "day": (pl.Date, st.dates(date(1969, 12, 30), date(1970, 1, 3))),
    "nothing": (pl.Null, st.none()),
}
NAMES = st.sampled_from(sorted(COLUMNS))
ENDS = st.sampled_from([None, 0.0, 1.0, -1.5, 2.0**53, float("inf"), float("-inf")])


@st.composite
def frames(draw):
    """Return prepared rows of several sheets; any cell may be empty, any column wholly so."""
    rows = draw(st.integers(0, 7))
    cells = {
        name: pl.Series(draw(st.lists(st.none() | own, min_size=rows, max_size=rows)), dtype=kind)
        for name, (kind, own) in COLUMNS.items()
    }
    first = draw(st.integers(0, 3))
    return pl.DataFrame({INDEX: pl.Series(range(first, first + rows), dtype=pl.Int64), **cells})


@st.composite
def column_rules(draw):
    """Return a rule of any kind over any column, whether it makes sense there or not."""
    kind, low, high = draw(st.sampled_from(KINDS)), draw(ENDS), draw(ENDS)
    if kind == "between":
        low, high = (0.0, None) if low is high is None else (low, high)
        low, high = (high, low) if None not in (low, high) and low > high else (low, high)
    return ColumnRule(
        kind,
        draw(NAMES),
        draw(st.sampled_from(list(Reason))),
        "text",
        tuple(draw(st.lists(st.sampled_from(["", "a", "b", "1.0", "nan"]), unique=True))),
        low,
        high,
        draw(NAMES) if kind == "at-most" else "",
    )


def said(run, *asked):
    """Return what came of it: the failures, or in which words it was refused."""
    try:
        return run(*asked)
    except RuleNotRun as error:
        return str(error)


@settings(max_examples=60)
@given(frames(), st.lists(column_rules(), max_size=4))
def test_both_ways_hold_the_same_rows_for_the_same_reasons_in_the_same_order(frame, rules):
    assert said(judge, frame, rules) == said(validate, frame, rules, "t")


def test_a_large_sheet_beside_small_ones_goes_to_the_validator_alone(monkeypatch):
    """Order and rows are those of one run over all of them."""
    rows = {1: 30, 2: FEW_ROWS, 3: FEW_ROWS - 1}
    part = [number for number, count in rows.items() for _ in range(count)]
    figures = [None if n % 7 == 0 else float(n % 5) for n in range(len(part))]
    frame = pl.DataFrame({INDEX: range(len(part)), PART: part, "figure": figures}).sample(
        fraction=1.0, shuffle=True, seed=3
    )
    frame = frame.sort(INDEX)
    rules = [
        ColumnRule("between", "figure", Reason.OUT_OF_RANGE, "text", high=3.0),
        ColumnRule("given", "figure", Reason.MISSING_VALUE, "text"),
    ]
    seen = []
    monkeypatch.setattr(
        "qc.ingest.checking.directly.validate",
        lambda frame, *more: seen.extend(frame[PART].unique()) or validate(frame, *more),
    )
    assert failures(frame, rules, "t") == judge(frame, rules) != []
    assert seen == [2]


def settled():
    """Run a program of somebody else's that checks a sheet; what it says of itself before and after."""
    code = """
import gc, os, sys, warnings
from qc.ingest.checking.expect import _rows, warm_up
def told():
    return dict(os.environ), gc.isenabled(), gc.get_freeze_count(), gc.get_threshold(), len(warnings.filters)
before = told()
warm_up()
context = _rows().data_asset.datasource.data_context
print(told() == before, context.config.analytics_enabled, context.variables.progress_bars["globally"])
"""
    settings = {**os.environ, "GX_ANALYTICS_ENABLED": "true"}
    return subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, env=settings
    )


def test_the_process_is_left_as_it_was_and_nothing_is_told_or_drawn():
    done = settled()
    assert done.stdout.split() == ["True", "False", "False"]
    assert done.stderr == ""


def test_ten_thousand_failures_are_all_named():
    frame = pl.DataFrame(
        {INDEX: list(range(10_000)), "a": [None] * 10_000}, schema={INDEX: pl.Int64, "a": pl.String}
    )
    assert len(validate(frame, [ColumnRule("given", "a", Reason.MISSING_VALUE, "text")], "t")) == 10_000
