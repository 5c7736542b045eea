"""The search for a quiet series that looks bad adds nothing to any figure."""

import statistics

import pytest
import scipy.stats

from sample_measurements.make.finish import longest_run, polish_cards, widest_split


def test_longest_run_by_hand():
    assert longest_run([1.0, 2.0, 1.5, -4.0, -1.0, 3.0]) == 3
    assert longest_run([5.0, -5.0] * 4) == 1


def test_widest_split_is_the_largest_two_sample_t():
    values = [0.2, -0.4, 0.1, 0.9, 1.4, 0.8, 1.1]
    outside = max(abs(scipy.stats.ttest_ind(values[:k], values[k:]).statistic) for k in range(2, 6))
    assert widest_split(values) == pytest.approx(outside, rel=1e-12)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_every_seed_has_its_unlucky_looking_quiet_series(flow, seed):
    values = [
        float(row[4])
        for sheet in polish_cards(flow, seed)
        for row in sheet.tabs[0].rows
        if row[2] in ("tenor", "tenor-bass")
    ]
    assert longest_run(values) >= 8
    assert widest_split(values) < 2.4
    assert statistics.fmean(values) == pytest.approx(18, abs=0.8)
    assert scipy.stats.shapiro(values).pvalue > 0.001


def test_the_other_models_lose_in_proportion(flow):
    alto = [float(row[4]) for s in polish_cards(flow, 1) for row in s.tabs[0].rows if row[2] == "alto"]
    assert statistics.fmean(alto) == pytest.approx(12, rel=0.08)
