"""Capability of a study: what each chart's sigma is worth, nested readings, fitted shapes, the gauge."""

import math

import numpy as np
import polars as pl
import pytest

from qc.stats.capable.bounds import cp_bound, one_sided_bound, two_sided_bound
from qc.stats.capable.figures import capability
from qc.stats.capable.nested import nested_capability
from qc.stats.errors import StatisticsUsageError
from qc.stats.numbers.baseline import Baseline
from qc.stats.numbers.limits import LimitRule
from qc.stats.numbers.rules import parse_rules
from qc.stats.numbers.setting import Setting
from qc.stats.run_lengths.worth import moving_range_df, subgroup_df
from qc.stats.studies.question import StudyQuestion
from qc.stats.studies.series import study_frame

TWO = np.array([0.025, 0.975])


def ask(frame, chart="individuals", setting=None, **options):
    """The only series' answer, no rules."""
    options = {"lower": 4.0, "upper": 16.0} | options
    question = StudyQuestion(chart, setting or Setting(), rules=(), **options)
    return study_frame(pl.DataFrame(frame), question)[""]


def grouped(rng, groups, size, within=1.0, between=1.0):
    """Readings of a one-way random model about 10."""
    means = rng.normal(10.0, between, groups)
    readings = (means[:, None] + rng.normal(0.0, within, (groups, size))).ravel()
    return {"value": readings, "subgroup": np.repeat(np.arange(groups), size)}


def test_many_series_get_what_one_alone_gets():
    """Ragged, constant, short and unstable series in one frame and each in its own."""
    rng = np.random.default_rng(2)
    parts = {f"s{i}": rng.normal(10.0, rng.uniform(0.5, 3.0), int(rng.integers(2, 70))) for i in range(40)}
    parts["s5"] = np.concatenate([rng.normal(10.0, 0.3, 30), [20.0]])
    parts["s6"] = np.full(25, 10.0)
    parts["s7"] = np.cumsum(rng.standard_normal(40)) + 10.0
    frame = pl.DataFrame(
        {
            "series": np.concatenate([[name] * part.size for name, part in parts.items()]),
            "value": np.concatenate(list(parts.values())),
        }
    )
    question = StudyQuestion("individuals", lower=5.0, upper=15.0, target=10.0, gauge_sd=0.2)
    together = study_frame(frame, question)
    reasons = set()
    for name, part in parts.items():
        if together[name].chart is None:
            assert together[name].capability is None and together[name].reason
            continue
        alone = study_frame(pl.DataFrame({"value": part}), question)[""]
        mine, theirs = together[name].to_dict(), alone.to_dict()
        for signal in mine["signals"]:
            signal["series"] = None
        reasons.add(mine["capability"]["reason"])
        compare(mine, theirs)
    assert any("too few" in str(one) for one in reasons) and any("not stable" in str(one) for one in reasons)
    assert any("hang together" in said for said in together["s7"].warnings)


def compare(mine, theirs):
    """Equal in every key; numbers to 1e-9."""
    assert type(mine) is type(theirs)
    if isinstance(mine, dict):
        assert list(mine) == list(theirs)
        for key in mine:
            compare(mine[key], theirs[key])
    elif isinstance(mine, list):
        assert len(mine) == len(theirs)
        for one, other in zip(mine, theirs, strict=True):
            compare(one, other)
    elif isinstance(mine, float):
        assert mine == pytest.approx(theirs, rel=1e-9, abs=1e-9)
    else:
        assert mine == theirs


def test_intervals_of_cp_and_cpk_rest_on_what_moving_ranges_are_worth():
    readings = np.random.default_rng(3).normal(10.0, 1.0, 60)
    found = ask({"value": readings}).capability
    df = moving_range_df(60)
    assert found.cp_interval == pytest.approx(cp_bound(found.cp, TWO, df))
    assert found.cpk_interval == pytest.approx(two_sided_bound(found.cpk, TWO, 60, df))
    assert found.ppk_interval == pytest.approx(two_sided_bound(found.ppk, TWO, 60, 59))
    first = ask({"value": readings}, setting=Setting(baseline=Baseline(1, 20))).capability
    assert first.cpk_interval == pytest.approx(two_sided_bound(first.cpk, TWO, 60, moving_range_df(20)))
    robust = ask({"value": readings}, setting=Setting(robust=True)).capability
    assert robust.cp_interval == pytest.approx(cp_bound(robust.cp, TWO, moving_range_df(60, robust=True)))
    sample = ask({"value": readings}, setting=Setting(limits=LimitRule.parse("prediction"))).capability
    assert sample.cpk == pytest.approx(sample.ppk)
    assert sample.cpk_interval == pytest.approx(sample.ppk_interval)


def test_cpk_from_moving_ranges_covers_in_simulation():
    """2,000 series of 40 in one pass; Cpk true at 4/3: 95 % within 3 standard errors and a point (0.0246)."""
    rng = np.random.default_rng(4)
    frame = pl.DataFrame({"series": np.repeat(np.arange(2000), 40), "value": rng.standard_normal(80_000)})
    answers = study_frame(frame, StudyQuestion("individuals", rules=(), lower=-4.0, upper=5.0))
    ends = np.array([one.capability.cpk_interval for one in answers.values()])
    assert np.mean((ends[:, 0] <= 4 / 3) & (ends[:, 1] >= 4 / 3)) == pytest.approx(0.95, abs=0.0246)


@pytest.mark.parametrize("chart, spread", [("mean-range", "range"), ("mean-sd", "sd")])
def test_subgroups_keep_their_spreads_apart(chart, spread):
    frame = grouped(np.random.default_rng(5), 25, 4, 1.0, 0.0)
    answer = ask(frame, chart)
    found, sigma = answer.capability, answer.chart.sigma
    assert found.n == 100 and found.ppk_interval == pytest.approx(two_sided_bound(found.ppk, TWO, 100, 99))
    assert found.cp_interval == pytest.approx(cp_bound(found.cp, TWO, subgroup_df(75, 4, spread)))
    assert found.spread.within == pytest.approx(sigma)
    assert found.spread.cpk["within"] == pytest.approx(found.cpk)
    groups = frame["value"].reshape(25, 4)
    between = max(groups.mean(axis=1).var(ddof=1) - sigma**2 / 4, 0.0)
    assert found.spread.between == pytest.approx(math.sqrt(between))
    assert "subgroups" in found.spread.sentence
    assert set(found.to_dict()["spread"]) == {"within", "between", "total", "cp", "cpk"}


def test_three_way_counts_pieces_and_shows_the_charts_own_components():
    frame = grouped(np.random.default_rng(6), 30, 4, 1.0, 1.5)
    answer = ask(frame, "three-way", lower=0.0, upper=20.0)
    found, own = answer.capability, answer.chart.extras["sd"]
    assert found.n == 30
    for name in ("within", "between", "total"):
        assert getattr(found.spread, name) == pytest.approx(own[name])
    assert found.cpk == pytest.approx(found.spread.cpk["total"])
    assert found.ppk == pytest.approx(capability(frame["value"], lower=0.0, upper=20.0).ppk)
    plain = nested_capability(frame["value"], frame["subgroup"], lower=0.0, upper=20.0)
    assert found.ppk_interval == pytest.approx(plain.ppk_interval, rel=0.1)
    widths = [high - low for low, high in (found.ppk_interval, found.cpk_interval)]
    assert widths[0] > 1.3 * np.ptp(capability(frame["value"], lower=0.0, upper=20.0).ppk_interval)
    assert widths[1] > widths[0] * 0.9  # moving ranges of piece means say less than their sd
    few = ask(grouped(np.random.default_rng(6), 10, 4), "three-way").capability
    assert few.reason == "10 pieces are too few: at least 20 are needed"
    assert few.spread.within is not None and few.spread.cpk["total"] is None


def test_a_fixed_pattern_over_places_is_no_spread():
    frame = grouped(np.random.default_rng(7), 30, 4, 0.3, 1.0)
    frame["place"] = np.tile(np.arange(4), 30)
    frame["value"] = frame["value"] + np.tile([-2.0, -0.5, 0.5, 2.0], 30)
    found = ask(frame, "three-way", lower=0.0, upper=20.0).capability
    assert found.spread.within == pytest.approx(0.3, abs=0.06)
    assert found.ppk < found.spread.cpk["total"]  # the pattern is there in every piece all the same


def test_points_that_are_means_of_pieces_count_pieces():
    frame = grouped(np.random.default_rng(8), 30, 3, 1.0, 2.0)
    found = ask(frame, "individuals", lower=0.0, upper=20.0).capability
    assert found.n == 30 and found.spread.of == "pieces"
    assert np.ptp(found.ppk_interval) > 1.3 * np.ptp(
        capability(frame["value"], lower=0, upper=20).ppk_interval
    )


@pytest.mark.parametrize("chart", ["ewma", "cusum", "self-starting", "changepoint"])
def test_every_measured_chart_has_capability(chart):
    readings = np.random.default_rng(9).normal(10.0, 1.0, 50)
    found = ask({"value": readings}, chart, gauge_sd=0.3).capability
    assert found.ppk == pytest.approx(capability(readings, lower=4, upper=16).ppk)
    assert found.gauge.share_of_variance == pytest.approx(0.09 / readings.var(ddof=1))


def test_a_flat_trend_has_capability_with_its_own_degrees_of_freedom():
    rng = np.random.default_rng(10)
    frame = {"value": rng.normal(10.0, 1.0, 50), "against": np.arange(50.0)}
    found = ask(frame, "trend", lower=None).capability
    assert found.cpk_interval == pytest.approx(one_sided_bound(found.cpk, TWO, 50, 48))


@pytest.mark.parametrize(
    "fitted, said",
    [
        ("normal", "normal readings"),
        ("lognormal", "fitted lognormal"),
        ("weibull", "fitted Weibull"),
        ("half-normal", "fitted half-normal"),
    ],
)
def test_a_fitted_distribution_is_taken_and_the_chart_stays(fitted, said):
    readings = np.random.default_rng(11).lognormal(2.0, 0.2, 60)
    found = ask({"value": readings}, lower=None, upper=20.0, fitted=fitted)
    assert said in found.capability.method
    assert found.chart.center == pytest.approx(readings.mean())
    shape = {"lognormal": "positive"}.get(fitted, fitted)
    direct = capability(readings, upper=20.0, shape=shape)
    assert found.capability.ppk == pytest.approx(direct.ppk)
    if fitted != "normal":
        assert found.capability.ppk_interval == pytest.approx(direct.ppk_interval)


def test_observed_percentiles_ask_for_many_pieces():
    readings = np.random.default_rng(12).gamma(4.0, 1.0, 800)
    assert "741" in ask({"value": readings[:100]}, fitted="empirical").capability.reason
    assert ask({"value": readings}, lower=0.1, upper=20.0, fitted="empirical").capability.ppk is not None


def test_shape_decides_where_nothing_is_fitted():
    readings = np.random.default_rng(13).lognormal(2.0, 0.2, 60)
    assert "lognormal" in ask({"value": readings}, upper=20.0, shape="positive").capability.method
    both = ask({"value": readings}, upper=20.0, shape="positive", fitted="normal").capability
    assert both.method.startswith("normal readings")


def test_readings_that_the_distribution_cannot_have_keep_their_chart():
    found = ask({"value": np.random.default_rng(14).standard_normal(40)}, fitted="weibull")
    assert found.chart is not None and "needs readings above 0" in found.capability.reason


def test_one_reading_or_one_subgroup_is_too_few_and_no_error():
    known = Setting(center=10.0, sigma=1.0)
    one = ask({"value": [10.2]}, setting=known, gauge_sd=0.1).capability
    assert one.reason == "1 piece is too few: at least 20 are needed" and one.to_dict()["ppk"] is None
    group = ask({"value": [10.2, 9.8, 10.1], "subgroup": [1, 1, 1]}, "mean-range", known).capability
    assert "3 pieces are too few" in group.reason and group.spread is None


def test_signals_withhold_and_say_why():
    readings = np.concatenate([np.random.default_rng(15).normal(10.0, 0.2, 39), [15.0]])
    question = StudyQuestion("individuals", rules=parse_rules("limit"), lower=4.0, upper=16.0)
    found = study_frame(pl.DataFrame({"value": readings}), question)[""].capability
    assert found.ppk is None and "1 point signalled" in found.reason and found.pieces_to_settle is None


@pytest.mark.parametrize(
    "options, said",
    [
        ({"fitted": "square", "upper": 4.0}, "'square' is not known: use normal, lognormal, weibull"),
        ({"gauge_sd": 0.0, "upper": 4.0}, "gauge sd is 0.0"),
        ({"gauge_sd": math.nan, "upper": 4.0}, "gauge sd is nan"),
        ({"gauge_sd": 0.1}, "give a lower or upper limit too"),
        ({"fitted": "weibull"}, "give a lower or upper limit too"),
    ],
)
def test_bad_questions_are_named(options, said):
    with pytest.raises(StatisticsUsageError, match=said):
        StudyQuestion("individuals", **options)
