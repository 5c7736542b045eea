"""Gauge study: agreed keys, published figures, pooling, floors, coarse steps, verdicts."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.gauges.anova import COMPONENTS
from qc.stats.gauges.crossed import gauge_study

E2 = json.loads((Path(__file__).parents[2] / "published/gauge_studies.json").read_text("utf-8"))["E2"]
Y = np.array(E2["data"]["rows"])


def spread_out(readings):
    """Readings of a layout (parts, persons, repeats) as values, parts, persons."""
    p, o, r = readings.shape
    parts = np.repeat(np.arange(p), o * r)
    persons = np.tile(np.repeat([f"P{i}" for i in range(o)], r), p)
    return readings.ravel(), parts.tolist(), persons.tolist()


def made(rng, part=1.0, person=0.2, both=0.0, error=0.1, shape=(8, 3, 2)):
    p, o, r = shape
    return (
        10 + part * rng.standard_normal((p, 1, 1)) + person * rng.standard_normal((1, o, 1))
        + both * rng.standard_normal((p, o, 1)) + error * rng.standard_normal((p, o, r))
    )  # fmt: skip


def test_thermal_impedance():
    """Houf and Berman 1988; the interaction is clear, so nothing is pooled."""
    found = gauge_study(*spread_out(Y), lower=10, upper=60)
    summary = E2["recomputed"]["summary_full"]
    assert found.components["repeatability"] == pytest.approx(summary["var_repeatability"], abs=1e-8)
    people = found.components["person"] + found.components["person_part"]
    assert people == pytest.approx(summary["var_reproducibility"], abs=1e-8)
    assert found.components["gauge"] == pytest.approx(summary["var_grr"], abs=1e-8)
    assert found.components["total"] == pytest.approx(summary["var_total"], abs=1e-8)
    assert found.share_of_variation == pytest.approx(summary["pct_study_var_grr"] / 100, abs=1e-10)
    assert found.categories == summary["ndc"] and not found.pooled
    assert found.share_of_tolerance == pytest.approx(6 * math.sqrt(summary["var_grr"]) / 50)
    assert found.design == "crossed" and (found.parts, found.persons, found.repeats) == (10, 3, 3)


def test_dictionary_has_the_agreed_keys_and_is_strict_json():
    plain = gauge_study(*spread_out(Y), lower=10, upper=60).to_dict()
    agreed = {
        "anova", "components", "sd", "share_of_variation", "share_of_tolerance", "categories", "intervals",
        "good_for",
    }  # fmt: skip
    assert agreed <= set(plain)
    assert tuple(plain["components"]) == COMPONENTS == tuple(plain["sd"])
    assert json.loads(json.dumps(plain, allow_nan=False)) == plain
    for name, (low, high) in plain["intervals"].items():
        assert 0 <= low <= high
        middle = plain["components"].get(name, plain.get(name))
        assert low <= middle <= high or name in ("person", "person_part")


def test_pooling_above_a_quarter_is_said_and_can_be_kept():
    rng = np.random.default_rng(3)
    for _ in range(50):
        readings = spread_out(made(rng))
        kept = gauge_study(*readings, keep_interaction=True)
        found = gauge_study(*readings)
        p_value = next(row for row in kept.anova if row.source == "person_part").p_value
        said = any("pooled into repeatability" in warning for warning in found.warnings)
        assert found.pooled == said == (p_value > 0.25)
        assert not kept.pooled and not any("pooled" in warning for warning in kept.warnings)
        if found.pooled:
            assert found.components["person_part"] == 0.0
            assert "person_part" not in [row.source for row in found.anova]
    # pooled figures of the published data
    pooled = E2["recomputed"]["summary_pooled"]
    from qc.stats.gauges.anova import crossed_design

    assert crossed_design(Y, pooled=True).raw("gauge") == pytest.approx(pooled["var_grr"], abs=1e-8)


def test_negative_estimates_are_floored_and_said():
    readings = np.array([[[1.0, 3.0], [3.0, 1.0]], [[11.0, 13.0], [13.0, 11.0]], [[5.0, 7.0], [7.0, 5.0]]])
    found = gauge_study(*spread_out(readings), keep_interaction=True)
    assert found.components["person"] == 0.0 == found.components["person_part"]
    assert [w for w in found.warnings if w.startswith("person: the estimate is negative")] == []
    assert any(w.startswith("person_part: the estimate is negative") for w in found.warnings)
    assert found.components["gauge"] == found.components["repeatability"]


def test_no_spread_within_cells_takes_the_floor_of_the_step():
    readings = np.repeat(np.array([1.0, 1.1, 1.3, 1.6])[:, None, None], 2, axis=2)
    found = gauge_study(*spread_out(readings))
    assert found.components["repeatability"] == pytest.approx(0.1**2 / 12)
    assert any("floor of the step" in w for w in found.warnings)
    assert any("4 of 4 cells" in w for w in found.warnings)
    stated = gauge_study(*spread_out(readings), resolution=0.05)
    assert stated.sd["repeatability"] == pytest.approx(0.05 / math.sqrt(12))


def test_no_interval_promises_less_than_the_step_alone_makes():
    readings = np.round(made(np.random.default_rng(8), error=0.0, person=0.0), 1)
    readings[0, 0, 0] += 0.1
    found = gauge_study(*spread_out(readings), resolution=0.1)
    floor = 0.1**2 / 12
    assert found.components["repeatability"] == pytest.approx(floor)
    for name in ("repeatability", "gauge", "total"):
        low, high = found.intervals[name]
        assert floor <= low <= found.components[name] <= high
    low, high = found.intervals["share_of_variation"]
    assert low <= found.share_of_variation <= high


def test_rounding_of_the_computer_is_no_step():
    """0.1 + 0.2 and 0.3 are one reading: the step seen is 0.1, not 6e-17."""
    readings = np.array([[[0.3, 0.1 + 0.2], [0.3, 0.3]], [[0.7, 0.7], [0.7, 0.7]], [[0.6, 0.6], [0.6, 0.6]]])
    found = gauge_study(*spread_out(readings))
    assert found.components["repeatability"] == pytest.approx(0.1**2 / 12)


def test_a_nested_study_counts_all_its_parts():
    rng = np.random.default_rng(9)
    few = gauge_study(rng.normal(size=8), [1, 1, 2, 2] * 2, ["a"] * 4 + ["b"] * 4, nested=True)
    assert any(note.startswith("4 parts only") for note in few.warnings)
    more = gauge_study(rng.normal(size=12), [1, 1, 2, 2] * 3, np.repeat(list("abc"), 4).tolist(), nested=True)
    assert not any("parts only" in note for note in more.warnings)


def test_coarse_step_spoils_charting():
    readings = np.round(made(np.random.default_rng(1), error=0.02, person=0.0) / 1.0) * 1.0
    found = gauge_study(*spread_out(readings), resolution=1.0)
    assert "charting" not in found.good_for
    assert any("false signals" in w for w in found.warnings)


@pytest.mark.parametrize(
    "tolerance, good, words",
    [
        (100.0, True, "good for release"),
        (30.0, False, "marginal for release"),
        (4.0, False, "not good for release"),
    ],
)
def test_release_goes_by_the_share_of_the_tolerance(tolerance, good, words):
    readings = spread_out(made(np.random.default_rng(4), error=0.5, person=0.5, part=6.0))
    found = gauge_study(*readings, lower=10 - tolerance / 2, upper=10 + tolerance / 2)
    assert ("release" in found.good_for) == good
    assert words in found.verdict
    assert found.share_of_tolerance == pytest.approx(6 * found.sd["gauge"] / tolerance)
    low, high = found.intervals["share_of_tolerance"]
    assert low < found.share_of_tolerance < high


def test_trade_values():
    """T114 and T115 (read in gauge study guides): sg 3 on 100 is 0.18; sp 9 and sg 3 are 4 categories."""
    assert 6 * 3 / 100 == pytest.approx(0.18)
    base = np.array([-1.0, 1.0]) * 3 / math.sqrt(2) * math.sqrt(1.0)  # two readings whose variance is 9
    parts = np.array([-1.5, -0.5, 0.5, 1.5])
    scale = math.sqrt((81.0 + 9.0 / 2) / np.var(parts, ddof=1))  # so that the part component is 81
    found = gauge_study(
        (scale * parts[:, None] + base).ravel(), [1, 1, 2, 2, 3, 3, 4, 4], lower=-50, upper=50
    )
    assert found.sd["gauge"] == pytest.approx(3.0) and found.sd["part"] == pytest.approx(9.0)
    assert found.share_of_tolerance == pytest.approx(0.18)
    assert found.categories == 4 and found.good_for == ()


def test_other_designs():
    rng = np.random.default_rng(6)
    y = made(rng)
    alone = gauge_study(y[:, 0, :].ravel(), np.repeat(np.arange(8), 2))
    assert alone.design == "one-person" and alone.components["person"] == 0.0
    assert any("one person only" in w for w in alone.warnings)
    assert not any("two persons" in w for w in alone.warnings)
    once = gauge_study(*spread_out(y[:, :, :1]))
    assert once.design == "crossed-once" and any("no repeats" in w for w in once.warnings)
    values, parts, persons = spread_out(y.transpose(1, 0, 2))  # three persons with eight parts of their own
    nested = gauge_study(values, persons, parts, nested=True)
    assert nested.design == "nested" and (nested.parts, nested.persons, nested.repeats) == (8, 3, 2)


def test_one_limit_and_no_limit():
    one = gauge_study(*spread_out(Y), lower=10)
    assert one.share_of_tolerance is None and any("guard band" in w for w in one.warnings)
    none = gauge_study(*spread_out(Y))
    assert "not judged" in none.verdict and "release" not in none.good_for


def test_small_studies_are_told_so():
    y = made(np.random.default_rng(8), shape=(3, 2, 2))
    warnings = gauge_study(*spread_out(y)).warnings
    assert any("3 parts only" in w for w in warnings) and any("two persons only" in w for w in warnings)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.sampled_from([0.001, 25.4]), st.integers(-500, 500))
def test_shift_scale_and_order_change_nothing(seed, scale, shift):
    rng = np.random.default_rng(seed)
    values, parts, persons = spread_out(made(rng, shape=(5, 3, 2)))
    here = gauge_study(values, parts, persons, lower=5, upper=15)
    order = rng.permutation(len(parts))
    there = gauge_study(
        scale * values[order] + shift, [parts[i] for i in order], [persons[i] for i in order],
        lower=5 * scale + shift, upper=15 * scale + shift,
    )  # fmt: skip
    assert there.share_of_variation == pytest.approx(here.share_of_variation, rel=1e-6)
    assert there.share_of_tolerance == pytest.approx(here.share_of_tolerance, rel=1e-6)
    assert there.categories == here.categories and there.good_for == here.good_for
    for name in COMPONENTS:
        assert there.components[name] == pytest.approx(
            scale**2 * here.components[name], rel=1e-5, abs=1e-12 * scale**2
        )


@pytest.mark.parametrize(
    "options, error, said",
    [
        ({"lower": 5, "upper": 5}, StatisticsError, "lower limit 5 is not below"),
        ({"lower": math.nan}, StatisticsError, "lower limit is nan"),
        ({"confidence": 1.0}, StatisticsError, "confidence is 1.0"),
        ({"resolution": -1.0}, StatisticsError, "resolution is -1.0"),
    ],
)
def test_bad_options_are_named(options, error, said):
    with pytest.raises(error, match=said):
        gauge_study(*spread_out(Y), **options)


def test_bad_layouts_are_named():
    with pytest.raises(StatisticsError, match="all readings are equal"):
        gauge_study([1.0] * 8, [1, 1, 2, 2] * 2, ["a"] * 4 + ["b"] * 4)
    with pytest.raises(StatisticsUsageError, match="two persons or more"):
        gauge_study([1.0, 2.0, 3.0, 4.0], [1, 1, 2, 2], nested=True)
    with pytest.raises(StatisticsError, match="at least"):
        gauge_study([1.0, 2.0, 3.0, 4.0], [1, 1, 1, 1])
