"""The rate is kept when the noise is learned first: a small draw of what `noise_rates.py` publishes."""

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest

from qc.stats import detect, detect_many, learn_noise

pytestmark = pytest.mark.slow
SEED = 9511
RATE = 0.004


def program(name):
    """A program of this folder, as a module."""
    spec = importlib.util.spec_from_file_location(name, Path(__file__).parent / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


program("publishing")  # which the other program imports from beside it
rates = program("noise_rates")


def ratio(found, after, until):
    """Signals over those asked for, among series without one before, with the standard error."""
    alive = (found == 0) | (found > after)
    told = alive & (found > 0) & (found <= until)
    at_risk = np.where(told, found - after, until - after)[alive].sum() * RATE
    return told.sum() / at_risk, max(told.sum(), 1) ** 0.5 / at_risk


@pytest.mark.parametrize("name", ["t, 5 degrees", "neighbours 0.3", "lots 0.4, recorded"])
def test_the_rate_is_kept_when_the_noise_is_learned(name):
    """At most 1.3 times within chance (two and a half standard errors); unlearned it is three times."""
    cell = rates.Cell(name, RATE)
    found, _ = rates.judged(cell, np.random.default_rng(SEED), 12, 10, 120)
    kept, error = ratio(found, 3, 120)
    assert kept <= 1.3 + 2.5 * error
    values, _ = rates.NOISES[name](np.random.default_rng(SEED), 120, 120)
    plain = detect_many(list(values), false_alarm_rate=RATE)
    first = np.array([one.signals[0].point if one.signals else 0 for one in plain])
    unlearned, error = ratio(first, 3, 120)
    assert unlearned > 2 and unlearned - 2 * error > kept


@pytest.mark.parametrize("name", ["neighbours 0.3", "lots 0.2, recorded"])
def test_start_sets_hold_the_start_where_pieces_hang_together(name):
    """Nine in ten are asked for; the bound is two and a half standard errors below."""
    cell, random = rates.Cell(name, 0.001), np.random.default_rng(SEED + 1)
    held, sizes = [], []
    for _ in range(4):
        noise = learn_noise({**cell.sisters(random), "fresh": []})["fresh"]
        values, lots = rates.NOISES[name](random, rates.FRESH, 120)
        values[:, 50:] += 2.0
        for one in detect_many(list(values), shape="auto", noise=noise, lots=lots):
            if one.signals and one.signals[0].point > 50:
                first = one.signals[0]
                held.append(first.start_set[0] <= 51 <= first.start_set[1])
                sizes.append(first.size_interval[0] <= 2.0 <= first.size_interval[1])
    assert len(held) > 80
    assert np.mean(held) > 0.9 - 2.5 * (0.9 * 0.1 / len(held)) ** 0.5
    assert np.mean(sizes) > 0.95 - 2.5 * (0.95 * 0.05 / len(sizes)) ** 0.5


def test_the_first_signals_are_those_of_the_detector():
    """All series in one block, as the simulation judges them, against `detect` on each."""
    cell, random = rates.Cell("lots 0.4, recorded", 0.004), np.random.default_rng(SEED + 2)
    sisters = cell.sisters(random)
    values, lots = rates.NOISES[cell.name](random, 12, 70)
    values[:6, 40:] += 2.5
    months = rates.month_by_month(sisters, values, lots, alone=False)
    found, single = rates.first_signals(values, lots, months, cell.rate)
    assert (found > 0).sum() >= 6
    for row in range(12):
        noise = [months[point // rates.MONTH][row] for point in range(70)]
        one = detect(values[row], false_alarm_rate=cell.rate, shape="auto", noise=noise, lots=lots[row])
        assert (one.signals[0].point if one.signals else 0) == found[row]
