"""The streams are named, repeatable and have the moments they say they have."""

import math
import statistics

import pytest

from sample_measurements.make.noise import Noise

DRAWS = 20_000
FIRST = [0.306755, 0.258722, 0.140109]


def test_a_stream_is_its_seed_and_name():
    first, again = Noise(1, "slide"), Noise(1, "slide")
    assert [first.normal(1) for _ in range(5)] == [again.normal(1) for _ in range(5)]
    assert Noise(1, "slide").uniform() != Noise(1, "draw").uniform()
    assert Noise(1, "slide").uniform() != Noise(2, "slide").uniform()


def test_first_numbers_have_not_moved():
    # Made by this program on Python 3.11; a change here would change every committed sheet.
    noise = Noise(1, "slide")
    assert [round(noise.uniform(), 6) for _ in range(3)] == FIRST


def test_normal_numbers():
    noise = Noise(4, "normal")
    values = [noise.normal(2.0) for _ in range(DRAWS)]
    assert statistics.fmean(values) == pytest.approx(0, abs=5 * 2 / math.sqrt(DRAWS))
    assert statistics.stdev(values) == pytest.approx(2, rel=0.03)
    inside = sum(abs(value) < 2.0 for value in values) / DRAWS
    assert inside == pytest.approx(0.6827, abs=0.015)  # share within one standard deviation


def test_counts_have_mean_and_variance_alike():
    noise = Noise(4, "counts")
    values = [noise.poisson(1.4) for _ in range(DRAWS)]
    assert statistics.fmean(values) == pytest.approx(1.4, abs=0.05)
    assert statistics.variance(values) == pytest.approx(1.4, abs=0.08)


def test_ratios_have_median_one():
    noise = Noise(4, "ratios")
    values = [noise.ratio(1.5) for _ in range(DRAWS)]
    assert statistics.median(values) == pytest.approx(1, abs=0.02)
    assert statistics.stdev(map(math.log, values)) == pytest.approx(math.log(1.5), rel=0.03)


def test_choices_stay_in_their_range():
    noise = Noise(4, "choices")
    assert {noise.whole(2, 4) for _ in range(200)} == {2, 3, 4}
    assert {noise.pick("ab") for _ in range(50)} == {"a", "b"}
    assert sum(noise.chance(0.25) for _ in range(DRAWS)) / DRAWS == pytest.approx(0.25, abs=0.015)
