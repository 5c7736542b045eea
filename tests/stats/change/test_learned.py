"""A learned shape, lots and neighbours: all entries agree, and what is not learned changes nothing."""

import json

import numpy as np
import pytest

from qc.stats import (
    NORMAL,
    DetectorState,
    KeptState,
    Noise,
    StatisticsError,
    detect,
    detect_further,
    detect_many,
)

NOISES = [
    NORMAL,
    Noise(skew=0.4, tails=0.1, odd_share=0.01, odd_reach=0.8),
    Noise(skew=-0.7, tails=0.3, odd_share=0.03, odd_reach=1.5, lots=0.25),
    Noise(tails=0.05, odd_share=0.003, odd_reach=0.3, echo=0.35, fade=0.6),
    Noise(lots=0.3, echo=0.2, fade=0.5),
]


def workshop(seed, series=12):
    """Series with lots, wild pieces and steps, rounded here and there."""
    draw = np.random.default_rng(seed)
    values, lots = [], []
    for number in range(series):
        size = int(draw.integers(5, 130))
        lot = np.sort(draw.integers(0, size // 4 + 1, size))
        draw.shuffle(lot[: size // 2])
        own = draw.standard_t(4, size) + 0.7 * draw.standard_normal(size // 4 + 1)[lot]
        own[size // 2 :] += draw.choice([0.0, 3.0])
        values.append(np.round(own, 1) if number % 3 else 1e6 + own)
        lots.append([None if draw.random() < 0.1 else f"L{one}" for one in lot])
    return values, lots


def by_one(values, shape, noise, lots, step):
    state = DetectorState(shape=shape, resolution=step, false_alarm_rate=0.01, noise=noise)
    for place, (value, lot) in enumerate(zip(values, lots, strict=True)):
        if place % 17 == 11:
            state = DetectorState.from_json(state.to_json())
        state.add(float(value), lot=lot)
    return state.detection(values)


def bare(detection):
    record = detection.to_dict()
    return {name: record[name] for name in record if name not in {"scores", "thresholds"}}


@pytest.mark.parametrize("shape", ["auto", "normal", "any"])
@pytest.mark.parametrize("step", [None, 0.1])
def test_one_by_one_alone_and_side_by_side_give_the_same(shape, step):
    values, lots = workshop(3)
    noises = [NOISES[place % len(NOISES)] for place in range(len(values))]
    asked = {"shape": shape, "resolution": step, "false_alarm_rate": 0.01}
    many = detect_many(values, noise=noises, lots=lots, evidence=True, **asked)
    assert sum(len(found.signals) for found in many) > 5
    for own, noise, lot, found in zip(values, noises, lots, many, strict=True):
        assert detect(own, noise=noise, lots=lot, **asked) == found
        assert bare(by_one(own, shape, noise, lot, step)) == bare(found)
        each = detect(own, noise=[noise] * len(own), lots=lot, **asked)
        assert each == found


@pytest.mark.parametrize("shape", ["auto", "normal", "positive", "any"])
def test_a_series_taken_up_again_comes_out_as_judged_from_nothing(shape):
    values, lots = workshop(5, series=6)
    for own, lot in zip(values, lots, strict=True):
        readings = np.round(np.abs(own), 1)
        half = readings.size // 2
        month = [NOISES[1]] * half + [NOISES[2]] * (readings.size - half)
        asked = {"labels": list(range(readings.size)), "shape": shape}
        state = KeptState()
        for size in (half, half + 1, readings.size):
            asked |= {"false_alarm_rate": [0.01] * size, "labels": list(range(size))}
            asked |= {"noise": month[:size], "lots": lot[:size]}
            found, state = detect_further(
                readings[:size],
                before=KeptState.from_dict(json.loads(json.dumps(state.to_dict()))),
                **asked,
            )
            assert bare(found) == bare(detect(readings[:size], **asked))


@pytest.mark.parametrize("what", ["noise", "lots"])
def test_a_mark_holds_only_for_the_noise_and_the_lots_it_was_made_with(what):
    values, lots = workshop(6, series=1)
    own, lot = values[0], lots[0]
    asked = {"false_alarm_rate": [0.01] * own.size, "labels": range(own.size), "shape": "auto"}
    asked |= {"noise": [NOISES[2]] * own.size, "lots": list(lot)}
    _, state = detect_further(own, before=KeptState(), **asked)
    asked[what] = list(asked[what])
    asked[what][3] = NOISES[1] if what == "noise" else "another"
    found, again = detect_further(own, before=state, **asked)
    assert {mark.digest for mark in again.marks}.isdisjoint({mark.digest for mark in state.marks})
    assert bare(found) == bare(detect(own, **asked))


@pytest.mark.parametrize("shape", ["normal", "positive", "any"])
def test_a_shape_asked_for_takes_nothing_from_a_learned_one(shape):
    values, _ = workshop(7, series=4)
    for own in values:
        plain = detect(np.abs(own), shape=shape, false_alarm_rate=0.01)
        assert detect(np.abs(own), shape=shape, false_alarm_rate=0.01, noise=NOISES[1]) == plain


def test_a_learned_normal_shape_finds_what_the_normal_shape_finds():
    for own in workshop(8)[0]:
        plain = detect(own, false_alarm_rate=0.01)
        found = detect(own, false_alarm_rate=0.01, shape="auto", noise=NORMAL)
        # by hand: without lean and tails the score is the reading in standard deviations, which moves no t
        assert [(s.kind, s.point, s.start, s.start_set) for s in found.signals] == [
            (s.kind, s.point, s.start, s.start_set) for s in plain.signals
        ]
        for one, other in zip(found.signals, plain.signals, strict=True):
            assert one.size == pytest.approx(other.size, rel=1e-6)
            assert one.size_interval == pytest.approx(other.size_interval, rel=1e-6)


def test_as_many_noises_and_lots_as_pieces_are_wanted():
    with pytest.raises(StatisticsError, match="2 noises for 3 values"):
        detect([1.0, 2.0, 3.0], shape="auto", noise=[NORMAL, NORMAL])
    with pytest.raises(StatisticsError, match="1 lots for 3 values"):
        detect([1.0, 2.0, 3.0], lots=["a"])
