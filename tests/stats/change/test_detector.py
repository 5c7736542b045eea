"""`detect` and `detect_many`: what is found in series whose truth is known."""

import json
import warnings
from pathlib import Path

import numpy as np
import pytest

from qc.stats import StatisticsError, detect, detect_many

NILE = json.loads((Path(__file__).parents[2] / "published" / "changepoint_nile.json").read_text())
STEADY = np.random.default_rng(71).normal(50.0, 0.2, 60)
RARE = 1e-5  # no false alarm in the way of what is looked at


def shifted(by_sigma, after=40, n=60):
    series = STEADY[:n].copy()
    series[after:] += 0.2 * by_sigma
    return series


@pytest.mark.slow
def test_a_clear_shift_is_found_with_start_and_size(rng, at_least):
    values = rng.normal(50.0, 0.2, (2000, 60))
    values[:, 40:] += 0.8
    found = detect_many(list(values), false_alarm_rate=RARE)
    signals = [one.signals[0] for one in found if one.signals and one.signals[0].point > 40]
    assert len(signals) > 1980
    assert {signal.side for signal in signals if signal.kind != "spread"} == {"above"}
    assert np.mean([signal.kind == "shift" for signal in signals]) > 0.9
    assert np.mean([signal.point <= 45 for signal in signals]) > 0.95
    assert at_least(0.90, [signal.start_set[0] <= 41 <= signal.start_set[1] for signal in signals])
    assert at_least(0.95, [signal.size_interval[0] <= 0.8 <= signal.size_interval[1] for signal in signals])
    alone = detect(values[0], false_alarm_rate=RARE).signals[0]
    assert alone.score > alone.threshold


@pytest.mark.parametrize("rate", [0.01, 0.001, 0.0001])
def test_nile_flow_is_found_to_have_changed_after_1898_while_it_is_measured(rate):
    # Cobb 1978: last year before the change 1898, the 28th of the series
    signals = detect(NILE["volume"], false_alarm_rate=rate).signals
    assert [(s.kind, s.side, s.start) for s in signals] == [("shift", "below", 29)]
    assert signals[0].point <= 35


def test_direction_scale_and_origin_do_not_matter():
    once = detect(shifted(3.0)).signals[0]
    turned = detect(1000.0 - 25.0 * shifted(3.0)).signals[0]
    assert (turned.point, turned.start, turned.start_set, turned.kind) == (
        once.point,
        once.start,
        once.start_set,
        once.kind,
    )
    assert (once.side, turned.side) == ("above", "below")
    assert turned.size == pytest.approx(-25.0 * once.size, rel=1e-9)
    assert turned.score == pytest.approx(once.score, rel=1e-9)


def test_one_odd_piece_is_a_single_and_the_stretch_goes_on():
    series = STEADY.copy()
    series[40] += 2.0
    found = detect(series)
    assert [(s.kind, s.point, s.start) for s in found.signals] == [("single", 41, 41)]
    assert len(found.stretches) == 1
    assert found.stretches[0].apart == (41,)
    assert found.stretches[0].mean == pytest.approx(np.delete(series, 40).mean(), rel=1e-12)


def test_a_single_that_persists_becomes_a_shift_raised_then_and_confirmed_later():
    found = detect(shifted(8.0))
    signal = found.signals[0]
    assert (signal.kind, signal.point, signal.start, signal.confirmed) == ("shift", 41, 41, 42)
    assert [(s.first, s.last) for s in found.stretches] == [(1, 40), (41, 60)]


def test_after_a_signal_only_later_points_are_judged():
    found = detect(shifted(8.0))
    confirmed = found.signals[0].confirmed
    assert found.scores[confirmed : confirmed + 3] == (None, None, None)
    assert found.scores[confirmed + 3] is not None


def test_a_climb_is_a_trend_with_its_start():
    series = STEADY.copy()
    series[30:] += 0.2 * 0.35 * np.arange(1, 31)
    signal = detect(series).signals[0]
    assert signal.side == "above"
    assert signal.kind in ("trend", "shift")
    assert 27 <= signal.start <= 40


@pytest.mark.slow
def test_a_wider_scatter_is_a_spread_signal_unless_single_pieces_or_a_level_are_seen_first(rng):
    values = rng.normal(0, 1, (600, 100))
    values[:, 50:] *= 3.0
    found = detect_many(list(values))
    assert np.mean([any(s.point > 50 for s in one.signals) for one in found]) > 0.97
    spreads = [s for one in found for s in one.signals if s.kind == "spread" and s.point > 50]
    # 0.33 in 600 other draws, with a standard error of 0.02
    assert len(spreads) > 600 * (0.33 - 3 * 0.02)
    assert np.mean([spread.size > 0 for spread in spreads]) > 0.95
    for spread in spreads:
        assert spread.side == "both"
        assert spread.size_interval[0] <= spread.size <= spread.size_interval[1]


def test_usable_from_the_fourth_piece():
    assert detect([1.0, 1.1, 0.9]).scores == (None, None, None)
    assert detect([1.0, 1.000001, 0.999999, 5.0]).signals[0].point == 4


@pytest.mark.parametrize("shape", ["normal", "positive", "any"])
@pytest.mark.parametrize("values", [[], [3.0], [3.0] * 50], ids=["empty", "one", "constant"])
def test_nothing_to_find_gives_nothing_and_no_warning(values, shape):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = detect(values, shape=shape)
    assert found.signals == ()
    assert sum(s.n for s in found.stretches) == len(values)


def test_coarse_readings_do_not_cry_wolf_at_one_step():
    series = [12.0] * 30 + [12.5]
    assert detect(series, resolution=0.5).signals == ()
    assert detect(series).signals == (), "the step is seen in the readings"
    assert detect(series + [12.5] * 10).signals[0].start == 31


@pytest.mark.parametrize("shape", ["normal", "positive", "any"])
def test_many_series_give_what_each_gives_alone(shape):
    random = np.random.default_rng(73)
    series = [np.exp(random.normal(1, 0.2, size)) for size in random.integers(0, 90, 40)]
    for values in series[:20]:
        values[values.size // 2 :] *= 1.9
    series[3] = np.round(series[3], 1)
    together = detect_many(series, shape=shape, false_alarm_rate=0.01, evidence=True)
    for values, found in zip(series, together, strict=True):
        assert detect(values, shape=shape, false_alarm_rate=0.01) == found
    assert sum(len(found.signals) for found in together) > 10


def test_each_point_may_have_its_own_rate():
    series = shifted(2.0)
    one = detect(series, false_alarm_rate=0.001)
    assert detect(series, false_alarm_rate=[0.001] * 60) == one
    mixed = detect(series, false_alarm_rate=[0.001] * 50 + [0.0001] * 10)
    assert mixed.thresholds[:40] == one.thresholds[:40]
    last = next(i for i in range(59, 0, -1) if mixed.thresholds[i] is not None)
    assert mixed.thresholds[last] > 4.2
    with pytest.raises(StatisticsError, match="2 rates for 60 values"):
        detect(series, false_alarm_rate=[0.001, 0.001])
    with pytest.raises(StatisticsError, match="1 labels for 60 values"):
        detect(series, false_alarm_rate=[0.001] * 60, labels=["a"])


def test_the_input_is_left_as_it_was():
    series = shifted(3.0)
    before = series.copy()
    detect(series)
    assert (series == before).all()


def test_stretches_leave_no_gap():
    random = np.random.default_rng(74)
    for _ in range(30):
        values = np.concatenate([random.normal(m, 1, 20) for m in random.normal(0, 3, 5)])
        found = detect(values, false_alarm_rate=0.01)
        edges = [(s.first, s.last) for s in found.stretches]
        assert edges[0][0] == 1 and edges[-1][1] == values.size
        assert all(b[0] == a[1] + 1 for a, b in zip(edges, edges[1:], strict=False))


def test_plain_values_for_json():
    record = detect(shifted(3.0)).to_dict()
    assert json.loads(json.dumps(record)) == record
    assert set(record["signals"][0]) >= {"kind", "point", "start", "side", "size", "size_sigma", "start_set"}


@pytest.mark.parametrize(
    "values, options, words",
    [
        ([1.0, float("nan")], {}, "point 2"),
        ([1.0, 2.0, float("inf")], {}, "point 3"),
        ([1.0, -2.0], {"shape": "positive"}, "point 2.*below 0"),
        (["a", "b"], {}, "numbers"),
        ([[1.0, 2.0]], {}, "dimensions"),
        ([1.0], {"false_alarm_rate": 0.5}, "false-alarm rate"),
        ([1.0], {"false_alarm_rate": float("nan")}, "false-alarm rate"),
        ([1.0], {"resolution": 0.0}, "resolution"),
        ([1.0], {"shape": "square"}, "square"),
        ([1.0], {"labels": ["a", "b"], "shape": "any"}, "2 labels for 1 values"),
    ],
)
def test_refusals_name_what_is_wrong(values, options, words):
    with pytest.raises(StatisticsError, match=words):
        detect(values, **options)
