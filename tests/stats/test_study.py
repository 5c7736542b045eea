"""The pure study: questions, refusals and speed of thought over many series."""

import numpy as np
import polars as pl
import pytest

from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.measured import individuals
from qc.stats.rules import parse_rules
from qc.stats.setting import Setting
from qc.stats.study import study_frame
from qc.stats.study_kinds import KINDS, check_question
from qc.stats.study_outcome import only_limit, with_rules
from qc.stats.study_question import StudyQuestion


def test_one_series_without_a_name():
    found = study_frame(pl.DataFrame({"value": [1.0, 2.0, 4.0]}), StudyQuestion("individuals"))
    assert list(found) == [""] and found[""].series is None


def test_the_only_series_raises_its_reason():
    with pytest.raises(StatisticsError, match="spread is zero"):
        study_frame(pl.DataFrame({"value": [1.0, 1.0]}), StudyQuestion("individuals"))


def test_a_named_series_keeps_its_reason():
    frame = pl.DataFrame({"series": ["a", "a", "b"], "value": [1.0, 2.0, 1.0]})
    found = study_frame(frame, StudyQuestion("individuals"))
    assert found["a"].chart is not None and found["b"].chart is None
    assert found["b"].to_dict()["chart"] is None and "at least 2" in found["b"].to_dict()["reason"]
    assert found["b"].signals == ()


@pytest.mark.parametrize("kind", ["trend", "t2", "mewma"])
def test_kinds_built_one_by_one_keep_reasons_too(kind):
    rng = np.random.default_rng(1)
    frame = pl.DataFrame(
        {
            "series": ["a"] * 20 + ["b"],
            "value": rng.normal(size=21),
            "against": np.arange(21.0),
            "value:x": rng.normal(size=21),
            "value:y": rng.normal(size=21),
        }
    )
    found = study_frame(frame, StudyQuestion(kind))
    assert found["a"].chart is not None and found["b"].reason


def test_readings_of_subgroups_make_points_for_other_charts():
    frame = pl.DataFrame({"value": [1.0, 3.0, 5.0, 7.0, 3.0, 5.0], "subgroup": [1, 1, 2, 2, 3, 3]})
    found = study_frame(frame, StudyQuestion("individuals"))[""]
    assert (found.n, found.points) == (6, 3)
    assert found.chart.values.tolist() == [2.0, 6.0, 4.0]


def test_rules_on_a_single_chart_are_those_on_a_table():
    values = np.random.default_rng(2).normal(size=400).round(2)
    question = StudyQuestion("individuals", rules=parse_rules("all"))
    table = study_frame(pl.DataFrame({"value": values}), question)[""].signals
    assert with_rules(individuals(values), parse_rules("all"), "").signals == table


def test_pattern_rules_are_left_aside_where_points_depend():
    assert only_limit(parse_rules("limit")) == () and "independent" in only_limit(parse_rules("all"))[0]


@pytest.mark.parametrize(
    "options, words",
    [
        ({"chart": "nosuch"}, "not known"),
        ({"chart": "t2", "lower": 1.0}, "several figures"),
        ({"chart": "mewma", "setting": Setting(sigma=1.0)}, "estimates its own"),
        ({"chart": "ewma", "screen": True}, "screening"),
    ],
)
def test_options_that_do_not_go_together(options, words):
    with pytest.raises(StatisticsUsageError, match=words):
        check_question(StudyQuestion(**options))


def test_ten_thousand_series_cost_one_pass():
    """Not a timed test: what is checked is that every series has its own answer."""
    rng = np.random.default_rng(3)
    count, length = 2000, 10
    values = rng.normal(np.repeat(np.arange(count), length), 1.0)
    frame = pl.DataFrame({"series": np.repeat(np.arange(count), length), "value": values})
    found = study_frame(frame, StudyQuestion("individuals", rules=parse_rules("all")))
    assert len(found) == count
    for name in ("0", "777", "1999"):
        own = values.reshape(count, length)[int(name)]
        assert found[name].chart.upper == pytest.approx(individuals(own).upper)


def test_every_kind_is_offered():
    assert list(KINDS) == [
        "individuals", "mean-range", "mean-sd", "three-way", "ewma", "cusum", "self-starting", "changepoint",
        "trend", "t2", "mewma", "defects", "defects-per-unit", "number-defective", "proportion",
        "time-between",
    ]  # fmt: skip
