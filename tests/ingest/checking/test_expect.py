import os
import subprocess
import sys

import polars as pl
import pytest

from qc.ingest.checking.expect import ColumnRule, validate
from qc.ingest.frames import INDEX
from qc.ingest.reasons import Reason


def failing(values, rule, **more):
    frame = pl.DataFrame({INDEX: list(range(10, 10 + len(values))), "c": values, **more})
    return [failure.index for failure in validate(frame, [rule], "t")]


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
    with pytest.raises(RuntimeError, match="could not be run"):
        validate(frame, [ColumnRule("between", "a", Reason.OUT_OF_RANGE, "text", low=0.0)], "t")


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
