"""One reading at a time gives what the whole series gives, also after a stop in between."""

import json
import time

import numpy as np
import pytest

from qc.stats import DetectorState, StatisticsError, detect


def series_with_events(seed, shape):
    random = np.random.default_rng(seed)
    values = random.normal(0, 1, 140)
    values[40:70] += random.choice([-3.0, 3.0])
    values[90:] *= 2.5
    values[20] += 8.0
    if shape == "positive":
        values = np.exp(0.3 * values + 2)
        if seed % 4 == 0:
            values[60] = 0.0
    if seed % 3 == 0:
        values = np.round(values, 0)
    return values


@pytest.mark.parametrize("shape", ["normal", "positive", "any"])
@pytest.mark.parametrize("seed", range(8))
def test_the_same_as_the_whole_series(seed, shape):
    values = series_with_events(seed, shape)
    expected = detect(values, shape=shape, false_alarm_rate=0.005)
    state = DetectorState(shape=shape, false_alarm_rate=0.005)
    for point, value in enumerate(values):
        state.add(float(value))
        assert state.score == pytest.approx(expected.scores[point], abs=1e-12)
        assert state.threshold == expected.thresholds[point]
        if point % 29 == 7:
            state = DetectorState.from_json(state.to_json())
    found = state.detection(values)
    assert found.signals == expected.signals
    assert found.stretches == expected.stretches
    assert found.judged_by_ranks == expected.judged_by_ranks
    assert found.resolution == expected.resolution
    assert expected.signals


def test_labels_decide_between_equal_readings_in_both_ways():
    values = np.round(np.random.default_rng(9).normal(0, 1, 60))
    values[30:] += 2
    labels = [f"T{100 + i}" for i in range(60)]
    state = DetectorState(shape="any")
    for value, label in zip(values, labels, strict=True):
        state.add(value, label=label)
    assert state.signals == detect(values, shape="any", labels=labels).signals


def test_add_says_what_it_raised_or_confirmed():
    state = DetectorState()
    readings = [*np.random.default_rng(10).normal(0, 1, 30), 9.0, 9.5]
    raised = [state.add(reading) for reading in readings]
    assert all(signal is None for signal in raised[:30])
    assert raised[30].kind == "single"
    assert raised[31].kind == "shift" and raised[31].confirmed == 32 and raised[31].point == 31
    assert state.signals == (raised[31],)
    assert state.to_dict()["values"] == []
    assert state.mark()["begin"] == 32


def test_the_rate_may_change_on_the_way():
    readings = np.random.default_rng(11).normal(0, 1, 40)
    state = DetectorState(false_alarm_rate=0.02)
    for reading in readings:
        state.add(reading)
    loose = state.threshold
    state.add(0.0, false_alarm_rate=0.0001)
    assert state.threshold > loose
    assert state.false_alarm_rate == 0.0001


def test_what_is_kept_grows_with_the_stretch_not_with_the_history():
    state = DetectorState()
    random = np.random.default_rng(12)
    for level in range(12):
        for _ in range(25):
            state.add(random.normal(6.0 * level, 1.0))
    assert state.n == 300
    assert len(state.to_dict()["values"]) <= 60


def test_a_point_costs_under_five_milliseconds_at_five_hundred():
    state = DetectorState(false_alarm_rate=1e-6)
    for reading in np.random.default_rng(13).normal(0, 1, 500):
        state.add(reading)
    assert len(state.to_dict()["values"]) == 500
    spent = []
    for _ in range(15):
        begin = time.perf_counter()
        state.add(0.1)
        spent.append(time.perf_counter() - begin)
    assert np.median(spent) < 0.005


def test_json_survives_a_round_trip():
    state = DetectorState(shape="positive", resolution=0.01)
    for reading in (1.02, 1.05, 1.03, 1.04, 1.01):
        state.add(reading)
    record = state.to_dict()
    assert json.loads(json.dumps(record)) == record
    assert DetectorState.from_dict(record).to_dict() == record


@pytest.mark.parametrize(
    "options, value, words",
    [
        ({}, float("nan"), "point 1"),
        ({}, float("-inf"), "point 1"),
        ({"shape": "positive"}, -0.1, "below 0"),
        ({"resolution": -1.0}, 1.0, "resolution"),
        ({"false_alarm_rate": 0.0}, 1.0, "false-alarm rate"),
    ],
)
def test_refusals_name_what_is_wrong(options, value, words):
    with pytest.raises(StatisticsError, match=words):
        DetectorState(**options).add(value)


def test_a_refused_reading_leaves_the_state_as_it_was():
    state = DetectorState()
    state.add(1.0)
    before = state.to_json()
    with pytest.raises(StatisticsError):
        state.add(float("nan"))
    assert state.to_json() == before


def test_a_state_of_another_format_is_refused():
    record = DetectorState().to_dict() | {"format": 0}
    with pytest.raises(StatisticsError, match="format 0"):
        DetectorState.from_dict(record)
