"""The detector held against a plain-loop version of itself, and its delay against published run lengths."""

import importlib.util
import json
import sys
from pathlib import Path

import numpy as np
import pytest

from qc.stats import cusum_decision, cusum_run_length, detect_many

pytestmark = pytest.mark.slow
TESTS = Path(__file__).parents[1]
PUBLISHED = json.loads((TESTS / "published" / "runlength_memory.json").read_text())["C5"]


def program(name):
    """Load a program of tests/simulation, as it stands there."""
    spec = importlib.util.spec_from_file_location(name, TESTS / "simulation" / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module  # its dataclasses look themselves up
    spec.loader.exec_module(module)
    return module


program("publishing")  # which the other programs import from beside them
plain = program("independent_rates")
published_tables = program("detector_rates")


@pytest.mark.parametrize("size, after, rate", [(0.0, 30, 0.01), (2.0, 15, 0.001), (4.0, 12, 0.01)])
def test_plain_loops_over_all_splits_see_the_same_first_signals(size, after, rate):
    values = np.random.default_rng([77004, after]).standard_normal((40, 30))
    values[:, after:] += size
    limits = plain.thresholds(rate)
    found = detect_many(list(values), false_alarm_rate=rate)
    ours = [one.signals[0].point if one.signals else 0 for one in found]
    assert ours == [plain.first_signal(row, limits) for row in values]
    if size:
        assert sum(point > after for point in ours) > 30


def test_plain_loops_read_the_published_thresholds():
    limits = plain.thresholds(0.001)
    assert {4, 10, 50, 200} <= set(limits) and limits[4]["spread"] == float("inf")
    assert plain.scores(np.array([0.0, 0.1, -0.1, 0.05, 9.0]))["level"] > limits[5]["level"]


def test_the_program_that_publishes_uses_the_published_run_lengths_of_the_cusum(monkeypatch):
    """Montgomery & Runger, table 16-9: reference value 1/2, limit 5; two-sided, in control 465."""
    monkeypatch.setattr(published_tables, "CELLS", 120)  # of 400: enough for three digits
    assert published_tables._run_length(0.5, 5.0) / 2 == pytest.approx(
        PUBLISHED["published"]["h5"][0], abs=0.6
    )
    assert published_tables.cusum_limit(0.5, 2 * 465.44) == pytest.approx(5.0, abs=5e-3)


@pytest.mark.parametrize("size, most_times", [(1.0, 1.9), (1.5, 1.7), (2.0, 1.7), (3.0, 1.7)])
def test_delay_approaches_that_of_the_cusum_which_knows_level_and_spread(size, most_times):
    """Reference item C5: the CUSUM tuned to the very change, at the same rate of false signals.

    Its mean delay is checked against the published ones (at a limit of 5: 1 sigma 10.4, 2 sigma 4.01) and
    bounds what can be hoped for; the detector learns level and spread from 100 pieces.
    """
    for shift, mean in zip((0.0, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0), PUBLISHED["published"]["h5"], strict=False):
        if shift >= 0.5:
            assert cusum_run_length(0.5, 5.0, shift).mean == pytest.approx(mean, rel=0.01)
    limit = cusum_decision(size / 2, 1 / 0.001)
    best = cusum_run_length(size / 2, limit, size).mean
    values = np.random.default_rng([77005, int(10 * size)]).standard_normal((500, 200))
    values[:, 100:] += size
    found = [one for one in detect_many(list(values)) if not any(s.point <= 100 for s in one.signals)]
    ours = np.mean([one.signals[0].point - 100 if one.signals else 101 for one in found])
    assert 0.9 * best < ours < most_times * best
