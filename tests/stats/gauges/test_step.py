"""Gauge steps inside the limits, and the spread behind rounded readings."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from qc.stats.errors import StatisticsError
from qc.stats.gauges.step import gauge_resolution, sigma_behind_steps


def test_a_step_of_one_sigma_leaves_four_values():
    """T116: D4 d2 = 3.686 sigma holds 0, 1, 2 and 3 steps (read in trade columns on chunky data)."""
    found = gauge_resolution([0.0, 1.0, 0.0, 2.0, 1.0], resolution=1.0, sigma=1.0)
    assert found.steps_inside == 4 and not found.fine_enough
    assert found.share_of_sigma == 1.0


@pytest.mark.parametrize(
    "step, inside, fine", [(0.5, 8, True), (0.92, 5, True), (0.93, 4, False), (2.0, 2, False)]
)
def test_finer_steps_leave_more(step, inside, fine):
    found = gauge_resolution([0.0, 1.0], resolution=step, sigma=1.0)
    assert (found.steps_inside, found.fine_enough) == (inside, fine)


def test_step_is_seen_in_the_readings():
    readings = [13.85, 13.86, 13.84, 13.85, 13.88, 13.85]
    found = gauge_resolution(readings)
    assert found.step == pytest.approx(0.01)
    assert found.sigma_floor == pytest.approx(0.01 / math.sqrt(12))
    assert set(found.to_dict()) == {"step", "steps_inside", "share_of_sigma", "fine_enough", "sigma_floor"}


@pytest.mark.parametrize("unit", [1e-15, 1e-6, 1.0, 1e12])
def test_the_step_does_not_depend_on_the_unit(unit):
    plain = gauge_resolution([0.0, 1.0, 0.0, 2.0, 5.0])
    found = gauge_resolution([reading * unit for reading in (0.0, 1.0, 0.0, 2.0, 5.0)])
    assert found.step == pytest.approx(plain.step * unit)
    assert found.steps_inside == plain.steps_inside and found.share_of_sigma == pytest.approx(
        plain.share_of_sigma
    )


def test_equal_readings_count_against_the_floor():
    found = gauge_resolution([5.0, 5.0, 5.0], resolution=0.1)
    assert found.steps_inside == 2 and not found.fine_enough
    assert found.share_of_sigma == pytest.approx(math.sqrt(12))


@pytest.mark.parametrize("step", [0.3, 0.8, 1.2])
def test_sheppard_agrees_with_exact_rounding(step):
    """Second route: the variance of a normal rounded to steps, averaged over where the steps fall."""
    k = np.arange(-60, 61)
    variances = []
    for offset in (np.arange(16) + 0.5) / 16 * step:
        chance = np.diff(stats.norm.cdf((np.arange(-60, 62) - 0.5) * step + offset))
        value = k * step + offset
        mean = chance @ value
        variances.append(chance @ (value - mean) ** 2)
    assert sigma_behind_steps(math.sqrt(np.mean(variances)), step) == pytest.approx(1.0, abs=2e-3)


@given(st.floats(0.0, 1e6), st.floats(1e-6, 1e6))
def test_never_below_the_floor_nor_above_what_is_seen(sd, step):
    found = sigma_behind_steps(sd, step)
    assert found >= step / math.sqrt(12) * (1 - 1e-12)
    assert found <= max(sd, step / math.sqrt(12)) * (1 + 1e-12)


@pytest.mark.parametrize(
    "call, said",
    [
        (lambda: gauge_resolution([1.0]), "gauge resolution: value"),
        (lambda: gauge_resolution([1.0, 1.0]), "give the step"),
        (lambda: gauge_resolution([1.0, 2.0], resolution=0.0), "resolution is 0.0"),
        (lambda: gauge_resolution([1.0, 2.0], sigma=math.nan), "sigma is nan"),
        (lambda: sigma_behind_steps(-1.0, 1.0), "spread is -1.0"),
        (lambda: sigma_behind_steps(1.0, 0.0), "step is 0.0"),
    ],
)
def test_bad_questions_are_named(call, said):
    with pytest.raises(StatisticsError, match=said):
        call()
