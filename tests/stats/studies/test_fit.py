"""No option of a study is swallowed: on every chart it acts, is refused, or is said to do nothing."""

import re

import numpy as np
import polars as pl
import pytest

from qc.jobs.questions.studies import study
from qc.stats import KINDS, StatisticsError, StatisticsUsageError
from qc.stats.studies import building
from qc.stats.studies.fit import check_fit
from qc.stats.studies.kinds import takers
from qc.stats.studies.options import OPTIONS, complete

NEEDED = {
    "mean-range": {"subgroup": "piece"},
    "mean-sd": {"subgroup": "piece"},
    "three-way": {"subgroup": "piece"},
    "trend": {"against": "draws"},
    "defects-per-unit": {"size": "size"},
    "number-defective": {"size": "80"},
    "proportion": {"size": "size"},
}
GIVEN = {
    "subgroup": "piece", "size": "tried", "against": "draws", "tool": "tool", "place": "spot",
    "nominal": "target", "model": "model", "baseline": "20", "center": 9.0, "sigma": 2.0, "lower": 1.0,
    "upper": 30.0, "target": 10.0, "wanted": 9.0, "resolution": 9.0, "rules": "all",
    "limits": "guaranteed:0.9", "shape": "any",
    "weight": 0.4, "width": 2.0, "time_varying": True, "reference": 1.0, "decision": 3.0, "fast_start": True,
    "false_alarm_rate": 0.01, "counts": "defects", "exact": True, "corrected": True, "robust": True,
    "within": "sd", "screen": True, "sheet": "first", "fitted": "lognormal", "gauge_sd": 0.1,
}  # fmt: skip
LENIENT = {
    "shape",
    "resolution",
    "lower",
    "upper",
    "target",
    "baseline",
    "limits",
    "rules",
    "subgroup",
    "wanted",
}
CAPABILITY = {
    "target",
    "wanted",
    "shape",
    "fitted",
    "gauge_sd",
}  # these act on capability, so they are tried with limits


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    rng = np.random.default_rng(1)
    n = 60
    moved = np.arange(n) > 40
    frame = pl.DataFrame(
        {
            "x": (rng.normal(10, 1, n) + np.where(moved, 3, 0)).round(1),
            "y": rng.normal(0, 1, n).round(2),
            "z": rng.normal(5, 2, n).round(2),
            "piece": np.repeat(np.arange(n // 4), 4),
            "spot": np.tile(list("abcd"), n // 4),
            "model": np.tile(["alto", "bass"], n // 2),
            "target": np.tile([3.0, 1.0], n // 2),
            "tool": np.repeat(["first", "second"], n // 2),
            "count": rng.poisson(4, n) + np.where(moved, 6, 0),
            "size": rng.integers(40, 60, n),
            "tried": rng.integers(30, 90, n),
            "draws": np.arange(n) * 5,
        }
    )
    target = tmp_path_factory.mktemp("fit") / "t.csv"
    frame.write_csv(target)
    return target


def answered(path, kind, value=None, **options):
    usual = {"t2": "x,y,z", "mewma": "x,y,z"}.get(kind, "x" if KINDS[kind].measured else "count")
    return study(path, value or usual, kind, **{**NEEDED.get(kind, {}), **options}).to_dict()


@pytest.mark.parametrize("kind", list(KINDS))
@pytest.mark.parametrize("option", list(GIVEN))
def test_an_option_acts_or_is_refused_or_is_said_to_do_nothing(path, kind, option):
    if option in NEEDED.get(kind, {}) and option != "size":
        return  # without it there is no such chart
    limits = {"lower": 1.0, "upper": 30.0, "rules": "none"} if option in CAPABILITY else {}
    value = "count" if option == "counts" else None
    try:
        with_it = answered(path, kind, value, **limits, **{option: GIVEN[option]})
    except StatisticsUsageError as refusal:
        assert option not in LENIENT, refusal
        assert "leave" in str(refusal) or "goes with" in str(refusal)
        return
    except StatisticsError as fault:  # it acts, and so much that the data do not bear it
        assert option in ("size", "center") and kind in ("number-defective", "proportion"), fault
        return
    without = answered(path, kind, value, **limits)
    if option in CAPABILITY and without.get("capability", {}).get("reason"):
        return  # withheld whatever is wanted: the reason is said
    assert with_it != without
    said = [warning for warning in with_it["warnings"] if f"--{option} has no effect" in warning]
    for answer in (with_it, without):
        answer.pop("warnings")
    if said:
        assert with_it == without and option in LENIENT


@pytest.mark.parametrize("option", sorted(LENIENT))
@pytest.mark.parametrize("kind", list(KINDS))
def test_what_the_contract_lists_is_taken_by_every_chart(path, kind, option):
    answered(path, kind, **{"subgroup": "piece", option: GIVEN[option]})


@pytest.mark.parametrize(
    "kind, options, words",
    [
        ("individuals", {"weight": 0.3}, "--weight goes with charts ewma, mewma; chart individuals"),
        ("individuals", {"against": "draws"}, "--against goes with charts trend, changepoint"),
        ("mean-range", {"place": "spot"}, "--place goes with chart three-way"),
        ("individuals", {"exact": True}, "--exact goes with charts defects, defects-per-unit"),
        ("ewma", {"fast_start": True}, "--fast-start goes with charts cusum, self-starting"),
        ("defects", {"nominal": "target"}, "--nominal does not go with chart defects (nor with any of t2"),
        ("t2", {"sigma": 1.0}, "chart t2 estimates its own level and spread: leave --sigma out"),
        ("changepoint", {"size": "size"}, "--size goes with --counts defects or --counts pass-fail"),
        ("changepoint", {"counts": "pass-fail"}, "needs --size COLUMN"),
        ("changepoint", {"counts": "many"}, "counts 'many' are not known"),
        ("changepoint", {"counts": "defects", "against": "draws"}, "exclude one another"),
        ("changepoint", {"counts": "defects", "model": "model"}, "--model is for measured values"),
        ("changepoint", {"counts": "defects", "gauge_sd": 0.1, "lower": 0.0}, "--gauge-sd is for measured"),
        ("changepoint", {"tool": "tool"}, "--tool goes with --against COLUMN"),
        ("trend", {"tool": "tool"}, "--tool goes with chart changepoint"),
        ("individuals", {"sheet": "first"}, "a csv file has no sheets: leave --sheet out"),
        ("t2", {"checks": True}, "checks are made for one figure at a time"),
    ],
)  # fmt: skip
def test_refusals_name_the_charts(path, kind, options, words):
    with pytest.raises(StatisticsUsageError, match=re.escape(words)):
        answered(path, kind, **options)


def test_what_has_no_effect_is_said_on_every_face(path):
    result = study(path, "x", "ewma", limits="guaranteed", shape="any", target=10.0)
    said = [
        "--limits has no effect on chart ewma",
        "--target has no effect on chart ewma without --lower or --upper",
        "--shape has no effect on chart ewma without --lower or --upper",
    ]
    assert [warning for warning in result.to_dict()["warnings"] if "no effect" in warning] == said
    assert all(f"Note: {sentence}." in result.to_text() for sentence in said)
    many = study(path, "x", series="tool", target=10.0)
    assert many.to_text().count("--target has no effect") == 1
    assert all(
        any("--target has no effect" in warning for warning in one["warnings"])
        for one in many.to_dict()["series"].values()
    )


def test_a_target_acts_with_checks(path):
    found = study(path, "x", target=10.0, checks=True).to_dict()
    assert found["checks"]["mean_change_from_target"]["target"] == 10.0
    assert not any("no effect" in warning for warning in found["warnings"])


def test_every_option_of_a_chart_is_in_the_audit():
    everywhere = {"series", "order", "signals_only", "out", "plot", "checks", "sheet"}
    assert {name for name in OPTIONS if not takers(name)} == everywhere
    assert {name for name, option in OPTIONS.items() if option.lenient} == LENIENT
    assert set(OPTIONS) <= set(GIVEN) | everywhere
    assert check_fit(complete({}), "individuals") == ()


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.name)
def test_a_kind_is_its_line_and_its_function(kind):
    assert callable(getattr(building, kind.name.replace("-", "_")))
    assert {*kind.takes, *kind.needs} <= set(OPTIONS)


# --- the change-point chart of wear and counts


def test_wear_is_judged_about_its_line(tmp_path):
    rng = np.random.default_rng(4)
    draws = np.tile(np.arange(30), 2)
    x = 14 + draws * 0.002 + rng.normal(0, 0.002, 60)
    x[50:] += 0.012
    pl.DataFrame({"x": x.round(4), "draws": draws, "tool": np.repeat(["a", "b"], 30)}).write_csv(
        tmp_path / "w.csv"
    )
    plain = study(tmp_path / "w.csv", "x", "changepoint").to_dict()
    assert plain["signals"], "the climb itself is no settled level"
    found = study(tmp_path / "w.csv", "x", "changepoint", against="draws", tool="tool").to_dict()
    (signal,) = [one for one in found["signals"] if one["rule"] in ("shift", "trend")]
    assert signal["side"] == "above" and abs(signal["start"] - 51) <= 2
    chart = found["chart"]
    assert chart["judged"] == "wear" and chart["center"] is None
    assert [(one["tool"], one["first"], one["last"]) for one in chart["tools"]] == [
        ("a", 1, 30),
        ("b", 31, 60),
    ]
    assert set(plain["chart"]) <= set(chart)
    capable = study(tmp_path / "w.csv", "x", "changepoint", against="draws", lower=13.0, upper=15.0).to_dict()
    assert capable["capability"]["ppk"] is None and "wears along a line" in capable["capability"]["reason"]


def test_counts_are_judged_as_counts(path):
    from qc.stats import detect_counts

    table = pl.read_csv(path)
    found = study(path, "count", "changepoint", counts="defects").to_dict()
    expected = detect_counts(table["count"].to_list()).signals
    assert [one["point"] for one in found["signals"]] == [one.point for one in expected]
    assert expected[0].point > 41, "faults doubled from piece 42 on"
    assert found["signals"][0]["rule"] == "count" and found["chart"]["judged"] == "counts"
    assert found["distribution"]["p_value"] is None and "counts" in found["distribution"]["reason"]
    rates = study(path, "count", "changepoint", counts="pass-fail", size="size").to_dict()
    share = (table["count"] / table["size"]).to_list()
    assert rates["chart"]["values"] == pytest.approx(share)
    constant = study(path, "count", "changepoint", counts="defects", size="1").to_dict()
    assert constant["signals"] == found["signals"]
    text = study(path, "count", "changepoint", counts="defects").to_text()
    assert "count, above what went before" in text


def test_counts_that_are_none_have_a_place(path):
    with pytest.raises(StatisticsError, match="a whole number, 0 or more"):
        study(path, "x", "changepoint", counts="defects")
    with pytest.raises(StatisticsError, match="a size above 0"):
        study(path, "count", "changepoint", counts="defects", size="y")


def test_wear_and_counts_over_series_are_each_as_if_alone(path, tmp_path):
    table = pl.read_csv(path)
    for options in ({"against": "draws"}, {"counts": "pass-fail", "size": "size"}):
        value = "x" if "against" in options else "count"
        every = study(path, value, "changepoint", series="tool", **options).to_dict()["series"]
        for name in ("first", "second"):
            table.filter(pl.col("tool") == name).write_csv(tmp_path / "one.csv")
            alone = study(tmp_path / "one.csv", value, "changepoint", **options).to_dict()
            for one in every[name]["signals"]:
                one["series"] = None
            assert every[name] == alone
