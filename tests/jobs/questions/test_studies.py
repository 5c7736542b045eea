"""`qc study` end to end: the agreed JSON, every chart kind, many series, bad tables."""

import json
import math
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from qc.jobs.questions.studies import study
from qc.stats import (
    KINDS,
    StatisticsError,
    StatisticsUsageError,
    StudyQuestion,
    individuals,
    mean_range,
    study_frame,
)

PUBLISHED = Path(__file__).parents[2] / "published"
MEASURED = json.loads((PUBLISHED / "charts_measured.json").read_text("utf-8"))
MEMORY = json.loads((PUBLISHED / "charts_memory.json").read_text("utf-8"))
FLOW = MEASURED["B1"]["data"]
CONTRACT_SIGNAL = {"series", "point", "rule", "side", "start", "size", "size_sigma"}
CONTRACT_CAPABILITY = {
    "cp", "cpk", "cpm", "pp", "ppk", "intervals", "confidence", "outside_ppm", "outside_interval", "reason",
    "method", "capable",
}  # fmt: skip


@pytest.fixture
def everything(table):
    rng = np.random.default_rng(1)
    n = 60
    return table(
        {
            "x": rng.normal(10, 1, n).round(3),
            "y": rng.normal(0, 1, n).round(3),
            "z": rng.normal(5, 2, n).round(3),
            "piece": np.repeat(np.arange(n // 4), 4),
            "count": rng.poisson(4, n),
            "size": rng.integers(40, 60, n),
            "draws": np.arange(n) * 5,
        }
    )


OPTIONS = {
    "mean-range": {"subgroup": "piece"},
    "mean-sd": {"subgroup": "piece"},
    "three-way": {"subgroup": "piece"},
    "trend": {"against": "draws", "upper": 20.0},
    "defects-per-unit": {"size": "size"},
    "number-defective": {"size": "50"},
    "proportion": {"size": "size"},
}


def strict(result):
    """The object as `--json` prints it: strict JSON or it fails."""
    return json.loads(json.dumps(result.to_dict(), allow_nan=False))


@pytest.mark.parametrize("kind", list(KINDS))
def test_every_kind_keeps_the_contract(everything, kind):
    value = {"t2": "x,y,z", "mewma": "x,y,z"}.get(kind, "x" if KINDS[kind].measured else "count")
    result = study(everything, value, kind, **OPTIONS.get(kind, {}))
    found = strict(result)
    assert {"n", "points", "chart", "signals", "distribution", "warnings"} <= set(found)
    assert found["n"] == 60
    assert {"kind", "center", "lower", "upper", "sigma", "values"} <= set(found["chart"])
    assert found["chart"]["kind"] == kind
    values = found["chart"]["values"]
    lengths = {len(part) for part in (values.values() if isinstance(values, dict) else [values])}
    assert lengths == {found["points"]}
    assert {"test", "statistic", "p_value", "n"} <= set(found["distribution"])
    assert all(set(signal) == CONTRACT_SIGNAL for signal in found["signals"])
    assert all(isinstance(warning, str) for warning in found["warnings"])
    if kind != "trend":
        assert "capability" not in found
    text = result.to_text()
    assert text.splitlines()[0].endswith((".", ":")) or "change" in text.splitlines()[0]


def test_individuals_with_capability(table):
    rng = np.random.default_rng(2)
    x = rng.normal(50, 1, 40).round(3)
    found = strict(study(table({"x": x}), "x", lower=45.0, upper=55.0, target=50.0))
    chart, capable = found["chart"], found["capability"]
    assert set(capable) == CONTRACT_CAPABILITY
    assert chart["companion"]["kind"] == "moving-range" and chart["companion"]["values"][0] is None
    assert capable["cp"] == pytest.approx(10 / (6 * chart["sigma"]))
    assert capable["pp"] == pytest.approx(10 / (6 * np.std(x, ddof=1)))
    assert capable["ppk"] == pytest.approx(min(55 - x.mean(), x.mean() - 45) / (3 * np.std(x, ddof=1)))
    assert capable["intervals"]["ppk"][0] < capable["ppk"] < capable["intervals"]["ppk"][1]
    one_sided = strict(study(table({"x": x}), "x", upper=55.0))["capability"]
    assert one_sided["cp"] is None and one_sided["pp"] is None and one_sided["ppk"] is not None


def test_capability_is_withheld_with_a_reason(table):
    few = strict(study(table({"x": FLOW}), "x", lower=40.0, upper=60.0))["capability"]
    assert few["ppk"] is None and "at least 20" in few["reason"]
    x = np.random.default_rng(3).normal(50, 1, 30)
    x[20] = 90
    loud = strict(study(table({"x": x}), "x", lower=40.0, upper=60.0))
    assert loud["signals"] and "not stable" in loud["capability"]["reason"]
    assert strict(study(table({"x": x}), "x", lower=40.0, upper=60.0, rules="none"))["capability"]["ppk"]


def test_a_wearing_tool_has_no_capability(table):
    draws = np.arange(30.0)
    x = 14.6 + draws * 1e-3 + np.random.default_rng(4).normal(0, 1e-3, 30)
    found = strict(
        study(table({"x": x, "draws": draws}), "x", "trend", against="draws", lower=14.5, upper=14.7)
    )
    assert "follows a line" in found["capability"]["reason"]
    assert 90 < found["chart"]["crossing"]["count"] < 110
    low, high = found["chart"]["crossing"]["interval"]
    assert low < found["chart"]["crossing"]["count"] < high


def test_published_examples_through_the_front_door(table):
    found = strict(study(table({"x": FLOW}), "x"))
    assert found["chart"]["upper"] == pytest.approx(MEASURED["B1"]["recomputed"]["UCL_exact_d2"], abs=2e-8)
    item = MEMORY["B2"]
    sigma = item["inputs"]["sigma_xbar"]
    options = {"center": 325.0, "sigma": sigma, "reference": 0.5, "decision": item["inputs"]["h"] / sigma}
    found = strict(study(table({"x": item["data"]}), "x", "cusum", **options))
    assert [s["point"] for s in found["signals"]] == item["recomputed"]["signals_hi"]
    assert {s["start"] for s in found["signals"]} == {13}
    assert np.array(found["chart"]["values"]["high"])[12] * sigma == pytest.approx(3.0075)
    item = MEMORY["B3"]
    found = strict(
        study(table({"x": item["data"]}), "x", "ewma", center=50.0, sigma=2.0539, weight=0.3, width=3.0)
    )
    np.testing.assert_allclose(found["chart"]["values"], item["recomputed"]["EWMA"][1:], atol=1e-9)
    vanes = MEASURED["B27"]
    path = table({"x": np.ravel(vanes["data"]), "g": np.repeat(np.arange(20), 5)})
    found = strict(study(path, "x", "mean-range", subgroup="g"))
    assert [s["point"] for s in found["signals"]] == vanes["recomputed"]["xbar_signals"]
    assert any("range chart: point 9" in warning for warning in found["warnings"])
    assert (found["n"], found["points"]) == (100, 20)


def test_varying_sizes_give_lists_as_well(table):
    found = strict(study(table({"c": [2, 3, 1], "n": [50, 60, 40]}), "c", "proportion", size="n"))
    assert len(found["chart"]["uppers"]) == 3 and found["chart"]["upper"] is not None
    steady = strict(study(table({"c": [2, 3, 1], "n": [50, 50, 50]}), "c", "proportion", size="n"))
    assert "uppers" not in steady["chart"]


def test_rules_by_name_and_order(table):
    x = [*np.tile([0.4, 0.6], 5), 9.0, 0.0, -1.0]
    options = {"center": 0.0, "sigma": 1.0}
    found = strict(study(table({"x": x}), "x", rules="same-side,beyond-limit", **options))["signals"]
    assert [(s["point"], s["rule"]) for s in found] == [
        (9, "same-side"),
        (10, "same-side"),
        (11, "beyond-limit"),
        (11, "same-side"),
    ]
    assert found[0]["start"] == 1 and found[0]["side"] == "above"


def test_baseline_and_limits_options(table):
    x = [*FLOW, 80.0]
    chart = strict(study(table({"x": x}), "x", baseline="10", limits="guaranteed:0.95"))["chart"]
    assert chart["sigma"] == pytest.approx(np.std(FLOW, ddof=1))
    assert strict(study(table({"x": x}), "x", baseline="1:10"))["chart"]["upper"] == pytest.approx(
        individuals(FLOW).upper
    )


def test_order_column_sorts_rows(table):
    order = np.arange(10)[::-1]
    found = strict(study(table({"x": FLOW, "day": order}), "x", order="day"))
    assert found["chart"]["values"] == FLOW[::-1]
    days = [f"2026-01-{day + 1:02}" for day in order]
    assert strict(study(table({"x": FLOW, "day": days}), "x", order="day"))["chart"]["values"] == FLOW[::-1]


@pytest.mark.parametrize("name", ["t.csv", "t.parquet", "t.xlsx"])
def test_three_kinds_of_file_give_one_answer(table, name):
    path = table({"x": [0.1 + 0.2, 1e-7, 12345.678901, 3.0], "g": ["a", "a", "b", "b"]}, name)
    found = strict(study(path, "x", "mean-range", subgroup="g"))
    expected = mean_range([0.1 + 0.2, 1e-7, 12345.678901, 3.0], list("aabb"))
    assert found["chart"]["upper"] == expected.upper


def test_many_series(table):
    rng = np.random.default_rng(5)
    parts = {f"s{i}": rng.normal(i, 1, 12).round(3) for i in range(5)}
    parts["flat"] = np.full(12, 7.0)
    path = table({"s": np.repeat(list(parts), 12), "x": np.concatenate(list(parts.values()))})
    result = study(path, "x", series="s", rules="all")
    found = strict(result)
    assert list(found) == ["series"] and list(found["series"]) == list(parts)
    for name, values in parts.items():
        if name == "flat":
            assert found["series"][name]["chart"] is None
            assert "spread is zero" in found["series"][name]["reason"]
            continue
        assert found["series"][name]["chart"]["upper"] == pytest.approx(individuals(values).upper)
        assert all(signal["series"] == name for signal in found["series"][name]["signals"])
    assert "1 that could not be charted" in result.to_text()


def test_one_named_series_keeps_its_name(table):
    found = strict(study(table({"s": ["a"] * 10, "x": FLOW}), "x", series="s"))
    assert list(found["series"]) == ["a"]


@pytest.mark.parametrize("kind", ["ewma", "cusum", "self-starting", "changepoint", "trend", "t2"])
def test_other_kinds_over_series_are_each_as_if_alone(table, kind):
    rng = np.random.default_rng(6)
    x, y, d = rng.normal(size=60).round(3), rng.normal(size=60).round(3), np.tile(np.arange(30.0), 2)
    path = table({"s": np.repeat(["a", "b"], 30), "x": x, "y": y, "d": d})
    value, options = ("x,y", {}) if kind == "t2" else ("x", {"against": "d"} if kind == "trend" else {})
    both = strict(study(path, value, kind, series="s", **options))["series"]
    alone = strict(study(table({"x": x[30:], "y": y[30:], "d": d[30:]}, "u.csv"), value, kind, **options))
    assert [s["point"] for s in both["b"]["signals"]] == [s["point"] for s in alone["signals"]]
    for one, other in zip(numbers(both["b"]), numbers(alone), strict=True):
        np.testing.assert_allclose(one, other, rtol=1e-9, atol=1e-12)


def numbers(found):
    values = found["chart"]["values"]
    parts = values.values() if isinstance(values, dict) else [values]
    return [np.array(part, dtype=float) for part in parts]


def test_signals_only_leaves_the_values_out(table):
    found = strict(study(table({"x": [*FLOW, 99.0]}), "x", signals_only=True, limits="textbook"))
    assert "values" not in found["chart"] and "values" not in found["chart"]["companion"]
    assert found["chart"]["upper"] is not None


def test_screening_lists_what_it_leaves_out(table):
    x = [*np.random.default_rng(7).normal(0, 1, 30).round(2), 25.0]
    found = strict(study(table({"x": x}), "x", screen=True))
    assert found["chart"]["left_out"] == [31] and found["points"] == 31
    assert any("point 31" in warning for warning in found["warnings"])


def test_short_runs(table):
    rng = np.random.default_rng(8)
    model = np.tile(["alto", "bass"], 15)
    nominal = np.where(model == "alto", 10.0, 100.0)
    spread = np.where(model == "alto", 0.1, 2.0)
    x = nominal + spread * rng.normal(size=30)
    path = table({"x": x, "t": nominal, "m": model})
    plain = strict(study(path, "x", nominal="t"))
    np.testing.assert_allclose(plain["chart"]["values"], x - nominal, atol=1e-9)
    tested = strict(study(path, "x", nominal="t", model="m"))
    assert any("standardised" in warning for warning in tested["warnings"])
    assert np.std(tested["chart"]["values"], ddof=1) == pytest.approx(1.0, abs=0.05)


def test_change_point_signals(table):
    rng = np.random.default_rng(9)
    x = np.concatenate([rng.normal(0, 1, 30), rng.normal(4, 1, 10)]).round(3)
    found = strict(study(table({"x": x}), "x", "changepoint", false_alarm_rate=0.002))
    (signal,) = found["signals"]
    assert signal["rule"] == "shift" and abs(signal["start"] - 31) <= 1 and 3 < signal["size"] < 5
    assert found["chart"]["stretches"][-1]["first"] == signal["start"]


def test_coarse_gauge_and_hanging_together_are_said(table):
    coarse = [5.0, 6.0, 5.0, 5.0, 6.0, 7.0, 5.0, 6.0, 5.0, 6.0, 5.0, 5.0]
    found = strict(study(table({"x": coarse}), "x", resolution=1.0))
    assert any("coarse" in warning for warning in found["warnings"])
    wave = np.sin(np.arange(40) / 5)
    found = strict(study(table({"x": wave}), "x"))
    assert any("hang together" in warning for warning in found["warnings"])


@pytest.mark.parametrize(
    "value, kind, options, words",
    [
        ("nosuch", "individuals", {}, "there is no column 'nosuch'"),
        ("x", "individuals", {"series": "nosuch"}, "there is no column 'nosuch'"),
        ("x", "individuals", {"lower": 9.0, "upper": 1.0}, "is not below upper limit"),
        ("x", "individuals", {"lower": 1.0, "upper": 9.0, "target": 20.0}, "lies outside the limits"),
        ("x", "individuals", {"sigma": 0.0}, "sigma is 0"),
        ("x", "individuals", {"resolution": -1.0}, "resolution is -1"),
        ("x", "individuals", {"baseline": "900:950"}, "baseline holds 0 points"),
        ("x", "ewma", {"weight": 2.0}, "weight is 2"),
        ("x", "defects", {}, "whole numbers"),
        ("x", "mean-sd", {"subgroup": "row"}, "are needed"),
    ],
)
def test_bad_questions_about_the_data(table, value, kind, options, words):
    path = table({"x": [1.5, 2.0, 3.0, 2.5], "row": [1, 2, 3, 4]})
    with pytest.raises(StatisticsError, match=words):
        study(path, value, kind, **options)


@pytest.mark.parametrize(
    "value, kind, options, words",
    [
        ("nosuch", "individuals", {}, "there is no column 'nosuch'"),
        ("x", "individuals", {"baseline": "900:950"}, "baseline holds 0 points"),
        ("x", "defects", {}, "whole numbers"),
        ("x", "mean-sd", {"subgroup": "row"}, "are needed"),
    ],
)
def test_a_fault_of_the_figures_names_the_file_once(table, value, kind, options, words):
    path = table({"x": [1.5, 2.0, 3.0, 2.5], "row": [1, 2, 3, 4]})
    with pytest.raises(StatisticsError, match=words) as caught:
        study(path, value, kind, **options)
    assert str(caught.value).startswith(f"{path.name}: ") and str(caught.value).count(path.name) == 1


def test_a_fault_in_the_checks_names_the_file_too(table):
    with pytest.raises(StatisticsError, match=r"^\S+\.csv: "):
        study(table({"x": [1.5, 2.0, 3.0, 2.5]}), "x", checks=True, baseline="90:95")


@pytest.mark.parametrize(
    "kind, options, words",
    [
        ("run-of-luck", {}, "chart 'run-of-luck' is not known"),
        ("individuals", {"rules": "rule-4"}, "rule 'rule-4' is not known"),
        ("individuals", {"limits": "wide"}, "limits 'wide' are not known"),
        ("individuals", {"baseline": "5:2"}, "baseline '5:2' is not known"),
        ("individuals", {"shape": "round"}, "shape 'round' is not known"),
        ("individuals", {"colour": "red"}, "no option 'colour'"),
        ("mean-range", {}, "needs --subgroup"),
        ("trend", {}, "needs --against"),
        ("proportion", {}, "needs --size"),
        ("changepoint", {"sigma": 1.0}, "estimates its own"),
        ("ewma", {"limits": "wide"}, "limits 'wide' are not known"),
        ("cusum", {"screen": True}, "--screen goes with charts individuals, mean-range, mean-sd"),
        ("three-way", {"subgroup": "row", "within": "iqr"}, "within 'iqr' is not known"),
        ("changepoint", {"false_alarm_rate": 2.0}, "must lie between 0 and 1"),
    ],
)
def test_wrong_questions(table, kind, options, words):
    path = table({"x": [1.0, 2.0, 3.0], "row": [1, 2, 3]})
    with pytest.raises(StatisticsUsageError, match=words) as caught:
        study(path, "x", kind, **options)
    assert path.name not in str(caught.value)  # the question is wrong, whatever the file holds


def test_several_figures_take_no_limits(table):
    path = table({"a": [1.0, 2.0, 3.0], "b": [1.0, 2.0, 2.5]})
    with pytest.raises(StatisticsUsageError, match="several figures"):
        study_frame(pl.DataFrame({"value:a": [1.0, 2.0]}), StudyQuestion("t2", upper=3.0))
    with pytest.raises(StatisticsUsageError, match="each name once"):
        study(path, "a,a", "t2")


def test_nothing_but_finite_numbers_or_null(everything):
    for kind in KINDS:
        value = {"t2": "x,y", "mewma": "x,y"}.get(kind, "x" if KINDS[kind].measured else "count")
        text = json.dumps(study(everything, value, kind, **OPTIONS.get(kind, {})).to_dict(), allow_nan=False)
        assert "NaN" not in text and not math.isinf(len(text))
