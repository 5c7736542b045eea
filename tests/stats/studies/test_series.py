"""The pure study: questions, refusals and speed of thought over many series."""

import numpy as np
import polars as pl
import pytest

from qc.stats.charts.measured import individuals
from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.numbers.baseline import Baseline
from qc.stats.numbers.rules import parse_rules
from qc.stats.numbers.setting import Setting
from qc.stats.studies.kinds import KINDS, check_question
from qc.stats.studies.outcome import only_limit, with_rules
from qc.stats.studies.question import StudyQuestion
from qc.stats.studies.series import study_frame


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


def test_a_given_sigma_is_known_for_certain():
    """Only the mean is uncertain then: Cp has no interval left, Cpk that of the mean (1.96 / (3 root n))."""
    readings = np.random.default_rng(5).normal(10.0, 0.2, 40)
    question = StudyQuestion("individuals", Setting(sigma=0.25), rules=(), lower=9.0, upper=11.0)
    found = study_frame(pl.DataFrame({"value": readings}), question)[""].capability
    assert found is not None and found.cp == pytest.approx(2.0 / 1.5)
    assert found.cp_interval == pytest.approx((found.cp, found.cp))
    assert found.cpk_interval == pytest.approx(
        [found.cpk - 1.959964 / (3 * 40**0.5), found.cpk + 1.959964 / (3 * 40**0.5)], abs=1e-6
    )


def test_a_baseline_that_runs_past_the_end_is_said():
    frame = pl.DataFrame({"value": [1.0, 2.0, 1.5, 2.5]})
    said = study_frame(frame, StudyQuestion("individuals", Setting(baseline=Baseline(1, 30))))[""].warnings
    assert any("run to point 30, but there are 4" in one for one in said)
    whole = study_frame(frame, StudyQuestion("individuals", Setting(baseline=Baseline(1, 4))))[""].warnings
    assert not any("was to run" in one for one in whole)


@pytest.mark.parametrize("kind", ["individuals", "cusum", "ewma", "changepoint"])
def test_readings_too_large_to_square_are_refused(kind):
    with pytest.raises(StatisticsError, match="too large to compute with"):
        study_frame(pl.DataFrame({"value": [1e308, -1e308, 1e308, -1e308]}), StudyQuestion(kind))


@pytest.mark.parametrize("kind", ["individuals", "mean-range", "mean-sd", "three-way", "ewma", "cusum"])
def test_shift_and_scale_of_the_unit_change_no_finding(kind):
    """The same pieces in another unit about another zero: the same points signal, the limits move along."""
    rng = np.random.default_rng(11)
    readings = rng.normal(10.0, 1.0, 60) + np.repeat([0.0, 3.0], [44, 16])
    groups = np.repeat(np.arange(20), 3)
    question = StudyQuestion(kind, Setting(baseline=Baseline(1, 12)))

    def ask(values: np.ndarray) -> object:
        return study_frame(pl.DataFrame({"value": values, "subgroup": groups}), question)[""]

    plain, moved = ask(readings), ask(-40.0 + 25.4 * readings)
    found = [(s.point, s.rule, s.side, s.start) for s in plain.signals]
    assert found and found == [(s.point, s.rule, s.side, s.start) for s in moved.signals]
    assert moved.chart.center == pytest.approx(-40.0 + 25.4 * plain.chart.center)
    if kind != "cusum":  # its limits are in sigma
        assert moved.chart.upper == pytest.approx(-40.0 + 25.4 * plain.chart.upper)
    assert [s.size_sigma for s in moved.signals] == pytest.approx([s.size_sigma for s in plain.signals])


@pytest.mark.parametrize("kind", ["mean-range", "mean-sd", "three-way"])
def test_order_within_a_subgroup_does_not_matter(kind):
    rng = np.random.default_rng(12)
    readings, groups = rng.normal(10.0, 1.0, (15, 4)), np.repeat(np.arange(15), 4)
    mixed = rng.permuted(readings, axis=1)
    plain, other = (
        study_frame(pl.DataFrame({"value": one.ravel(), "subgroup": groups}), StudyQuestion(kind))[""].chart
        for one in (readings, mixed)
    )
    assert other.upper == pytest.approx(plain.upper, rel=1e-12)
    assert other.values == pytest.approx(plain.values, rel=1e-12)


@pytest.mark.parametrize("kind", ["individuals", "ewma", "cusum", "self-starting", "changepoint"])
def test_a_mirrored_series_signals_on_the_other_side(kind):
    rng = np.random.default_rng(13)
    readings = rng.normal(0.0, 1.0, 50) + np.repeat([0.0, 4.0], [35, 15])
    question = StudyQuestion(kind, Setting(baseline=Baseline(1, 30)))
    above, below = (
        study_frame(pl.DataFrame({"value": sign * readings}), question)[""].signals for sign in (1.0, -1.0)
    )
    assert above and [(s.point, s.start) for s in above] == [(s.point, s.start) for s in below]
    swap = {"above": "below", "below": "above", "both": "both"}
    assert [swap[s.side] for s in above] == [s.side for s in below]
